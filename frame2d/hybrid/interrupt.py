"""Ctrl-C while a test runs is the operator's stop; what the terminal does otherwise comes back afterwards."""

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any

#: What the operator is told before a test.
WORDS = (
    "Ctrl-C is the operator's stop: it acts before the next command leaves. A second Ctrl-C ends the program at once, "
    "and the rig keeps its last command."
)


class _Pressed:
    """The handler: it gives the terminal back and asks for the stop."""

    def __init__(self, stop: Callable[[str], None], before: Any) -> None:
        self.stop, self.before = stop, before

    def __call__(self, number: int, frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, self.before)
        self.stop("Ctrl-C at the operator's terminal")


@contextlib.contextmanager
def stops_on_interrupt(stop: Callable[[str], None]) -> Iterator[None]:
    """The first Ctrl-C calls `stop` with a reason, the next one interrupts as before.

    Only a program's main thread hears the terminal: in any other nothing happens, nor inside of another one of these.
    """
    before = signal.getsignal(signal.SIGINT)
    # None: set by other than Python, so that it could not be put back.
    if threading.current_thread() is not threading.main_thread() or isinstance(before, _Pressed | None):
        yield
        return
    signal.signal(signal.SIGINT, _Pressed(stop, before))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


__all__ = ["WORDS", "stops_on_interrupt"]
