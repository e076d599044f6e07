"""A journal's file as others read it: rows whose checksums hold, verdict, salvage after a crash, histories, export.

Row digest: SHA-256 over the previous digest, kind, step and body, so that a torn or changed row is found and everything
before it still holds.
"""

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from frame2d.errors import Frame2dError, InputError, known
from frame2d.hybrid.journal_writer import START, Rows, digest


class JournalError(Frame2dError):
    """A journal that cannot be read, or does not belong to this test."""


class Row(NamedTuple):
    """One line of a journal."""

    number: int
    kind: str
    step: int
    body: dict[str, Any]


def sound(path: Path) -> Iterator[tuple[Row, bytes]]:
    """Rows from the start up to the first that is torn, missing or changed, with their digests."""
    previous, expected = START, 1
    try:
        connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    except sqlite3.Error as error:
        raise JournalError(f"journal {path} cannot be opened: {error}") from None
    try:
        with contextlib.suppress(sqlite3.DatabaseError, ValueError):
            for number, kind, step, body, noted in connection.execute("SELECT * FROM rows ORDER BY number"):
                if number != expected or digest(previous, kind, step, body) != noted:
                    return
                previous, expected = noted, expected + 1
                yield Row(number, kind, step, json.loads(body)), noted
    finally:
        connection.close()


def rows(path: str | Path) -> list[Row]:
    """All rows whose checksums hold, in order."""
    if not Path(path).exists():
        raise InputError(f"journal {path} does not exist")
    return [row for row, _ in sound(Path(path))]


class Verdict(NamedTuple):
    """What `verify` found."""

    #: Rows whose chain of checksums holds, from the start.
    sound: int
    #: Rows that the file has, as far as it can be read.
    present: int
    intact: bool
    steps: int

    def text(self) -> str:
        """The verdict in words."""
        rows = f"{self.sound} of {self.present} rows have sound checksums, {self.steps} finished steps"
        return f"{'intact' if self.intact else 'DAMAGED'}: {rows}" + (
            ""
            if self.intact
            else "; resuming goes on from the last sound row and keeps the damaged file beside it"
        )


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
    kept = [row for row, _ in sound(path)]
    if not kept:
        raise JournalError(f"journal {path} holds no sound row: nothing can be resumed from it")
    beside = path.with_name(path.name + ".salvaged")
    for old in (beside, Path(f"{beside}-wal"), Path(f"{beside}-shm")):
        old.unlink(missing_ok=True)
    copy = Rows(str(beside))
    copy.insert((row.kind, row.step, json.dumps(row.body)) for row in kept)
    copy.close()
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
