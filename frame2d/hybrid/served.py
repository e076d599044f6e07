"""What stands behind the wire on the specimen's side: a guard that unloads beside the talk, over a specimen that remembers.

The wire must go on listening while the guard unloads or a person is asked, so that a stop comes through and no solver
takes a long unloading for a lost link.
"""

import contextlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.hybrid.guard import Guarded, Tripped
from frame2d.hybrid.journal import Journal, JournalError, rows
from frame2d.hybrid.limits import Action, Event, Limits
from frame2d.hybrid.specimen import Around, Command, Reading, Refused, Specimen, as_specimen

#: Triggers of an inner guard that act before a command leaves: without a reading such a command was not executed.
_BEFORE = ("command", "stroke", "step", "velocity", "deadline", "operator")


def _plain(reading: Reading) -> dict[str, Any]:
    return {"u": np.asarray(reading.displacement).tolist(), "f": np.asarray(reading.force).tolist()}


def _reading(plain: dict[str, Any]) -> Reading:
    return Reading(np.array(plain["u"]), np.array(plain["f"]))


class _Still:
    """Bears no force."""

    def measure(self, displacement: np.ndarray) -> np.ndarray:
        return np.zeros_like(displacement)


def warm(freedoms: int) -> None:
    """Compile what a guard calls: with a cold cache the first command would look like a lost link."""
    guard = Guarded(as_specimen(_Still(), freedoms), Limits((-1.0, 1.0), 1.0, 1.0, 1.0, 1.0))
    guard.apply(Command(1, np.zeros(freedoms), 1.0))


class Remembering(Around):
    """`inner`, each of whose commands and readings is written into `journal`, and which never moves after its stop.

    It stands below the guard, so that what it writes is what was really executed, unloading included.
    """

    journal: Journal | None = None

    def __init__(self, inner: Specimen) -> None:
        super().__init__(inner.freedoms)
        self.inner = inner
        self.session, self.replayable = inner.session, inner.replayable
        self.last_sequence = inner.last_sequence
        self._stopped = False

    def recall(self, path: Path) -> tuple[Reading | None, list[tuple[Command, Reading]]]:
        """Keep the memory in `path`; what is there already is repeated (models) or believed.

        Returns the reading from which the session began (None: it begins now), and what was executed since. Raises
        `JournalError` if it is not the memory of this specimen, or leaves a doubt.
        """
        existed = path.exists()
        self.journal = Journal(path, resume=existed)
        if not existed:
            about = {"session": self.session, "about": self.inner.describe()}
            self.journal.write("session", 0, {**about, **_plain(self.inner.read())})
            return None, []
        known = rows(path)
        if not known or known[0].kind != "session":
            raise JournalError(f"{path} is not the memory of a specimen")
        commands = {row.step: row.body for row in known if row.kind == "command"}
        readings = {row.step: row.body for row in known if row.kind == "reading"}
        under_way: set[int] = set()
        for row in known[1:]:
            (under_way.add if row.kind == "command" else under_way.discard)(row.step)
        doubtful = sorted(under_way)
        if doubtful and not self.replayable:
            raise JournalError(
                f"command {doubtful[-1]} was under way when the specimen's side ended: whether it was executed is not "
                "known, so this memory cannot be used; start a new session after inspecting the specimen"
            )
        self.inner.session = self.session = known[0].body["session"]
        begun, done = _reading(known[0].body), []
        for sequence, reading in sorted(readings.items()):
            body = commands[sequence]
            command = Command(sequence, np.array(body["u"]), body["t"])
            then = _reading(reading)
            if self.replayable:
                self._repeat(command, then)
            self.inner.last_sequence = self.last_sequence = sequence
            done.append((command, then))
        return begun, done

    def _repeat(self, command: Command, then: Reading) -> None:
        again = self.inner.apply(command)
        for now, before in zip(again, then, strict=True):
            if not np.array_equal(now, before):
                raise JournalError(
                    f"repeating command {command.sequence} gives another reading: this is not the same specimen"
                )

    def apply(self, command: Command) -> Reading:
        if self._stopped:
            raise Refused("the rig has been stopped: it belongs to its own hardware now")
        number = command.sequence
        if self.journal is None:
            reading = self.inner.apply(command)
        else:
            self.journal.command(number, command)
            try:
                reading = self.inner.apply(command)
            except Tripped as trip:
                if trip.reading is not None:
                    self._remember(number, trip.reading)
                elif trip.event.trigger in _BEFORE:
                    self.journal.write("refused", number, trip.event.plain())
                raise
            self._remember(number, reading)
        self.last_sequence = number
        return reading

    def _remember(self, number: int, reading: Reading) -> None:
        assert self.journal is not None
        self.journal.write("reading", number, _plain(reading))

    def stop(self, reason: str) -> None:
        self._stopped = True
        self.inner.stop(reason)

    def close(self) -> None:
        self.inner.close()

    def describe(self) -> dict[str, Any]:
        return self.inner.describe()


class Served(Guarded):
    """A guard whose unloading, and whose question to the person at the rig, run in a thread of their own.

    `ask`: puts a question to that person and returns the answer; None: nobody is there, and a hold lasts.
    """

    ask: Callable[[str], bool] | None = None
    _asking: threading.Thread | None = None

    def follow(self, begun: Reading, known: list[tuple[Command, Reading]]) -> None:
        """Take over a session from its memory: the monitors see it from its beginning, the next command its end."""
        here = self.inner.read()
        self.begin(begun.displacement, begun)
        self.adopt(begun.displacement, begun, 0)
        for command, reading in known:
            self.replayed(command, reading)
        self.adopt(self.command_now, here, self.inner.last_sequence)

    def unload(self, event: Event | None = None) -> None:
        if self.state == "stopped":
            raise Refused("the rig has been stopped: it belongs to its own hardware now")
        self.state = "unloading"
        threading.Thread(target=self._unload, args=(event,), name="unloading", daemon=True).start()

    def _unload(self, event: Event | None) -> None:
        # Refused: it was stopped in the meantime.
        with contextlib.suppress(Refused):
            super().unload(event)

    def ask_unload(self, reason: str) -> None:
        """Begin to unload because the solver's operator asked for it, unless it has moved to rest or stopped already."""
        if self.state in ("ready", "held"):
            event = Event("operator", Action.UNLOAD, reason, "solver", self.last_sequence)
            self._note(event)
            self.unload(event)

    def ask_release(self) -> None:
        """Begin to ask the person at the rig whether the hold may end, unless that is under way."""
        if self.ask is None:
            raise Refused("nobody at the rig can be asked to end the hold: its server was started without")
        if self.state == "held" and not self._being_asked():
            self._asking = threading.Thread(target=self._question, name="asking", daemon=True)
            self._asking.start()

    def _question(self) -> None:
        assert self.ask is not None
        last = self.events[-1] if self.events else None
        self.release(bool(self.ask(f"The guard holds: {last}. A solver asks whether it may go on. May it?")))

    def _being_asked(self) -> bool:
        return self._asking is not None and self._asking.is_alive()

    @property
    def said_state(self) -> str:
        """State as the wire tells it: 'asking' while the person at the rig is asked, else the guard's."""
        return "asking" if self.state == "held" and self._being_asked() else self.state
