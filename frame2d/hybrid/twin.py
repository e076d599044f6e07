"""A twin of a paced test that takes each step once more while the test waits: so the next one finds its code at hand.

Whatever ran meanwhile, in this machine or beside it, has pushed the step's code out of the processor's caches, and one
step in a hundred then takes three times as long. The twin has a solver, a compensator and a guard of its own and is
given the readings of the test; it goes the same way, one step behind, moves nothing and writes nothing.
"""

import time
from collections import deque
from typing import TYPE_CHECKING

from frame2d.hybrid.guard import Guarded
from frame2d.hybrid.specimen import Command, Reading, Specimen

if TYPE_CHECKING:
    from frame2d.hybrid.conduct import HybridTest

#: The twin's step begins so long before the test's next one is due, s.
EARLY = 5e-4


class _Echo(Specimen):
    """Answers with the reading that it was given."""

    def __init__(self, reading: Reading) -> None:
        super().__init__(len(reading.force))
        self.reading = reading

    def apply(self, command: Command) -> Reading:
        self.last_sequence = command.sequence
        return self.reading

    def read(self) -> Reading:
        return self.reading


class Twin:
    """Twin of `test` from its start. Without time for it, or if anything about it fails, the test goes on alone."""

    def __init__(self, test: "HybridTest") -> None:
        self.test = test
        self.solver, self.compensation = test.make_solver(1.0), test.make_compensation()
        self.echo = _Echo(test.guard.reading_now)
        self.guard = Guarded(self.echo, test.limits, test.table, test.guard.stiffness)
        self.heard: deque[Reading] = deque()
        #: Steps taken, and how long the last one took, s.
        self.steps, self._took = 0, 0.0
        self.failed = False

    def follow(self, due: float) -> None:
        """Take the next step that the test has taken, if there is time before `due` (s of `time.perf_counter`)."""
        left = due - time.perf_counter()
        if self.failed or not self.heard or left < EARLY:
            return
        time.sleep(left - EARLY)
        began = time.perf_counter()
        if due - began < 2.0 * self._took:
            self._took *= 0.5  # once it took long; it may try again
            return
        try:
            self._step(self.heard.popleft())
        except Exception:
            self.failed = True
        self._took = time.perf_counter() - began

    def _step(self, reading: Reading) -> None:
        guard, solver = self.guard, self.solver
        target = solver.predict()
        command = Command(guard.last_sequence + 1, self.compensation.command(target), self.test.duration)
        guard.energies, guard.target = solver.energies(), target
        self.echo.reading = reading
        guard.apply(command)
        self.compensation.measured(reading.displacement)
        solver.correct(self.test.carried(target, reading))
        self.steps += 1


__all__ = ["Twin"]
