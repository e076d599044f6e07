"""The demo runs from end to end, and its numbers hold together."""

import json

import pytest

from frame2d.cli import main
from frame2d.demo.building import STOREYS, demo_frame


def test_the_demo_writes_its_results(tmp_path, capsys):
    """The quick demo writes numbers, responses, pictures and a VTK series, and every run closes its energy account."""
    assert main(["demo", "--out", str(tmp_path / "out"), "--quick"]) == 0
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["invented"] and "never replace" in summary["caution"]
    assert len(summary["periods_s"]) == 5 and 0.5 < summary["periods_s"][0] < 1.5
    runs = summary["runs"]
    assert all(run["outcome"] == "completed" and run["energy_imbalance"] < 1e-3 for run in runs.values())
    shears = [run["peak_base_shear_N"] for run in runs.values()]
    assert shears == sorted(shears)
    for name in ("frame.json", "push.h5", "near_collapse.h5", "frame.png", "loops.png", "energy.png"):
        assert (tmp_path / "out" / name).stat().st_size > 1000
    assert "synthetic" in capsys.readouterr().out


def test_the_demo_frame_has_its_devices():
    """One weakened link, one splice and one pinned brace end a storey are devices."""
    assert len(demo_frame().devices()) == 3 * STOREYS


def test_a_file_in_the_way_is_named(tmp_path, capsys):
    """The command refuses an output path that is a file, with one line."""
    (tmp_path / "taken").write_text("")
    assert main(["demo", "--out", str(tmp_path / "taken")]) == 1
    assert "allowed: a folder" in capsys.readouterr().err


def test_an_unknown_command_shows_what_there_is(capsys):
    """Wrong commands end with the list of commands."""
    with pytest.raises(SystemExit):
        main(["nothing"])
    assert "demo" in capsys.readouterr().err
