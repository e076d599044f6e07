"""Whether steps come in time: figures of a paced test, and of a paced loop that does nothing on the same machine.

A step is missed when it ends later than one period after it was due. The empty loop wakes and measures as `HybridTest`
does, so that what it misses is the machine's own; run it just before and just after a test.

Durability and deadlines trade like this. In durable mode each command waits for the medium (a sync of 0.1 to 10 ms):
nothing can be lost, and no deadline under that time can be kept; it is the default, for slow tests. In batched mode a
process of its own writes the rows and the step waits only if the medium has fallen `may_lose` steps behind: a crash of
the machine may cost that many steps of the log, one of the test none, and the journal is not in the step's path.
"""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from frame2d.errors import positive
from frame2d.hybrid.computed import Solver
from frame2d.hybrid.conduct import CHECKS, HybridTest, Outcome
from frame2d.hybrid.limits import Limits
from frame2d.hybrid.operator import Unattended
from frame2d.hybrid.pace import undisturbed, wait_until
from frame2d.hybrid.specimen import Command, as_specimen

#: Upper edges of the histogram's classes, µs; the last class is open.
EDGES = (25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 250.0, 350.0, 500.0, 750.0, 1000.0, 2000.0)


class Timing(NamedTuple):
    """Step times of a paced run, s; `late`: behind schedule at waking."""

    steps: int
    period: float
    p50: float
    p99: float
    p999: float
    most: float
    late_p999: float
    late_most: float
    #: Steps that ended after the next one was due.
    missed: int
    #: Steps by class of `EDGES`, the last open.
    histogram: tuple[int, ...]

    def plain(self) -> dict[str, Any]:
        """Plain numbers."""
        return {**self._asdict(), "histogram": list(self.histogram), "edges_us": list(EDGES)}

    def text(self) -> str:
        """The figures in one line, and the histogram below."""
        us = [f"{1e6 * value:.0f}" for value in (self.p50, self.p99, self.p999, self.most)]
        lines = [
            f"{self.steps} steps at {1.0 / self.period:.0f} Hz: p50 {us[0]}, p99 {us[1]}, p99.9 {us[2]}, max {us[3]} µs; "
            f"woken late p99.9 {1e6 * self.late_p999:.0f}, max {1e6 * self.late_most:.0f} µs; missed {self.missed}"
        ]
        edges = [f"≤ {edge:.0f}" for edge in EDGES] + [f"> {EDGES[-1]:.0f}"]
        lines += [
            f"  {edge:>7} µs {count:8d}" for edge, count in zip(edges, self.histogram, strict=True) if count
        ]
        return "\n".join(lines)


def timing(step_time: np.ndarray, lateness: np.ndarray, period: float) -> Timing:
    """Figures of the steps (steps,) s of a run paced at `period` s."""
    p50, p99, p999 = np.quantile(step_time, [0.5, 0.99, 0.999])
    classes = np.concatenate([[0.0], EDGES, [np.inf]])
    counts = np.histogram(1e6 * step_time, classes)[0]
    missed = int(np.count_nonzero(lateness + step_time > period))
    return Timing(
        len(step_time), period, float(p50), float(p99), float(p999), float(step_time.max()),
        float(np.quantile(lateness, 0.999)), float(lateness.max()), missed, tuple(int(count) for count in counts),
    )  # fmt: skip


def empty_loop(rate: float = 1024.0, seconds: float = 10.0) -> Timing:
    """A paced loop of `rate` steps a second that does nothing."""
    period = 1.0 / positive("rate", rate)
    steps = max(1, round(positive("seconds", seconds) * rate))
    lateness, spent = np.zeros(steps), np.zeros(steps)
    lateness.fill(0.0)
    clock = time.perf_counter
    with undisturbed():
        began = clock()
        for step in range(steps):
            due = began + (step + 1) * period
            wait_until(due)
            start = clock()
            lateness[step] = start - due
            spent[step] = clock() - start
    return timing(spent, lateness, period)


def paced_run(
    make_solver: Callable[[float], Solver],
    specimen: Any,
    limits: Limits,
    *,
    rate: float = 1024.0,
    journal: str | Path | None = None,
    may_lose: int = 4096,
) -> tuple[Timing, Outcome]:
    """A whole test against a model, paced at `rate` steps a second, with its journal in batched mode.

    Nobody is asked and no check is made: for models only. One step is taken beforehand on a twin, and one command to
    where the model stands, so that nothing is compiled or touched for the first time while the clock runs.
    """
    period = 1.0 / positive("rate", rate)
    twin = make_solver(1.0)
    twin.predict()
    twin.correct(np.zeros(twin.freedoms))
    model = as_specimen(specimen, twin.freedoms)
    model.apply(Command(model.last_sequence + 1, np.zeros(twin.freedoms), period))
    with tempfile.TemporaryDirectory() as own:
        test = HybridTest(
            make_solver, model, limits, Unattended(True), journal or Path(own) / "paced.db", pace=period,
            mode="batched", may_lose=may_lose,
        )  # fmt: skip
        try:
            outcome = test.run(CHECKS)
        finally:
            test.close()
    return timing(outcome.step_time, outcome.lateness, period), outcome


__all__ = ["EDGES", "Timing", "empty_loop", "paced_run", "timing"]
