"""What a test says: how it stands after each step, how it went, and why it may not start."""

from dataclasses import dataclass, field

import numpy as np

from frame2d.errors import InputError
from frame2d.hybrid.computed import Solver
from frame2d.hybrid.limits import Event
from frame2d.hybrid.specimen import Reading


class NotReady(InputError):
    """A test that may not start: something was not confirmed or checked."""


@dataclass
class Progress:
    """What a view shows after each step; arrays (freedoms,)."""

    step: int
    steps: int
    seconds_left: float
    target: np.ndarray
    command: np.ndarray
    reading: Reading
    hsem: float
    shares: dict[str, float]
    state: str


@dataclass
class Outcome:
    """How a test went; histories (steps done, freedoms)."""

    #: 'completed', 'held', 'unloaded' or 'stopped'.
    ending: str
    step: int
    target: np.ndarray
    command: np.ndarray
    displacement: np.ndarray
    force: np.ndarray
    #: Energy error of each step (HSEM).
    energy_error: np.ndarray
    #: Seconds from the start of a step to its end, and behind schedule if the test is paced.
    step_time: np.ndarray
    lateness: np.ndarray
    events: list[Event] = field(default_factory=list)
    #: Times that the journal made a step wait.
    journal_waits: int = 0


class Histories:
    """Preallocated histories of a run."""

    def __init__(self, solver: Solver) -> None:
        shape = (solver.steps, solver.freedoms)
        # Full, not zeros: the pages are there before a step needs them.
        self.target, self.command, self.displacement, self.force = (np.full(shape, 0.0) for _ in range(4))
        self.energy_error, self.step_time, self.lateness = (np.full(solver.steps, 0.0) for _ in range(3))

    def add(self, step: int, target: np.ndarray, command: np.ndarray, reading: Reading, ratio: float) -> None:
        i = step - 1
        self.target[i], self.command[i] = target, command
        self.displacement[i], self.force[i] = reading.displacement, reading.force
        self.energy_error[i] = ratio

    def outcome(self, ending: str, done: int, events: list[Event], waits: int) -> Outcome:
        return Outcome(
            ending, done, self.target[:done], self.command[:done], self.displacement[:done], self.force[:done],
            self.energy_error[:done], self.step_time[:done], self.lateness[:done], events, waits,
        )  # fmt: skip


__all__ = ["Histories", "NotReady", "Outcome", "Progress"]
