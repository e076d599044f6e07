"""Run compiled steps in blocks: progress, interruption, and the error that keeps what was computed."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.analysis.collapse import Stand, ratios, suspicion
from frame2d.analysis.instability import AHEAD, CREATED, DOUBTED, Stability, explained
from frame2d.analysis.interruption import Interruption
from frame2d.analysis.outcome import AnalysisError, Outcome, describe_failure
from frame2d.analysis.response import Log, Response
from frame2d.engine.implicit import COLLAPSED, run
from frame2d.engine.newton import CONVERGED
from frame2d.engine.solve import GROWTH
from frame2d.errors import whole, within
from frame2d.model.state import State
from frame2d.model.storeys import DriftWatch

if TYPE_CHECKING:
    from frame2d.engine.plan import Motion, Plan, Room
    from frame2d.model.system import System


@dataclass(frozen=True)
class Options:
    """How hard the engine tries. `tolerance` is relative to the peak load (moments over the mean member length)."""

    tolerance: float = 1e-8
    most_iterations: int = 20
    deepest_halving: int = 8
    progress: bool = False

    def __post_init__(self) -> None:
        within("Options.tolerance", self.tolerance, 1e-15, 0.1)
        whole("Options.most_iterations", self.most_iterations, 1, 10_000)
        whole("Options.deepest_halving", self.deepest_halving, 0, 30)

    def array(self, reference: float) -> np.ndarray:
        """As the engine reads them."""
        return np.array([self.tolerance * reference, self.most_iterations, self.deepest_halving])


#: Most steps between two looks at Ctrl-C, and entries of the factor over them: about 0.1 s of a large frame.
BLOCK, BLOCK_ENTRIES = 500, 2_000_000
#: Pairs of freedoms and limits where nothing is watched.
UNWATCHED = np.zeros((0, 2), dtype=np.int64), np.zeros(0)
#: Drift and sinking ratios at which gravity equilibrium is asked for while a history runs, and at its end.
SUSPICION, PLUMB = 0.2, 0.02
#: Status of a scheme that has lost its stability, beside those of the engine.
UNSTABLE = 4
LOST_STABILITY = "the scheme lost its stability"
STOPPED = "stopped by the user"
LOST = (
    "gravity equilibrium was lost: let go at rest the frame moves on without end, with halved steps as well"
)


def run_steps(
    system: "System",
    plan: "Plan",
    room: "Room",
    motion: "Motion",
    base: np.ndarray,
    patterns: np.ndarray,
    factors: np.ndarray,
    history: np.ndarray,
    dt: float,
    steps: int,
    scheme: np.ndarray,
    options: Options,
    reference: float,
    log: Log,
    drift: DriftWatch | None,
    start: State,
    march: Callable[..., tuple[int, int]] = run,
    standing: Callable[["Motion", int], Stand] | None = None,
    carried: tuple[np.ndarray, ...] = (),
    conditional: bool = False,
) -> tuple[int, Outcome, str]:
    """Run all steps; returns how many rows of the log are filled, the outcome, and why it is one.

    `drift` gives the user's limits. `standing` tells whether gravity is held from a motion at a row: it is asked where
    a step fails, where a drift or a sinking passes `SUSPICION` (and each doubling of it) and at an end that is displaced.
    `carried` is what `march` writes beside motion, room and log. A `conditional` scheme is watched for its stability, and the run
    ends as not converged where it is lost (`frame2d.analysis.instability`).
    """
    log.put(0, motion)
    reference = max(reference, system.rounding / options.tolerance)
    supports = np.vstack([system.imposed_parts, np.zeros((1, system.held.size))])
    watch = drift
    if drift is None and standing is not None:
        watch = suspicion(system, base, SUSPICION)
    pairs = UNWATCHED if watch is None else watch.pairs(history)
    stability = Stability(system, log, history) if conditional else None
    afterwards = pairs is None or conditional

    def advance(first: int, last: int) -> tuple[int, int]:
        found = UNWATCHED if afterwards or pairs is None else pairs
        return march(
            plan, room, motion, base, patterns, factors, supports, history, dt, first, last, scheme,
            options.array(reference), *found, log.arrays(),
        )  # fmt: skip

    def judged(first: int, last: int) -> tuple[int, int]:
        """A block whose log is looked at afterwards: for drifts that are no differences of freedoms, for stability.

        It then runs again up to the step at which it ends, from where and with what it began.
        """
        kept = [array.copy() for array in (*motion, *room, *carried)]
        done, status = advance(first, last)
        end = done
        over = None if watch is None else watch.first_passed(log.q[first:done], history[first:done])
        if over is not None:
            end, status = first + over + 1, COLLAPSED
        if stability is not None:
            farther = min(end + AHEAD, steps + 1)
            if status == COLLAPSED and farther > done:
                done, _ = advance(done, farther)
            share = DOUBTED if status == COLLAPSED else CREATED
            lost = stability.lost(first, done, status != CONVERGED, share)
            if lost is not None:
                end, status = lost + 1, UNSTABLE
        if end < done:
            for array, old in zip((*motion, *room, *carried), kept, strict=True):
                array[:] = old
            advance(first, end)
        return end, status

    row, block = 1, max(1, min(BLOCK, BLOCK_ENTRIES // max(1, plan.row.size)))
    with Interruption() as interruption, progress(steps, options) as show:
        while row <= steps and not interruption.asked:
            last = min(row + block, steps + 1)
            done, status = judged(row, last) if afterwards else advance(row, last)
            show(done - row)
            row = done
            if status == UNSTABLE:
                return row, Outcome.NOT_CONVERGED, LOST_STABILITY
            if status == COLLAPSED and drift is not None:
                return row, Outcome.COLLAPSED, "a storey drift ratio passed the limit that was set"
            if status != CONVERGED:
                found = standing(motion, row) if standing is not None else Stand.UNDECIDED
                if found is Stand.LOST:
                    return row, Outcome.COLLAPSED, LOST
                if status != COLLAPSED:
                    return row, Outcome.NOT_CONVERGED, found.value if standing is not None else ""
                assert watch is not None
                watch = watch.doubled()
                pairs = watch.pairs(history)
        if interruption.asked:
            return row, Outcome.INTERRUPTED, STOPPED
        if standing is not None and displaced(system, motion, base) and standing(motion, row) is Stand.LOST:
            return row, Outcome.COLLAPSED, LOST
    if interruption.asked:
        return row, Outcome.INTERRUPTED, STOPPED
    return row, Outcome.COMPLETED, ""


def displaced(system: "System", motion: "Motion", load: np.ndarray) -> bool:
    """Whether a storey stands out of plumb by more than `PLUMB`, or a node that bears `load` has sunk by that."""
    return float(np.abs(ratios(system, load)[0] @ motion.q).max(initial=0.0)) > PLUMB


@contextmanager
def progress(steps: int, options: Options) -> Iterator[Callable[[int], Any]]:
    """Within, what is yielded takes the number of steps just done; a bar shows them if `options` ask for it."""
    if not options.progress:
        yield lambda done: None
        return
    from tqdm import tqdm

    with tqdm(total=steps, unit="step", leave=False) as bar:
        yield bar.update


def finish(
    system: "System",
    begin: State,
    motion: "Motion",
    room: "Room",
    log: Log,
    done: int,
    outcome: Outcome,
    kind: str,
    time: np.ndarray,
    load: np.ndarray,
    history: np.ndarray,
    extra: dict[str, Any],
    plan: "Plan",
) -> Response:
    """Response and final state; raises `AnalysisError` when not converged.

    `extra["added"]` holds the factors by step of load cases which this analysis adds to those that stay on.
    """
    added = extra.pop("added", {})
    names = sorted({*begin.cases, *added})
    factors = np.array(
        [begin.cases.get(case, 0.0) + added.get(case, np.zeros(done))[:done] for case in names]
    )
    extra["case names"], extra["case factors"] = json.dumps(names), factors.reshape(len(names), done)
    cases = {case: float(row[-1]) for case, row in zip(names, extra["case factors"], strict=True)}
    extra["pivot growth"] = float(room.note[GROWTH])
    supports = history[done - 1] if history.size else begin.supports
    # Statics takes no time.
    now = float(time[done - 1]) if kind == "time history" else begin.time
    state = State(motion, now, load, supports, begin.released, begin.replaced, cases)
    response = Response(
        system, kind, time[:done], log.cut(done), history[:done], state, outcome, extra, room.counts.copy()
    )
    if outcome is Outcome.NOT_CONVERGED:
        why = describe_failure(system, room, motion, f"in step {done}, after {time[done - 1]:g}")
        if response.criterion == LOST_STABILITY:
            why = explained(str(extra["scheme"]), done - 1, time[done - 1])
        elif response.criterion:
            why += f". This is no collapse: let go at rest, {response.criterion}"
        raise AnalysisError(why, response)
    return response
