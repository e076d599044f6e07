"""`ensemble`: one frame under many records, in threads; the compiled loop runs without Python's lock."""

from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from frame2d.analysis.damping import prepare
from frame2d.analysis.history import time_history
from frame2d.analysis.outcome import AnalysisError, Outcome
from frame2d.errors import InputError, within
from frame2d.model.state import begin_of

if TYPE_CHECKING:
    from frame2d.analysis.response import Response
    from frame2d.model.state import State
    from frame2d.model.system import System


@dataclass(frozen=True)
class Run:
    """How one record went: `result` is what `keep` made of the response, `message` why it did not converge."""

    record: Any
    outcome: Outcome
    result: Any
    message: str = ""


def ensemble(
    system: "System",
    records: Iterable[Any],
    state: "State | None" = None,
    *,
    threads: int = 2,
    keep: "Callable[[Response], Any] | None" = None,
    progress: bool = False,
    damping: Any = None,
    **options: Any,
) -> list[Run | None]:
    """Time history of `system` from `state` under each of `records`, in `threads` threads, in the order of the records.

    `keep` reduces a response as soon as it is there (default: the whole of it is kept); `damping` and `options` are those
    of `time_history`. A run that does not converge has that outcome, its message and what `keep` makes of the response up
    to then, and is no collapse. An interruption lets the runs in hand end and leaves None for those not begun. Raises
    `InputError` as `time_history` does, once the runs in hand have ended.
    """
    waiting = list(records)
    if not waiting:
        raise InputError("records is empty; allowed: at least one record")
    workers = int(within("threads", threads, 1, 1024))
    begin_of(system, state)
    # Once for all runs: its eigenvalues keep the linear algebra's own threads busy.
    damping = prepare(system, damping, state)

    def run(record: Any) -> Run:
        message = ""
        try:
            response = time_history(system, record, state, damping=damping, **options)
        except AnalysisError as error:
            response, message = error.response, str(error)
        return Run(record, response.outcome, keep(response) if keep is not None else response, message)

    runs: list[Run | None] = [None] * len(waiting)
    bar = _bar(len(waiting)) if progress else None
    pool = ThreadPoolExecutor(workers)
    futures: dict[Future[Run], int] = {}
    try:
        futures = {pool.submit(run, record): number for number, record in enumerate(waiting)}
        for future in as_completed(futures):
            runs[futures[future]] = future.result()
            if bar is not None:
                bar.update()
    except KeyboardInterrupt:
        pool.shutdown(wait=True, cancel_futures=True)
        for future, number in futures.items():
            if future.done() and not future.cancelled() and future.exception() is None:
                runs[number] = future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        if bar is not None:
            bar.close()
    return runs


def _bar(total: int) -> Any:
    from tqdm import tqdm

    return tqdm(total=total, unit="run", leave=False)
