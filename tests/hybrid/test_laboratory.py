"""The demo's laboratory: rehearsal here and on a rig in another process, its figures, and the deadlines' figures."""

import json

import numpy as np
import pytest

from frame2d.cli import main
from frame2d.demo import laboratory
from frame2d.errors import InputError
from frame2d.hybrid import CAUTION
from frame2d.hybrid.command import made_by
from frame2d.hybrid.deadline import empty_loop, timing
from frame2d.motions.record import Record


@pytest.fixture(scope="module")
def record():
    t = np.arange(161) * 0.005
    return Record(3.0 * np.sin(9.0 * t) * np.sin(np.pi * t / t[-1]), 0.005, "invented pulse", synthetic=True)


def test_the_demo_rehearses_here_and_across_a_process(record):
    """One call gives chances, capacities, recommendations, and a checked test on a remote rig, all as plain numbers."""
    told = []
    result = laboratory.demo_rehearsal(record, 1.5, 3, paced=0.05, echo=told.append)
    assert json.loads(json.dumps(result)) == result
    rehearsed, remote = result["rehearsal"], result["remote_test"]
    assert rehearsed["runs"] == 3 and rehearsed["words"] == told
    assert all(chance["low"] <= chance["value"] <= chance["high"] for chance in rehearsed["chances"].values())
    assert rehearsed["chances"]["breakdown"]["value"] == 0.0 and rehearsed["nrmse_median"] < 0.05
    assert set(rehearsed["capacities"]) >= {"force", "stroke", "residual stroke", "velocity", "oil flow"}
    assert rehearsed["recommended_time_scale"] >= 1.0 and 1e-3 <= rehearsed["recommended_step_s"] <= 1e-2
    assert remote["ending"] == "completed" and remote["steps"] == 160
    assert [check["ok"] for check in remote["checks"].values()] == [True] * 5
    assert (
        abs(remote["indices"]["roof_peak_error"]) < 0.05 and remote["indices"]["roof_nrmse_of_range"] < 0.05
    )
    assert 0.0 < remote["guard_shares"]["force"] < 1.0
    assert result["deadline"]["test"]["steps"] == 51


def test_what_the_command_says_and_refuses(capsys, monkeypatch):
    """Help warns of the rig; an address beyond this machine needs a secret, and the maker must exist."""
    with pytest.raises(SystemExit):
        main(["specimen", "--help"])
    assert "interlocks" in capsys.readouterr().out and "interlocks" in CAUTION
    monkeypatch.delenv("FRAME2D_SECRET", raising=False)
    assert main(["specimen", "--host", "192.0.2.1"]) == 1
    assert "FRAME2D_SECRET" in capsys.readouterr().err
    with pytest.raises(InputError, match="module:function"):
        made_by("frame2d.demo.laboratory:nothing")
    with pytest.raises(InputError, match="returned str"):
        made_by("os:getcwd")
    assert main(["specimen", "--port", "99999"]) == 1
    assert "port is 99999" in capsys.readouterr().err


def test_scattered_strength_scatters_the_force(record):
    """Runs with the same seeds are the same; a stronger pin takes more force; limits are noted, not enforced."""
    runs = [laboratory.rehearse_demo(record, 1.5, 4, threads=threads) for threads in (1, 2)]
    forces = [[run.force.tolist() for run in result.runs] for result in runs]
    assert forces[0] == forces[1]
    strengths = [np.random.default_rng(seed).uniform(0.8, 1.2) for seed in range(4)]
    largest = [float(np.abs(run.force).max()) for run in runs[0].runs]
    assert np.argmax(largest) == np.argmax(strengths) and np.argmin(largest) == np.argmin(strengths)


def test_missed_steps_are_counted_by_their_end():
    """A step is missed when waking late and its own time together exceed the period, whichever of them did it."""
    spent, late = np.array([2e-4, 9e-4, 2e-4, 2e-4]), np.array([0.0, 2e-4, 9e-4, 1e-5])
    figures = timing(spent, late, 1e-3)
    assert figures.missed == 2 and figures.steps == 4 and sum(figures.histogram) == 4
    assert "missed 2" in figures.text()
    idle = empty_loop(1000.0, 0.05)
    assert idle.steps == 50 and sum(idle.histogram) == 50


def test_a_hybrid_test_stands_in_for_a_time_history(record):
    """A test on the simulated rig gives a response of the whole frame, from which a second one goes on after repair."""
    system = laboratory.demo_split().whole_system
    first = laboratory.demo_hybrid(system, record, factor=1.5)
    reference = laboratory.demo_reference(record, 1.5)
    peak = float(np.abs(reference.displacement("A5")).max())
    assert np.abs(first.displacement("A5") - reference.displacement("A5")).max() < 0.03 * peak
    repaired = system.replace_devices(first.state, ["pin 1"])
    again = laboratory.demo_hybrid(system, record, repaired, factor=0.5)
    compared = laboratory.demo_reference(record, 0.5, repaired)
    assert again.state.replaced == ("pin 1",) and again.time[0] == pytest.approx(0.8)
    assert (
        np.abs(again.displacement("A5") - compared.displacement("A5")).max()
        < 0.03 * np.abs(compared.displacement("A5")).max()
    )
