"""The test's end of a journal in batched mode: a pipe to the process that writes."""

import contextlib
import os
import select
import subprocess
import sys
from pathlib import Path
from typing import NoReturn

from frame2d.hybrid import journal_writer
from frame2d.hybrid.journal_file import JournalError
from frame2d.hybrid.journal_writer import SAID

#: The writer pauses a quarter of the time of `may_lose` steps of 0.1 ms, but no longer than this, s.
LONGEST_PAUSE = 0.02


class Pipe:
    """Starts the writer of `path`, which goes on after row `number` with digest `last`; `synced`: its last step.

    A step waits only if the medium has fallen `may_lose` steps behind. Raises `JournalError` if the writer fails.
    """

    def __init__(self, path: Path, may_lose: int, number: int, last: bytes, synced: int) -> None:
        self.path, self.may_lose, self.synced = path, may_lose, synced
        #: Times that a step waited for the medium (on Windows: or for word of it).
        self.waits = 0
        pause = min(LONGEST_PAUSE, 2.5e-5 * may_lose)
        told = [path.resolve(), number, last.hex(), max(1, may_lose // 4), pause]
        # The writer sees neither this process's modules nor an interrupt from its terminal.
        self._writer = subprocess.Popen(
            [sys.executable, "-I", "-S", journal_writer.__file__, *map(str, told)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0, start_new_session=True,
        )  # fmt: skip
        assert self._writer.stdin is not None and self._writer.stdout is not None
        self._into, self._said = self._writer.stdin.fileno(), self._writer.stdout.fileno()
        _widen(self._into)
        self.process = self._writer.pid
        self._hear()

    def put(self, frame: bytes) -> None:
        """Hand over a row: from here on it is written even if this process is killed."""
        try:
            while frame:
                frame = frame[os.write(self._into, frame) :]
        except OSError:
            self._fail()

    def reach(self, step: int) -> None:
        """Return when the medium is no more than `may_lose` steps behind."""
        if step - self.synced <= self.may_lose:
            return
        self.waits += step - self._heard() > self.may_lose
        while step - self.synced > self.may_lose:
            self._hear()

    def close(self) -> None:
        """Wait until everything is on the medium."""
        _, complaint = self._writer.communicate()
        if self._writer.returncode != 0:
            raise self._error(complaint)

    def _heard(self) -> int:
        """The last step of which the writer has said that it is on the medium, without waiting for more."""
        # Windows cannot ask a pipe whether it holds anything.
        if os.name != "nt" and select.select([self._said], [], [], 0.0)[0]:
            self._hear()
        return self.synced

    def _hear(self) -> None:
        said = os.read(self._said, 4096)
        if not said:
            self._fail()
        self.synced = max(self.synced, *SAID.unpack(said[-SAID.size :]))

    def _fail(self) -> NoReturn:
        self._writer.kill()
        raise self._error(self._writer.communicate()[1])

    def _error(self, complaint: bytes) -> JournalError:
        why = complaint.decode(errors="replace").strip().splitlines() or [
            "the process that writes it was ended"
        ]
        return JournalError(f"journal {self.path} cannot be written: {why[-1]}")


def _widen(pipe: int) -> None:
    """Room for some thousand rows on the way, where the system lets a pipe grow."""
    with contextlib.suppress(ImportError, AttributeError, OSError):
        import fcntl

        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, 1 << 20)


__all__ = ["Pipe"]
