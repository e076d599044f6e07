"""The ladder across two guards: who holds, what the operator may decide, and who carries it out.

A test has its own guard, the near one. Behind it the specimen's side may have another, the far one: in this process, or
across the wire. A guard that holds lets no command of the other through, so unloading after a hold of the far guard is
the far guard's own, and only a person at the rig can end that hold.
"""

import contextlib
import threading
import time
from collections.abc import Callable, Iterator

from frame2d.errors import Frame2dError
from frame2d.hybrid.guard import Guarded, Tripped
from frame2d.hybrid.limits import Event
from frame2d.hybrid.operator import DECISIONS
from frame2d.hybrid.remote import POLL, Remote
from frame2d.hybrid.specimen import Command, LinkLost, Refused, Specimen

#: Triggers that would act again on the same command, which therefore cannot be continued.
_AGAIN = ("command", "stroke", "step", "velocity")
#: States of a far guard that holds, and of one that is on its way to the end of the test or there.
_HOLDS, _ENDS = ("held", "asking"), ("unloading", "unloaded", "stopped")


def far_guard(specimen: Specimen) -> Guarded | Remote | None:
    """The guard of the specimen's side, if there is one: behind whatever else stands in front of it."""
    stands: Specimen | None = specimen
    while stands is not None and not isinstance(stands, (Guarded, Remote)):
        stands = getattr(stands, "inner", None)
    return stands


def far_table(specimen: Specimen) -> str:
    """What the far guard does, with its limits, in the words of its side; empty without one."""
    far = far_guard(specimen)
    if far is None:
        return ""
    return far.table_text if isinstance(far, Remote) else far.table.text(far.limits)


class Ladder:
    """The two guards of one test, after one of them has tripped; `near` is the test's own."""

    def __init__(self, near: Guarded) -> None:
        self.near, self.far = near, far_guard(near.inner)

    def _far_state(self) -> str:
        """State of the far guard; 'ready' without one."""
        return "ready" if self.far is None else self.far.state

    def possible(self, trip: Tripped) -> tuple[str, ...]:
        """What the operator may decide now, after `trip`."""
        try:
            state = self._far_state()
        except (LinkLost, Refused):
            return ("stop",)
        again = trip.reading is None and trip.event.trigger in _AGAIN
        lasting = state in _HOLDS and isinstance(self.far, Remote) and not self.far.releasable
        return ("unload", "stop") if again or lasting or state in _ENDS else DECISIONS

    def follow(self, trip: Tripped, command: Command) -> None:
        """Take over what the far guard did when it tripped: its last command, and its unloading if it does that."""
        near, far = self.near, self.far
        if far is None or trip.event.side == near.side:
            return
        if near.state == "held" and trip.reading is not None:
            near.adopt(command.displacement, trip.reading, command.sequence)
        elif near.state == "unloaded":
            self._arrive(far)

    def unload(self, event: Event) -> None:
        """Unload by the guard that holds."""
        try:
            state = self._far_state()
            if self.far is None or state == "ready":
                self.near.unload(event)
                return
            if state in _HOLDS:
                self.far.unload(event)
        except (LinkLost, Refused) as error:
            self._lost(error)
            return
        self._arrive(self.far)

    def _arrive(self, far: Guarded | Remote) -> None:
        """Wait until the far guard has unloaded, and end as it ends; the operator's stop goes through meanwhile."""
        near = self.near
        try:
            while (state := far.state) == "unloading":
                if near.asked_to_stop:
                    near.stop(near.asked_to_stop)
                    return
                time.sleep(POLL)
            near.state = state if state in ("unloaded", "stopped") else "held"
            reading = near.read()
            near.adopt(reading.displacement, reading, far.last_sequence)
        except (LinkLost, Refused) as error:
            self._lost(error)

    def _lost(self, error: Frame2dError) -> None:
        self.near.state = "held"
        with contextlib.suppress(Tripped):
            self.near.trip("link", str(error))

    def release(self) -> bool:
        """End the hold; that of a far guard across the wire only if the person at the rig agrees."""
        far = self.far
        try:
            if far is not None and far.state in _HOLDS:
                far.release(True)
                while far.state == "asking" and not self.near.asked_to_stop:
                    time.sleep(POLL)
                if far.state != "ready":
                    return False
        except (LinkLost, Refused):
            return False
        self.near.release(True)
        return True


@contextlib.contextmanager
def kept_alive(near: Guarded, tell: Callable[[str], None]) -> Iterator[None]:
    """While a person thinks, tell the specimen's side again and again that the solver is there.

    A link that is lost meanwhile is told; the next command finds it out and acts.
    """
    far, over = far_guard(near.inner), threading.Event()
    every = min(1.0, far.silence / 4.0) if isinstance(far, Remote) else 1.0

    def say() -> None:
        while not over.wait(every):
            try:
                near.alive()
            except Exception as error:
                tell(f"the specimen's side does not answer: {error}")
                return

    thread = threading.Thread(target=say, name="alive", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


__all__ = ["Ladder", "far_guard", "far_table", "kept_alive"]
