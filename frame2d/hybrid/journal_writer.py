"""Rows of a journal, and the process that writes them behind a test: frames of bytes in, chained rows in SQLite out.

The writer is this file, run by itself, so that a test shares no interpreter with it: it imports the standard library
alone. What a test has put into the pipe is out of its hands: if the test is killed the writer takes what is left, syncs
and ends. It sleeps between two looks into the pipe, so that one sync serves many rows and a test wakes nobody.
"""

import contextlib
import json
import os
import signal
import sqlite3
import struct
import sys
import threading
import time
from collections.abc import Iterable, Iterator
from hashlib import sha256
from queue import Empty, SimpleQueue

START = sha256(b"frame2d journal 1").digest()
#: Frame: bytes that follow, kind ('c' command, 'r' reading, 'o' other), step.
HEAD = struct.Struct("<icq")
#: What the writer says back: the last step whose command is on the medium.
SAID = struct.Struct("<q")
_COMMAND = struct.Struct("<qd")

#: Seconds given to a writer that is still busy with what a killed test left.
PATIENCE = 10.0

#: kind, step, body as JSON.
Line = tuple[str, int, str]


def digest(previous: bytes, kind: str, step: int, body: str) -> bytes:
    """Checksum of a row, chained to the one before it."""
    return sha256(previous + f"\n{kind}\n{step}\n{body}".encode()).digest()


class Alone:
    """The right to write a journal, held by one process: an exclusive lock on an empty file beside it.

    Whoever asks waits `PATIENCE` for it.
    """

    def __init__(self, path: str) -> None:
        self.path = f"{path}-writer"
        limit = time.monotonic() + PATIENCE
        while not self._taken():
            if time.monotonic() > limit:
                raise BlockingIOError("another process is writing it")
            time.sleep(0.01)

    def _taken(self) -> bool:
        self._lock = sqlite3.connect(self.path, timeout=0.0, isolation_level=None, check_same_thread=False)
        try:
            self._lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError:
            # Locked, or taken away by the one who had it: a new file is there at the next attempt.
            self._lock.close()
            return False
        return True

    def close(self) -> None:
        """Give the right back."""
        with contextlib.suppress(OSError):
            os.unlink(self.path)
        self._lock.close()


class Rows:
    """The open table of a journal; `number` and `last` are those of its last row.

    Raises `BlockingIOError` if another process writes it.
    """

    def __init__(self, path: str, number: int = 0, last: bytes = START) -> None:
        self.number, self.last = number, last
        self._alone = Alone(path)
        self.connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        self.connection.execute("PRAGMA journal_mode=WAL")
        self.connection.execute("PRAGMA synchronous=FULL")
        # The main file is left alone while the test runs; it is brought up to date on closing.
        self.connection.execute("PRAGMA wal_autocheckpoint=0")
        self.connection.execute(
            "CREATE TABLE IF NOT EXISTS rows (number INTEGER PRIMARY KEY, kind TEXT, step INTEGER, body TEXT, digest BLOB)"
        )

    def insert(self, lines: Iterable[Line]) -> None:
        """Add rows and sync them to the medium."""
        made = []
        for kind, step, body in lines:
            self.number += 1
            self.last = digest(self.last, kind, step, body)
            made.append((self.number, kind, step, body, self.last))
        self.connection.execute("BEGIN IMMEDIATE")
        self.connection.executemany("INSERT INTO rows VALUES (?, ?, ?, ?, ?)", made)
        self.connection.execute("COMMIT")

    def close(self) -> None:
        """Bring the main file up to date and close."""
        self.connection.close()
        self._alone.close()


def command_body(sequence: int, displacement: list[float], seconds: float) -> str:
    """Body of a command's row."""
    return json.dumps({"sequence": sequence, "u": displacement, "t": seconds})


def reading_body(displacement: list[float], force: list[float]) -> str:
    """Body of a reading's row."""
    return json.dumps({"u": displacement, "f": force})


def command_frame(step: int, sequence: int, displacement: bytes, seconds: float) -> bytes:
    """A command for the pipe; `displacement` as doubles."""
    return HEAD.pack(16 + len(displacement), b"c", step) + _COMMAND.pack(sequence, seconds) + displacement


def reading_frame(step: int, displacement: bytes, force: bytes) -> bytes:
    """A reading for the pipe; both as doubles."""
    return HEAD.pack(len(displacement) + len(force), b"r", step) + displacement + force


def other_frame(kind: str, step: int, body: str) -> bytes:
    """Any other row for the pipe."""
    rest = f"{kind}\n{body}".encode()
    return HEAD.pack(len(rest), b"o", step) + rest


def frames(buffer: bytearray) -> Iterator[Line]:
    """Take whole frames from the front of `buffer`; half of one stays."""
    at = 0
    while len(buffer) - at >= HEAD.size:
        size, kind, step = HEAD.unpack_from(buffer, at)
        begin, end = at + HEAD.size, at + HEAD.size + size
        if end > len(buffer):
            break
        yield _line(kind, step, bytes(buffer[begin:end]))
        at = end
    del buffer[:at]


def _line(kind: bytes, step: int, rest: bytes) -> Line:
    if kind == b"c":
        sequence, seconds = _COMMAND.unpack_from(rest)
        return "command", step, command_body(sequence, _doubles(rest[_COMMAND.size :]), seconds)
    if kind == b"r":
        numbers = _doubles(rest)
        half = len(numbers) // 2
        return "reading", step, reading_body(numbers[:half], numbers[half:])
    name, body = rest.decode().split("\n", 1)
    return name, step, body


def _doubles(rest: bytes) -> list[float]:
    return list(struct.unpack(f"={len(rest) // 8}d", rest))


def take(chunks: "SimpleQueue[bytes]", pause: float) -> None:
    """Empty the pipe of standard input, whatever the medium does; the last chunk is empty."""
    while chunk := os.read(0, 1 << 20):
        chunks.put(chunk)
        time.sleep(pause)
    chunks.put(b"")


def taken(chunks: "SimpleQueue[bytes]") -> list[bytes]:
    """What has come in, at least one chunk."""
    found = [chunks.get()]
    with contextlib.suppress(Empty):
        while True:
            found.append(chunks.get_nowait())
    return found


def write(rows: Rows, chunks: "SimpleQueue[bytes]", every: int) -> None:
    """Write what `take` brings, to the end; say on standard output what is on the medium, every so many steps."""
    buffer, said, synced, more = bytearray(), -1, -1, True
    while more:
        found = taken(chunks)
        more = found[-1] != b""
        buffer += b"".join(found)
        lines = list(frames(buffer))
        if lines:
            rows.insert(lines)
            synced = max([synced, *(step for kind, step, _ in lines if kind == "command")])
        if synced - said >= every:
            said = synced
            say(said)


def say(step: int) -> None:
    """Tell the test; a test that was killed hears nothing, and its rows are written all the same."""
    with contextlib.suppress(OSError):
        os.write(1, SAID.pack(step))


def main(path: str, number: str, last: str, every: str, pause: str) -> int:
    """Write the journal `path` from its row `number` on, whose digest is `last`."""
    # The operator's interrupt is the test's affair; the writer ends when the pipe does.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    chunks: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=take, args=(chunks, float(pause)), daemon=True).start()
    rows = Rows(path, int(number), bytes.fromhex(last))
    say(-1)
    write(rows, chunks, int(every))
    rows.close()
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
