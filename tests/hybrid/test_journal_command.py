"""`frame2d journal` lists, verifies and exports a journal."""

import numpy as np

from frame2d.cli import main
from frame2d.hybrid.journal import Journal
from frame2d.hybrid.specimen import Command, Reading


def test_a_journal_is_listed_verified_and_exported(tmp_path, capsys):
    """Each action of the command does what it says, and a damaged file does not verify."""
    path = tmp_path / "a.db"
    with Journal(path) as journal:
        journal.command(1, Command(1, np.array([0.1]), 0.25))
        journal.reading(1, Reading(np.array([0.1]), np.array([5.0])))
    assert main(["journal", "verify", str(path)]) == 0
    assert capsys.readouterr().out == "intact: 2 of 2 rows have sound checksums, 1 finished steps\n"
    assert main(["journal", "list", str(path)]) == 0
    assert "reading" in capsys.readouterr().out
    assert main(["journal", "export", str(path), "--to", str(tmp_path / "a.csv")]) == 0
    assert (tmp_path / "a.csv").read_text().startswith("step,")
    assert main(["journal", "export", str(path)]) == 1
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"[5.0]", b"[6.0]"))
    assert main(["journal", "verify", str(path)]) == 1
    assert "DAMAGED: 1 of 2 rows" in capsys.readouterr().out
    (tmp_path / "other.txt").write_text("no journal")
    assert main(["journal", "list", str(tmp_path / "other.txt")]) == 1
    assert "no sound row" in capsys.readouterr().err
    assert main(["journal", "verify", str(tmp_path / "none.db")]) == 1
    assert "does not exist" in capsys.readouterr().err
