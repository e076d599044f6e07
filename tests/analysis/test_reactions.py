"""Reactions and member end forces with loads along members and on supports."""

from pathlib import Path

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, Response, System, gravity, push, static, time_history
from frame2d.analysis.storage import load


def clamped() -> System:
    """Clamped-clamped beam of 6 m with a node at mid-span, loaded along its length, at its middle and on a support."""
    frame = Frame("beam")
    frame.node("left", 0.0, 0.0, support="fixed")
    frame.node("middle", 3.0, 0.0, mass=100.0)
    frame.node("right", 6.0, 0.0, support="fixed")
    for name, i, j in (("one", "left", "middle"), ("two", "middle", "right")):
        frame.member(name, i, j, BeamColumn(E=200e9, A=6e-3, I=8e-5))
        frame.member_load(name, qy=-20e3)
    frame.load("left", fy=-5e3)
    frame.load("middle", fy=-1.0, case="unit")
    return frame.compile()


def vertical(response: Response) -> np.ndarray:
    """Sum of the vertical reactions."""
    return np.sum([force for (_, part), force in response.reactions().items() if part == "uy"], axis=0)


def test_reactions_balance_all_loads() -> None:
    """Reactions balance loads along members and loads put straight on a support (qL²/12 at the clamps)."""
    response = gravity(clamped())
    assert vertical(response)[-1] == pytest.approx(125e3, rel=1e-12)
    assert response.reactions()["left", "rz"][-1] == pytest.approx(20e3 * 36 / 12, rel=1e-10)


def test_end_forces_hold_member_loads() -> None:
    """End forces of a loaded member are those of the beam, not of its nodes alone: qL/2, qL²/12, qL²/24 inside."""
    forces = gravity(clamped()).end_forces("one")
    assert forces["V_start"][-1] == pytest.approx(60e3, rel=1e-10)
    assert forces["M_start"][-1] == pytest.approx(60e3, rel=1e-10)
    assert forces["M_end"][-1] == pytest.approx(20e3 * 36 / 24, rel=1e-10)
    assert forces["V_end"][-1] == pytest.approx(0.0, abs=1e-4)


def test_standing_loads_stay_in_reactions(tmp_path: Path) -> None:
    """Loads that stay on are in the reactions of later analyses and of a response read from its file."""
    system = clamped()
    standing = static(system, cases={"gravity": 0.5}, steps=2)
    assert vertical(standing) == pytest.approx([0.0, 31.25e3, 62.5e3], abs=1e-6)
    pushed = push(
        system, standing.state, pattern="unit", node="middle", component="uy", target=-1e-3, steps=2
    )
    assert vertical(pushed) == pytest.approx(62.5e3 + pushed.factor, rel=1e-9)
    moving = time_history(system, state=standing.state, dt=0.01, duration=0.02)
    assert vertical(moving) == pytest.approx(np.full(3, 62.5e3), rel=1e-9)
    pushed.save(tmp_path / "pushed.h5")
    assert vertical(load(tmp_path / "pushed.h5")) == pytest.approx(vertical(pushed), rel=1e-12)
