"""Journal of a test: every command, reading, check and event, one chained and check-summed row each, in SQLite.

Durable mode syncs the command's row to the medium before the command leaves. Batched mode hands rows to a writer
thread; the caller states how many steps may be lost, and a step waits only if the medium has fallen that far behind.
The log is written in SQLite's WAL mode with full synchronisation. Row digest: SHA-256 over the previous digest, kind,
step and body, so that a torn or changed row is found and everything before it still holds.
"""

import contextlib
import json
import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, NamedTuple

import numpy as np

from frame2d.errors import Frame2dError, InputError, known, within
from frame2d.hybrid.specimen import Command, Reading

FORMAT = 1
_START = sha256(b"frame2d journal 1").digest()


class JournalError(Frame2dError):
    """A journal that cannot be read, or does not belong to this test."""


class Row(NamedTuple):
    """One line of a journal."""

    number: int
    kind: str
    step: int
    body: dict[str, Any]


def _digest(previous: bytes, kind: str, step: int, body: str) -> bytes:
    return sha256(previous + f"\n{kind}\n{step}\n{body}".encode()).digest()


class Journal:
    """Writes `path`; `mode` is 'durable' or 'batched', then `may_lose` says how many steps a crash may cost.

    Raises `InputError` if `path` exists and `resume` is false: a journal is never overwritten.
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
        self._last = _START
        self._number = 0
        if resume:
            if not self.path.exists():
                raise InputError(
                    f"journal {self.path} does not exist; allowed: the journal of the test to resume"
                )
            salvage(self.path)
            for row, digest in _sound(self.path):
                self._number, self._last = row.number, digest
        self._failure: BaseException | None = None
        #: Last step whose command row is on the medium.
        self.synced = -1
        #: Times that a step had to wait for the medium in batched mode.
        self.waits = 0
        self._queue: SimpleQueue[tuple[str, int, dict[str, Any]] | None] = SimpleQueue()
        self._progress = threading.Condition()
        if self.mode == "durable":
            self._connection = _open(self.path)
        else:
            self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
            self._thread.start()
        self._pending: list[tuple[str, int, dict[str, Any]]] = []
        self._closed = False

    def write(self, kind: str, step: int, body: dict[str, Any], now: bool = True) -> None:
        """Add a row; `now` syncs it in durable mode, otherwise it goes with the next one that does."""
        if self._failure is not None:
            raise JournalError(f"journal {self.path} cannot be written: {self._failure}") from self._failure
        if self.mode == "batched":
            self._queue.put((kind, step, body))
            return
        self._pending.append((kind, step, body))
        if now:
            self._insert(self._connection, self._pending)
            self._pending.clear()

    def command(self, step: int, command: Command) -> None:
        """Row of a command, before it leaves; returns once it may leave."""
        self.write(
            "command",
            step,
            {"sequence": command.sequence, "u": command.displacement.tolist(), "t": command.duration},
        )
        if self.mode == "durable":
            self.synced = step
        elif step - self.synced > self.may_lose:
            self.waits += 1
            with self._progress:
                self._progress.wait_for(
                    lambda: self._failure is not None or step - self.synced <= self.may_lose
                )
            if self._failure is not None:
                raise JournalError(
                    f"journal {self.path} cannot be written: {self._failure}"
                ) from self._failure

    def reading(self, step: int, reading: Reading) -> None:
        """Row of a reading; synced with the next command."""
        body = {"u": reading.displacement.tolist(), "f": reading.force.tolist()}
        self.write("reading", step, body, now=False)

    def _insert(self, connection: sqlite3.Connection, rows: list[tuple[str, int, dict[str, Any]]]) -> None:
        lines = []
        for kind, step, body in rows:
            text = json.dumps(body)
            self._number += 1
            self._last = _digest(self._last, kind, step, text)
            lines.append((self._number, kind, step, text, self._last))
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany("INSERT INTO rows VALUES (?, ?, ?, ?, ?)", lines)
        connection.execute("COMMIT")

    def _run(self) -> None:
        # Behind the steps, before all else: while this thread holds the interpreter a step waits for it.
        with contextlib.suppress(AttributeError, OSError):
            os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(1))
        try:
            connection = _open(self.path)
            running = True
            while running:
                rows = [self._queue.get()]
                # A pause gathers rows, so that one sync serves many.
                time.sleep(0.002)
                with contextlib.suppress(Empty):
                    while len(rows) < 512:
                        rows.append(self._queue.get_nowait())
                running = None not in rows
                good = [row for row in rows if row is not None]
                if good:
                    self._insert(connection, good)
                    steps = [step for kind, step, _ in good if kind == "command"]
                    with self._progress:
                        self.synced = max([self.synced, *steps])
                        self._progress.notify_all()
            connection.close()
        except BaseException as error:
            with self._progress:
                self._failure = error
                self._progress.notify_all()

    def close(self) -> None:
        """Sync what is left and close."""
        if self._closed:
            return
        self._closed = True
        if self.mode == "durable":
            if self._pending:
                self._insert(self._connection, self._pending)
            self._connection.close()
        else:
            self._queue.put(None)
            self._thread.join()
            if self._failure is not None:
                raise JournalError(f"journal {self.path} lost rows: {self._failure}") from self._failure

    def __enter__(self) -> "Journal":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _open(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    # The main file is left alone while the test runs; it is brought up to date on closing.
    connection.execute("PRAGMA wal_autocheckpoint=0")
    connection.execute(
        "CREATE TABLE IF NOT EXISTS rows (number INTEGER PRIMARY KEY, kind TEXT, step INTEGER, body TEXT, digest BLOB)"
    )
    return connection


def _sound(path: Path) -> Iterator[tuple[Row, bytes]]:
    """Rows from the start up to the first that is torn, missing or changed, with their digests."""
    previous, expected = _START, 1
    try:
        connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    except sqlite3.Error as error:
        raise JournalError(f"journal {path} cannot be opened: {error}") from None
    try:
        with contextlib.suppress(sqlite3.DatabaseError, ValueError):
            for number, kind, step, body, digest in connection.execute("SELECT * FROM rows ORDER BY number"):
                if number != expected or _digest(previous, kind, step, body) != digest:
                    return
                previous, expected = digest, expected + 1
                yield Row(number, kind, step, json.loads(body)), digest
    finally:
        connection.close()


def rows(path: str | Path) -> list[Row]:
    """All rows whose checksums hold, in order."""
    if not Path(path).exists():
        raise InputError(f"journal {path} does not exist")
    return [row for row, _ in _sound(Path(path))]


class Verdict(NamedTuple):
    """What `verify` found."""

    #: Rows whose chain of checksums holds, from the start.
    sound: int
    #: Rows that the file has, as far as it can be read.
    present: int
    intact: bool
    steps: int


def verify(path: str | Path) -> Verdict:
    """Check the chain of checksums and SQLite's own structure."""
    good = rows(path)
    intact, present = True, 0
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        present = int(connection.execute("SELECT COUNT(*) FROM rows").fetchone()[0])
        intact = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    except sqlite3.DatabaseError:
        intact = False
    finally:
        connection.close()
    steps = sum(row.kind == "reading" for row in good)
    return Verdict(len(good), max(present, len(good)), intact and present == len(good), steps)


def salvage(path: str | Path) -> int:
    """Keep the sound rows only, written beside and moved into place; return how many rows are kept.

    The damaged files stay beside it with the suffix ``.torn``. Nothing happens to an intact journal. Raises
    `JournalError` if nothing can be read.
    """
    path = Path(path)
    verdict = verify(path)
    if verdict.intact:
        return verdict.sound
    kept = [(row, digest) for row, digest in _sound(path)]
    if not kept:
        raise JournalError(f"journal {path} holds no sound row: nothing can be resumed from it")
    beside = path.with_name(path.name + ".salvaged")
    for old in (beside, Path(f"{beside}-wal"), Path(f"{beside}-shm")):
        old.unlink(missing_ok=True)
    connection = _open(beside)
    connection.execute("BEGIN")
    for row, digest in kept:
        connection.execute(
            "INSERT INTO rows VALUES (?, ?, ?, ?, ?)", (*row[:3], json.dumps(row.body), digest)
        )
    connection.execute("COMMIT")
    connection.close()
    for suffix in ("", "-wal", "-shm"):
        old = Path(f"{path}{suffix}")
        if old.exists():
            os.replace(old, f"{path}.torn{suffix}")
    os.replace(beside, path)
    return len(kept)


def history(path: str | Path) -> dict[str, np.ndarray]:
    """Finished steps: 'step' (s,), 'command', 'displacement', 'force' (s, freedoms)."""
    commands: dict[int, list[float]] = {}
    readings: dict[int, dict[str, Any]] = {}
    for row in rows(path):
        if row.kind == "command":
            commands[row.step] = row.body["u"]
        elif row.kind == "reading":
            readings[row.step] = row.body
    steps = sorted(set(commands) & set(readings))
    if not steps:
        raise JournalError(f"journal {path} holds no finished step")
    return {
        "step": np.array(steps),
        "command": np.array([commands[s] for s in steps]),
        "displacement": np.array([readings[s]["u"] for s in steps], dtype=np.float64),
        "force": np.array([readings[s]["f"] for s in steps], dtype=np.float64),
    }


def export(path: str | Path, target: str | Path) -> Path:
    """Write the finished steps to `target`, HDF5 (.h5, .hdf5) or CSV (.csv, header with units); moved into place."""
    target, data = Path(target), history(path)
    kind = known("kind of export", target.suffix.lower(), (".h5", ".hdf5", ".csv"))
    beside = target.with_name(target.name + ".part")
    if kind == ".csv":
        count = data["command"].shape[1]
        names = ["step"]
        names += [f"{name}{i + 1} [{unit}]" for name, unit in (("command", "m or rad"), ("displacement", "m or rad"),
                  ("force", "N or N*m")) for i in range(count)]  # fmt: skip
        table = np.column_stack([data["step"], data["command"], data["displacement"], data["force"]])
        np.savetxt(
            beside, table, delimiter=",", header=",".join(names), comments="", fmt="%.17g", encoding="utf-8"
        )
    else:
        import h5py

        with h5py.File(beside, "w") as file:
            for name, array in data.items():
                stored = file.create_dataset(name, data=array)
                stored.attrs["units"] = {"step": "-", "force": "N, N*m"}.get(name, "m, rad")
            other = [row for row in rows(path) if row.kind not in ("command", "reading")]
            file.create_dataset("events", data=[json.dumps([r.kind, r.step, r.body]) for r in other])
    os.replace(beside, target)
    return target
