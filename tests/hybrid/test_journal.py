"""Journal: durability, chained checksums, torn files, export."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import frame2d
from frame2d.errors import InputError
from frame2d.hybrid import Command, Reading
from frame2d.hybrid.journal import Journal, JournalError, export, history, rows, salvage, verify


def fill(path, steps=20, **options):
    with Journal(path, **options) as journal:
        journal.write("test", 0, {"name": "invented"})
        for i in range(1, steps + 1):
            journal.command(i, Command(i, np.array([0.1 * i, -np.pi]), 0.25))
            journal.reading(i, Reading(np.array([0.1 * i, 1.0 / 3.0]), np.array([1e5 / i, np.nan])))
    return path


def test_a_command_is_on_the_medium_before_it_leaves(tmp_path):
    """In durable mode another connection sees the command's row as soon as `command` returns."""
    path = tmp_path / "a.db"
    with Journal(path) as journal:
        for i in (1, 2, 3):
            journal.command(i, Command(i, np.array([0.1 * i]), 0.25))
            assert [row.step for row in rows(path) if row.kind == "command"][-1] == i
            assert sqlite3.connect(path).execute("PRAGMA synchronous").fetchone()[0] == 2


def test_full_synchronisation_is_set(tmp_path):
    """The journal's own connection syncs on every commit, in WAL mode."""
    with Journal(tmp_path / "a.db") as journal:
        assert journal._rows.connection.execute("PRAGMA synchronous").fetchone()[0] == 2
        assert journal._rows.connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"


def test_histories_come_back_bit_for_bit(tmp_path):
    """Numbers are stored in full, also those that are not finite."""
    data = history(fill(tmp_path / "a.db"))
    assert data["command"][2].tolist() == [0.1 * 3, -np.pi]
    assert data["force"][6, 0] == 1e5 / 7 and np.isnan(data["force"][6, 1])
    assert verify(tmp_path / "a.db") == (41, 41, True, 20)


def test_batched_mode_loses_no_more_than_was_said(tmp_path):
    """A step waits when the medium is further behind than allowed; in the end everything is there."""
    path = tmp_path / "a.db"
    with Journal(path, mode="batched", may_lose=5) as journal:
        for i in range(1, 301):
            journal.command(i, Command(i, np.array([0.1 * i]), 0.25))
            journal.reading(i, Reading(np.zeros(1), np.zeros(1)))
            assert i - journal.synced <= 5
            assert (
                [row.step for row in rows(path) if row.kind == "command"][-1:] >= [i - 5]
                if i % 100 == 0
                else True
            )
    assert verify(path).steps == 300


KILLED = """
import os, signal, sys
import numpy as np
from frame2d.hybrid import Command, Reading
from frame2d.hybrid.journal import Journal

journal = Journal(sys.argv[1], mode="batched", may_lose=4096)
for i in range(1, 501):
    journal.command(i, Command(i, np.array([0.1 * i]), 0.25))
    journal.reading(i, Reading(np.array([0.1 * i]), np.array([1e3 * i])))
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_killed_test_loses_nothing_that_it_handed_over(tmp_path):
    """In batched mode the rows outlive the test's process; resuming waits until they are written, and goes on."""
    path = tmp_path / "a.db"
    root = Path(frame2d.__file__).resolve().parents[1]
    environment = {**os.environ, "PYTHONPATH": str(root)}
    done = subprocess.run([sys.executable, "-c", KILLED, str(path)], env=environment)
    assert done.returncode == -signal.SIGKILL
    with Journal(path, mode="batched", may_lose=4096, resume=True) as journal:
        assert journal.synced == 500
        journal.write("resumed", 500, {})
    assert verify(path) == (1001, 1001, True, 500)
    assert history(path)["force"][:, 0].tolist() == [1e3 * i for i in range(1, 501)]
    assert not list(tmp_path.glob("*writer*"))


def test_a_lost_writer_ends_the_test(tmp_path):
    """If the process that writes is gone, the next rows are refused with a clear error, and closing has no second one."""
    path = tmp_path / "a.db"
    journal = Journal(path, mode="batched", may_lose=100)
    journal.command(1, Command(1, np.array([0.1]), 0.25))
    os.kill(journal.process, signal.SIGKILL)
    with pytest.raises(JournalError, match="cannot be written"):
        for i in range(2, 200):
            journal.command(i, Command(i, np.array([0.1]), 0.25))
    with pytest.raises(JournalError, match="cannot be written"):
        journal.close()
    journal.close()


def test_one_process_writes_a_journal(tmp_path, monkeypatch):
    """While a journal is open nobody else may write it, in either mode; everybody may read it."""
    monkeypatch.setattr("frame2d.hybrid.journal_writer.PATIENCE", 0.1)
    for mode, lost in (("durable", 0), ("batched", 5)):
        path = tmp_path / f"{mode}.db"
        with Journal(path, mode, lost) as journal:
            journal.command(1, Command(1, np.array([0.1]), 0.25))
            with pytest.raises(JournalError, match="another process is writing it"):
                Journal(path, resume=True)
            assert len(rows(path)) <= 1
        assert verify(path).sound == 1


def test_a_changed_row_is_found(tmp_path):
    """Changing one digit of one row breaks the chain from there on."""
    path = fill(tmp_path / "a.db")
    connection = sqlite3.connect(path)
    connection.execute("UPDATE rows SET body = replace(body, '0.25', '0.26') WHERE number = 10")
    connection.commit()
    connection.close()
    verdict = verify(path)
    assert verdict.sound == 9 and verdict.present == 41 and not verdict.intact


@pytest.fixture(scope="module")
def killed(tmp_path_factory):
    """Files of a journal whose writer was never closed: rows stand in the log beside the main file."""
    folder = tmp_path_factory.mktemp("journal")
    journal = Journal(folder / "a.db")
    journal.write("test", 0, {})
    for i in range(1, 31):
        journal.command(i, Command(i, np.array([0.1 * i]), 0.25))
        journal.reading(i, Reading(np.array([0.1 * i]), np.array([1.0])))
    copy = folder / "killed"
    copy.mkdir()
    for suffix in ("", "-wal"):
        shutil.copy(f"{folder / 'a.db'}{suffix}", f"{copy / 'a.db'}{suffix}")
    closed = fill(folder / "closed.db", 200)
    yield copy / "a.db", closed
    journal.close()


@settings(max_examples=25, deadline=None)
@given(st.booleans(), st.floats(0.0, 1.0), st.booleans())
def test_torn_files_keep_a_sound_beginning(killed, tmp_path_factory, log, share, garbage):
    """Tearing the last bytes off, or overwriting them, leaves a beginning that verifies, or a clear refusal."""
    source = killed[0] if log else killed[1]
    folder = tmp_path_factory.mktemp("torn")
    for suffix in ("", "-wal"):
        if os.path.exists(f"{source}{suffix}"):
            shutil.copy(f"{source}{suffix}", f"{folder / 'a.db'}{suffix}")
    torn = f"{folder / 'a.db'}{'-wal' if log else ''}"
    size = os.path.getsize(torn)
    keep = int(size * (1.0 - 0.6 * share))
    with open(torn, "r+b") as file:
        if garbage:
            file.seek(keep)
            file.write(os.urandom(max(1, min(size - keep, 3000))))
        else:
            file.truncate(keep)
    whole = rows(source)
    try:
        kept = salvage(folder / "a.db")
    except JournalError:
        assert not rows(folder / "a.db")
        return
    found = rows(folder / "a.db")
    assert len(found) == kept
    # NaN bodies are equal as text.
    assert [repr(row) for row in found] == [repr(row) for row in whole[:kept]]
    assert verify(folder / "a.db").intact
    with Journal(folder / "a.db", resume=True) as journal:
        journal.write("resumed", 1, {})
    assert verify(folder / "a.db").sound == kept + 1


def test_a_journal_is_never_overwritten(tmp_path):
    """An existing file is refused unless it is resumed; modes that contradict themselves are refused."""
    path = fill(tmp_path / "a.db", 2)
    with pytest.raises(InputError, match="exists already"):
        Journal(path)
    with pytest.raises(InputError, match="does not exist"):
        Journal(tmp_path / "b.db", resume=True)
    with pytest.raises(InputError, match="batched"):
        Journal(tmp_path / "b.db", may_lose=5)
    with pytest.raises(InputError, match="may cost"):
        Journal(tmp_path / "b.db", mode="batched")


def test_export_to_open_formats(tmp_path):
    """HDF5 and CSV hold the steps in full, with units, and nothing half-written stays behind."""
    path = fill(tmp_path / "a.db", 5)
    with h5py.File(export(path, tmp_path / "a.h5")) as file:
        assert file["command"][:].tolist() == history(path)["command"].tolist()
        assert file["force"].attrs["units"] == "N, N*m"
    text = export(path, tmp_path / "a.csv").read_text().splitlines()
    assert text[0].startswith("step,command1 [m or rad]") and len(text) == 6
    assert float(text[3].split(",")[1]) == 0.1 * 3
    assert not list(tmp_path.glob("*.part"))
    with pytest.raises(InputError, match="kind of export"):
        export(path, tmp_path / "a.xls")
