"""Journal of a test: every command, reading, check and event, one chained and check-summed row each, in SQLite.

Durable mode syncs the command's row to the medium before the command leaves. Batched mode hands each row to a process
that writes behind the test; the caller states how many steps a crash of the machine may cost, and a step waits only if
the medium has fallen that far behind. A crash of the test alone costs nothing: what was handed over is written.
The log is written in SQLite's WAL mode with full synchronisation.
"""

import contextlib
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.errors import InputError, known, within
from frame2d.hybrid.journal_file import (
    JournalError,
    Row,
    Verdict,
    export,
    history,
    rows,
    salvage,
    sound,
    verify,
)
from frame2d.hybrid.journal_pipe import Pipe
from frame2d.hybrid.journal_writer import (
    START,
    Alone,
    Line,
    Rows,
    command_body,
    command_frame,
    other_frame,
    reading_body,
    reading_frame,
)
from frame2d.hybrid.specimen import Command, Reading


class Journal:
    """Writes `path`; `mode` is 'durable' or 'batched', then `may_lose` says how many steps a crash may cost.

    Raises `InputError` if `path` exists and `resume` is false: a journal is never overwritten; `JournalError` if
    another process writes it.
    """

    def __init__(
        self, path: str | Path, mode: str = "durable", may_lose: int = 0, resume: bool = False
    ) -> None:
        self.path = Path(path)
        self.mode = known("mode of the journal", mode, ("durable", "batched"))
        self.may_lose = int(within("steps that may be lost", may_lose, 0, 1e6))
        if mode == "durable" and self.may_lose:
            raise InputError(
                f"may_lose is {may_lose} in durable mode; allowed: 0. Likely mistake: mode='batched' was meant"
            )
        if mode == "batched" and not self.may_lose:
            raise InputError(
                "may_lose is 0 in batched mode; allowed: 1 or more, the number of steps that a crash may cost"
            )
        if self.path.exists() and not resume:
            raise InputError(
                f"journal {self.path} exists already; allowed: a new file, or resuming that test"
            )
        number, last, step = 0, START, -1
        if resume:
            number, last, step = self._found()
        self._closed = False
        self._pending: list[Line] = []
        self._rows: Rows | None = None
        self._pipe: Pipe | None = None
        if mode == "batched":
            self._pipe = Pipe(self.path, self.may_lose, number, last, step)
        else:
            self._synced = step
            with self._only_writer():
                self._rows = Rows(str(self.path), number, last)

    def _found(self) -> tuple[int, bytes, int]:
        """Number, digest and last commanded step of what an interrupted test has left, salvaged if it is torn."""
        if not self.path.exists():
            raise InputError(
                f"journal {self.path} does not exist; allowed: the journal of the test to resume"
            )
        with self._only_writer():
            # A writer that outlived its test may still be at work.
            Alone(str(self.path)).close()
        salvage(self.path)
        number, last, step = 0, START, -1
        for row, digest in sound(self.path):
            number, last = row.number, digest
            step = row.step if row.kind == "command" else step
        return number, last, step

    @contextlib.contextmanager
    def _only_writer(self) -> Iterator[None]:
        try:
            yield
        except BlockingIOError as error:
            raise JournalError(f"journal {self.path}: {error}") from None

    @property
    def synced(self) -> int:
        """Last step whose command is known to be on the medium."""
        return self._synced if self._pipe is None else self._pipe.synced

    @property
    def waits(self) -> int:
        """Times that a step had to wait for the medium in batched mode."""
        return 0 if self._pipe is None else self._pipe.waits

    @property
    def process(self) -> int | None:
        """The process that writes in batched mode."""
        return None if self._pipe is None else self._pipe.process

    def write(self, kind: str, step: int, body: dict[str, Any]) -> None:
        """Add a row; in durable mode it is on the medium when this returns."""
        if self._pipe is not None:
            self._pipe.put(other_frame(kind, step, json.dumps(body)))
        else:
            self._sync((kind, step, json.dumps(body)))

    def command(self, step: int, command: Command) -> None:
        """Row of a command, before it leaves; returns once it may leave."""
        displacement = np.asarray(command.displacement, dtype=np.float64)
        if self._pipe is not None:
            self._pipe.put(command_frame(step, command.sequence, displacement.tobytes(), command.duration))
            self._pipe.reach(step)
        else:
            self._sync(
                ("command", step, command_body(command.sequence, displacement.tolist(), command.duration))
            )
            self._synced = step

    def reading(self, step: int, reading: Reading) -> None:
        """Row of a reading; in durable mode synced with the next row that is."""
        displacement, force = (np.asarray(values, dtype=np.float64) for values in reading)
        if self._pipe is not None:
            self._pipe.put(reading_frame(step, displacement.tobytes(), force.tobytes()))
        else:
            self._pending.append(("reading", step, reading_body(displacement.tolist(), force.tolist())))

    def _sync(self, *lines: Line) -> None:
        assert self._rows is not None
        self._pending += lines
        try:
            self._rows.insert(self._pending)
        except sqlite3.Error as error:
            raise JournalError(f"journal {self.path} cannot be written: {error}") from error
        self._pending.clear()

    def close(self) -> None:
        """Sync what is left and close; raises `JournalError` if rows are lost."""
        if self._closed:
            return
        self._closed = True
        if self._pipe is not None:
            self._pipe.close()
        elif self._rows is not None:
            if self._pending:
                self._sync()
            self._rows.close()

    def __enter__(self) -> "Journal":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


__all__ = ["Journal", "JournalError", "Row", "Verdict", "export", "history", "rows", "salvage", "verify"]
