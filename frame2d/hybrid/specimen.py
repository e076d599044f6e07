"""What a specimen is: whatever answers a displacement of the interface with a measured force.

A user's own specimen is a class with one method, ``measure(displacement) -> force``; `as_specimen` gives it the rest.
Everything in this room that stands in front of a specimen (guard, actuator geometry, network link) is a specimen too,
so that they stack.
"""

from typing import Any, NamedTuple, Protocol, runtime_checkable
from uuid import uuid4

import numpy as np

from frame2d.errors import Frame2dError, InputError


class Command(NamedTuple):
    """One displacement that the specimen must reach."""

    #: Counts the commands of a session from 1; a specimen executes each number at most once.
    sequence: int
    #: Target of the interface freedoms, m and rad.
    displacement: np.ndarray
    #: Laboratory time given to reach it, s: time scale × step.
    duration: float


class Reading(NamedTuple):
    """What the sensors say at the end of a command."""

    #: Measured displacement of the interface freedoms, m and rad.
    displacement: np.ndarray
    #: Measured force on the interface freedoms, N and N·m, positive along the displacement.
    force: np.ndarray


class LinkLost(Frame2dError):
    """The specimen does not answer: connection broken or silent for longer than agreed."""


class Refused(Frame2dError):
    """The specimen's side declines a command or a connection, and says why."""


@runtime_checkable
class Measures(Protocol):
    """The one duty of a user's own specimen."""

    def measure(self, displacement: np.ndarray) -> np.ndarray:
        """Force (N, N·m) that answers the interface displacement (m, rad); both of shape (freedoms,)."""
        ...


class Specimen:
    """Base of every specimen. Duties, in order of need:

    1. `apply` moves to a command and returns the `Reading` at its end; it blocks until then.
    2. `freedoms`: number of interface freedoms.
    3. `read` returns the present reading without moving.
    4. `stop` hands over to the rig's own hardware; nothing may move afterwards.
    5. `session` names the specimen's memory: a specimen that lost its memory has another one.
    """

    freedoms: int = 1
    #: Identifies the specimen's memory.
    session: str
    #: Sequence number of the last command that was executed.
    last_sequence: int = 0
    #: True if repeating the same commands on a fresh one brings its memory back (models, simulated rigs).
    replayable: bool = False

    def __init__(self, freedoms: int) -> None:
        if int(freedoms) < 1:
            raise InputError(f"freedoms of a specimen is {freedoms!r}; allowed: 1 or more")
        self.freedoms = int(freedoms)
        self.session = uuid4().hex
        self.last_sequence = 0

    def apply(self, command: Command) -> Reading:
        """Move to `command` and measure."""
        raise NotImplementedError

    def read(self) -> Reading:
        """Measure without moving."""
        raise NotImplementedError

    def answer(self, sequence: int) -> Reading | None:
        """The stored reading of a command that was executed before, if it is still known."""
        return None

    def alive(self) -> None:
        """Tell the specimen's side that the solver is still there; called while a person decides, from another thread."""

    def stop(self, reason: str) -> None:
        """Hand over to the rig's own hardware."""

    def close(self) -> None:
        """Release connections and files."""

    def describe(self) -> dict[str, Any]:
        """Plain data for the journal."""
        return {"specimen": type(self).__name__, "freedoms": self.freedoms}


class Around(Specimen):
    """A specimen around another, `inner`, that passes on what does not move it."""

    inner: Specimen

    def read(self) -> Reading:
        return self.inner.read()

    def answer(self, sequence: int) -> Reading | None:
        return self.inner.answer(sequence)

    def alive(self) -> None:
        self.inner.alive()

    def close(self) -> None:
        self.inner.close()


class Own(Specimen):
    """A user's object with one method, as a full specimen that reaches every command exactly."""

    def __init__(self, user: Measures, freedoms: int) -> None:
        super().__init__(freedoms)
        self.user = user
        self._reading = Reading(np.zeros(freedoms), np.zeros(freedoms))

    def apply(self, command: Command) -> Reading:
        displacement = np.array(command.displacement, dtype=np.float64)
        force = np.array(self.user.measure(displacement.copy()), dtype=np.float64).reshape(-1)
        if force.shape != (self.freedoms,):
            raise InputError(
                f"{type(self.user).__name__}.measure returned {force.size} forces; allowed: {self.freedoms}, one for "
                "each interface freedom. Likely mistake: forces of the actuators instead of the freedoms"
            )
        self._reading = Reading(displacement, force)
        self.last_sequence = command.sequence
        return self._reading

    def read(self) -> Reading:
        return self._reading

    def describe(self) -> dict[str, Any]:
        return {"specimen": type(self.user).__name__, "freedoms": self.freedoms}


def as_specimen(user: Any, freedoms: int = 1) -> Specimen:
    """A `Specimen` of `user`: itself if it already is one, else an object with ``measure(displacement) -> force``.

    Raises `InputError` if it is neither.
    """
    if isinstance(user, Specimen):
        return user
    if isinstance(user, Measures):
        return Own(user, freedoms)
    raise InputError(
        f"specimen is a {type(user).__name__}; allowed: a Specimen, or an object with a method measure(displacement) "
        "-> force. Likely mistake: the class was handed over instead of an instance"
    )
