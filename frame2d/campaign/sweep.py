"""`sweep`: many independent runs over any `concurrent.futures` executor, each stored as it ends, resumable.

A run is any callable; its arguments and what it returns are plain data or picklable. Threads are the default (compiled
analyses release the lock); a process pool or the executor of a cluster (`client.get_executor()` of Dask, extra
`cluster`) does as well, as long as the callable can be pickled.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Executor, Future, ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field, fields, is_dataclass
from hashlib import sha256
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.errors import InputError, known, within
from frame2d.written import folder_at, written

FORMAT = "frame2d/sweep run/1"
#: How a run ended. "not converged" and "failed" are never a collapse.
COMPLETED, COLLAPSED, NOT_CONVERGED, FAILED = "completed", "collapsed", "not converged", "failed"
STATUSES = (COMPLETED, COLLAPSED, NOT_CONVERGED, FAILED)


@dataclass(frozen=True)
class Job:
    """One run: its place on the axes of the sweep (names), and the arguments of the callable."""

    place: Mapping[str, str]
    arguments: Mapping[str, Any]

    @property
    def name(self) -> str:
        """Text of the place."""
        return ", ".join(f"{axis} {value}" for axis, value in self.place.items())


@dataclass(frozen=True)
class Finished:
    """A run that ended: `status`, what it returned (plain data), the message of an error, whether read from disk."""

    job: Job
    status: str
    values: dict[str, Any] = field(default_factory=dict)
    message: str = ""
    resumed: bool = False


def grid(**axes: Mapping[str, Any] | Iterable[Any]) -> list[Job]:
    """Jobs for every combination: each axis is an argument of the callable, its values by name or by themselves.

    For a cut × record × limit-state matrix: ``grid(cut=cuts, record=records, limit_state=states)``. Raises `InputError`
    for an axis without values or with two values of one name.
    """
    named: dict[str, dict[str, Any]] = {}
    for axis, values in axes.items():
        pairs = list(values.items()) if isinstance(values, Mapping) else [(_name(v), v) for v in values]
        named[axis] = dict(pairs)
        if not pairs or len(named[axis]) != len(pairs):
            raise InputError(
                f"axis {axis!r} has {len(pairs)} values with {len(named[axis])} names; allowed: one or more, each name once"
            )
    return [
        Job({axis: name for axis, (name, _) in zip(named, point, strict=True)},
            {axis: value for axis, (_, value) in zip(named, point, strict=True)})
        for point in product(*(list(values.items()) for values in named.values()))
    ]  # fmt: skip


def _name(value: Any) -> str:
    return str(getattr(value, "name", value))


def sweep(
    run: Callable[..., Mapping[str, Any]],
    jobs: Iterable[Job],
    folder: Any = None,
    *,
    executor: Executor | None = None,
    workers: int = 2,
    progress: bool = False,
    again: Iterable[str] = (),
) -> list[Finished]:
    """Run all jobs, ``run(**job.arguments)``, and return them in their order.

    What `run` returns may hold "status" (completed, collapsed, not converged, failed; completed without it). An
    `AnalysisError` is "not converged", any other exception "failed", with its message; neither stops the sweep. With
    a `folder` each run is stored as it ends and taken over the next time, if its arguments and `run` are the same;
    `again` names statuses that are to be run again. Ctrl-C cancels what has not begun, keeps what has ended, and is
    raised again. Without an `executor`, so many threads as `workers`.
    """
    todo = list(jobs)
    for status in again:
        known("status to run again", status, STATUSES)
    root = None if folder is None else Path(folder)
    if root is not None:
        folder_at(root)
    about = _callable_identity(run)
    marks = [_mark(about, job) for job in todo]
    if len(set(marks)) != len(marks):
        raise InputError("two jobs of the sweep are the same; allowed: each once")
    done: dict[int, Finished] = {}
    for k, (job, mark) in enumerate(zip(todo, marks, strict=True)):
        stored = _read(root, mark, job)
        if stored is not None and stored.status not in tuple(again):
            done[k] = stored
    own = None if executor is not None else ThreadPoolExecutor(int(within("workers", workers, 1, 1024)))
    pool = executor if executor is not None else own
    assert pool is not None
    bar = _bar(len(todo), len(done)) if progress else None
    futures: dict[Future[Any], int] = {}
    try:
        for k, job in enumerate(todo):
            if k not in done:
                futures[pool.submit(_attempt, run, dict(job.arguments))] = k
        for future in as_completed(futures):
            k = futures[future]
            done[k] = _finished(todo[k], future)
            _store(root, marks[k], done[k])
            if bar is not None:
                bar.update(1)
    except BaseException:
        for future in futures:
            future.cancel()
        # What ended while the interruption came is kept.
        for future, k in futures.items():
            if k not in done and future.done() and _ended(future):
                _store(root, marks[k], _finished(todo[k], future))
        raise
    finally:
        if bar is not None:
            bar.close()
        if own is not None:
            own.shutdown(wait=True, cancel_futures=True)
    return [done[k] for k in range(len(todo))]


def _attempt(
    run: Callable[..., Mapping[str, Any]], arguments: dict[str, Any]
) -> tuple[str, dict[str, Any], str]:
    """Run in the worker; never raises for what a run may do wrong."""
    from frame2d.analysis import AnalysisError

    try:
        values = dict(run(**arguments))
    except AnalysisError as error:
        return NOT_CONVERGED, {}, str(error)
    except Exception as error:
        return FAILED, {}, f"{type(error).__name__}: {error}"
    status = values.pop("status", COMPLETED)
    if status not in STATUSES:
        return FAILED, {}, f"the run returned status {status!r}; allowed: {', '.join(STATUSES)}"
    message = str(values.pop("message", ""))
    return status, _plain(values), message


def _ended(future: "Future[Any]") -> bool:
    """Whether a run ended by itself: neither cancelled nor interrupted."""
    if future.cancelled():
        return False
    error = future.exception()
    return error is None or isinstance(error, Exception)


def _finished(job: Job, future: "Future[Any]") -> Finished:
    """Result of a future; a worker that died is a failed run."""
    try:
        status, values, message = future.result()
    except Exception as error:
        return Finished(job, FAILED, {}, f"worker: {type(error).__name__}: {error}")
    return Finished(job, status, values, message)


def _plain(value: Any) -> Any:
    """Numpy to plain data, so that a stored run is what a fresh one is."""
    if isinstance(value, Mapping):
        return {str(key): _plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in value]
    return _plain(value.tolist()) if hasattr(value, "tolist") else value


def _store(root: Path | None, mark: str, run: Finished) -> None:
    if root is None:
        return
    data = {
        "format": FORMAT, "place": dict(run.job.place), "status": run.status, "values": run.values, "message": run.message,
    }  # fmt: skip
    with written(root / f"{mark}.json") as beside:
        beside.write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")


def _read(root: Path | None, mark: str, job: Job) -> Finished | None:
    path = None if root is None else root / f"{mark}.json"
    if path is None or not path.is_file():
        return None
    data = json.loads(path.read_text(encoding="utf-8"))
    if data.get("format") != FORMAT:
        raise InputError(f"{path} has format {data.get('format')!r}; allowed: {FORMAT!r}")
    return Finished(job, data["status"], data["values"], data["message"], resumed=True)


def _mark(about: Any, job: Job) -> str:
    """Name of the file: digest of callable, place and arguments."""
    text = json.dumps([about, dict(job.place), identity(dict(job.arguments))], sort_keys=True)
    return sha256(text.encode()).hexdigest()[:24]


def _callable_identity(run: Any) -> Any:
    if is_dataclass(run) and not isinstance(run, type):
        return identity(run)
    function, arguments = getattr(run, "func", run), getattr(run, "keywords", {})
    return [
        getattr(function, "__module__", ""),
        getattr(function, "__qualname__", type(function).__name__),
        identity(arguments),
    ]


def identity(value: Any) -> Any:
    """Plain data that two equal arguments share and two different ones do not; arrays by their digest.

    Frames by their file, objects with `describe()` by that, dataclasses by their fields, functions by name. Raises
    `InputError` for what cannot be told apart from others of its kind.
    """
    from frame2d.model import Frame
    from frame2d.model.schema import to_data

    if value is None or isinstance(value, str | int | float | bool):
        return value
    if isinstance(value, np.ndarray):
        return ["array", list(value.shape), sha256(np.ascontiguousarray(value).tobytes()).hexdigest()]
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return {str(key): identity(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        entries = [identity(entry) for entry in value]
        return sorted(entries, key=repr) if isinstance(value, set | frozenset) else entries
    if isinstance(value, Frame):
        return sha256(json.dumps(to_data(value), sort_keys=True).encode()).hexdigest()
    if hasattr(value, "describe") and callable(value.describe) and not isinstance(value, type):
        return [type(value).__qualname__, identity(value.describe())]
    if is_dataclass(value) and not isinstance(value, type):
        return [type(value).__qualname__, {f.name: identity(getattr(value, f.name)) for f in fields(value)}]
    if callable(value):
        return [getattr(value, "__module__", ""), getattr(value, "__qualname__", "")]
    if hasattr(value, "__dict__"):
        return [type(value).__qualname__, identity(vars(value))]
    raise InputError(
        f"an argument of the sweep is a {type(value).__name__}, which has no identity; allowed: plain data, arrays, "
        "frames, dataclasses"
    )


def _bar(total: int, begun: int) -> Any:
    from tqdm import tqdm

    return tqdm(total=total, initial=begun, unit="run", leave=False)


def counts(runs: Iterable[Finished]) -> dict[str, int]:
    """Runs by status."""
    found = dict.fromkeys(STATUSES, 0)
    for run in runs:
        found[run.status] += 1
    return found


def tabulated(runs: Iterable[Finished], key: str, rows: str, columns: str) -> dict[str, Any]:
    """Values of `key` by two axes, None where a run did not complete; {"rows", "columns", "values", "status"}.

    Raises `InputError` where further axes leave more than one run in a cell.
    """
    everything = list(runs)
    names = [list(dict.fromkeys(run.job.place[known("axis", axis, run.job.place)] for run in everything)) for axis in (rows, columns)]  # fmt: skip
    cells: dict[tuple[str, str], Finished] = {}
    for run in everything:
        at = (run.job.place[rows], run.job.place[columns])
        if at in cells:
            raise InputError(
                f"two runs at {rows} {at[0]}, {columns} {at[1]}; allowed: one. Pick runs of the other axes first"
            )
        cells[at] = run
    table = [[cells.get((r, c)) for c in names[1]] for r in names[0]]
    return {
        "rows": names[0], "columns": names[1],
        "values": [[run.values.get(key) if run and run.status in (COMPLETED, COLLAPSED) else None for run in line] for line in table],
        "status": [[run.status if run else None for run in line] for line in table],
    }  # fmt: skip
