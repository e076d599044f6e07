"""Ctrl-C while an analysis runs: noted at once, obeyed where motion and log agree."""

import signal
import threading
from types import FrameType, TracebackType


class Interruption:
    """Context in which the first Ctrl-C only sets `asked`; a second one raises KeyboardInterrupt at once.

    Python raises KeyboardInterrupt between any two instructions, so also after compiled steps have moved on and before
    their number is known: what was kept would then be a later motion under an earlier time. An analysis looks at `asked`
    after each block of steps instead. In other threads, and where a script has a handler of its own, nothing is changed.
    """

    def __init__(self) -> None:
        self.asked = False
        self._mine = False

    def __enter__(self) -> "Interruption":
        in_main = threading.current_thread() is threading.main_thread()
        if in_main and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            self._mine = True
            signal.signal(signal.SIGINT, self._note)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._mine:
            signal.signal(signal.SIGINT, signal.default_int_handler)

    def _note(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True
