"""Pushing along curves with kinks, plateaus and peaks: what displacement control must pass."""

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, Link, push, static
from frame2d.analysis.runner import Options
from frame2d.materials import Bilinear, DeterioratingPeakOriented, Elastic, Parallel
from frame2d.materials.deterioration import Backbone

EI = 200e9 * 8e-5


def propped(hardening: float) -> Frame:
    """Beam clamped at both ends with a hinge at mid-span: all three yield at once under end loads of one ratio."""
    law = Bilinear(k=1e4 * EI, Fy=1e5, b=hardening / (1e4 * EI))
    frame = Frame("beam")
    frame.node("A", 0.0, 0.0, support="fixed")
    frame.node("M", 3.0, 0.0)
    frame.node("B", 6.0, 0.0, support="fixed")
    frame.member("AM", "A", "M", BeamColumn(200e9, 1e-2, 8e-5, start=law, end=law))
    frame.member("MB", "M", "B", BeamColumn(200e9, 1e-2, 8e-5, end=law))
    frame.load("M", fy=-1.0, case="point")
    return frame


@pytest.mark.parametrize("hardening", [1e-1, 1e-4])
def test_hinges_that_yield_at_once_are_passed(hardening):
    """Three nearly perfect hinges yield at one load, P = 8·Mp/L, without a halved step."""
    response = push(
        propped(hardening).compile(), pattern="point", node="M", component="uy", target=-0.05, steps=7
    )
    assert response.factor[-1] == pytest.approx(8.0 * 1e5 / 6.0, rel=1e-6)
    assert response.counts()["halvings"] == 0


def test_a_halved_step_grows_again():
    """A step that had to be halved at one place is done in few pieces: the length rises again behind it."""
    law = Bilinear(k=1e12, Fy=1e5, b=1e-13)
    frame = Frame("chain")
    frame.node("0", 0, 0, support="fixed")
    for k in (1, 2, 3):
        frame.node(str(k), k, 0, support=("uy", "rz"))
        frame.member(f"s{k}", str(k - 1), str(k), Link(axial=Parallel((law, Elastic(1e5 * k)))))
    frame.load("3", fx=1.0, case="pull")
    response = push(
        frame.compile(), pattern="pull", node="3", target=1.0, steps=1, options=Options(most_iterations=2)
    )
    assert response.counts()["iterations"] < 200
    assert response.factor[-1] == pytest.approx(1e5 + 1.0 / (1.0 / 1e5 + 0.5 / 1e5 + 1.0 / 3e5), rel=1e-3)


def test_a_led_plateau_needs_no_stiffness():
    """Led by its own freedom, a frame passes along an exactly level plateau, where its tangent is singular."""
    frame = Frame("tie")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 1, 0, support=("uy", "rz"))
    frame.member("tie", "A", "B", Link(axial=Bilinear(1e7, 1e5, 0.0)))
    frame.load("B", fx=1.0, case="pull")
    response = push(frame.compile(), pattern="pull", node="B", target=0.1, steps=10)
    assert np.allclose(response.factor[1:], 1e5, rtol=1e-9)


def test_negative_pivots_past_a_peak_are_those_of_the_tangent():
    """Where displacement control factors a held matrix, the count still says how many eigenvalues are negative."""
    law = DeterioratingPeakOriented(1e7, Backbone(1e5, 1.1e5, 0.02, 0.06, 0.2))
    frame = Frame("two")
    frame.node("0", 0, 0, support="fixed")
    for k in (1, 2):
        frame.node(str(k), k, 0, support=("uy", "rz"))
        frame.member(f"s{k}", str(k - 1), str(k), Link(axial=law if k == 1 else Elastic(1e7)))
    frame.load("2", fx=1.0, case="pull")
    system = frame.compile()
    response = push(system, pattern="pull", node="2", target=0.07, steps=70)
    slope = np.gradient(response.device("s1").force) / np.gradient(response.device("s1").deformation)
    for step in (5, 20, 60):
        soft = np.array([[slope[step] + 1e7, -1e7], [-1e7, 1e7]])
        assert response.log.counts[step, 4] == np.sum(np.linalg.eigvalsh(soft) < 0.0)
    assert response.log.counts[60, 4] == 1.0


def test_constant_loads_may_tie_two_hinges():
    """A corner and mid-span that yield at one instant under a constant load pass at hardening 1e-9 (static theorem)."""
    frame = Frame("portal")
    law = Bilinear(k=1e5 * EI, Fy=1e5, b=1e-14)
    for name, x, y in (("A", 0, 0), ("B", 0, 4), ("M", 3, 4), ("C", 6, 4), ("D", 6, 0)):
        frame.node(name, x, y, support="fixed" if y == 0 else None)
    beam = {"E": 200e9, "A": 1e-2, "I": 8e-5}
    frame.member("AB", "A", "B", BeamColumn(**beam, start=law, end=law))
    frame.member("BM", "B", "M", BeamColumn(**beam, end=law))
    frame.member("MC", "M", "C", BeamColumn(**beam))
    frame.member("DC", "D", "C", BeamColumn(**beam, start=law, end=law))
    frame.load("M", fy=-60e3, case="standing")
    frame.load("B", fx=50e3, case="lateral")
    system = frame.compile()
    standing = static(system, cases="standing").state
    response = push(system, standing, "lateral", node="B", target=0.2, steps=40)
    # Sway: 4·Mp = λ·H·h; combined: 6·Mp = λ·H·h + V·L/2.
    assert response.factor[-1] == pytest.approx(min(4e5 / 2e5, (6e5 - 60e3 * 3.0) / 2e5), rel=1e-6)
