"""Forces and deflections along a member against handbook formulas."""

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, InputError, gravity


def beam(support, **options):  # type: ignore[no-untyped-def]
    frame = Frame("beam")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 6, 0, support=support)
    frame.member("AB", "A", "B", BeamColumn(200e9, 6e-3, 8e-5, **options))
    return frame


def test_a_propped_cantilever_under_uniform_load():
    """Moments and the largest deflection of a propped cantilever (Timoshenko & Gere, beam tables, from memory)."""
    frame = beam("roller")
    frame.member_load("AB", qy=-20e3)
    curve = gravity(frame.compile()).along("AB", points=2001)
    assert curve.M[0] == pytest.approx(-90e3, rel=1e-9) and curve.M[-1] == pytest.approx(0.0, abs=1e-4)
    assert curve.V[0] == pytest.approx(75e3, rel=1e-9) and curve.V[-1] == pytest.approx(-45e3, rel=1e-9)
    assert -curve.v.min() == pytest.approx(0.008774117, rel=1e-6)
    assert curve.x[np.argmin(curve.v)] == pytest.approx(3.47078901, abs=0.003)


def test_a_point_load_bends_a_shear_flexible_cantilever():
    """Tip deflection PL³/3EI + PL/GAs and the moment at the clamp."""
    frame = beam("rz", shear_area=2e-3)
    frame.supports.pop("B")
    frame.member_load("AB", qy=-1e4, begin=6.0, point=True)
    curve = gravity(frame.compile()).along("AB")
    G = 200e9 / 2.6
    assert curve.v[-1] == pytest.approx(-1e4 * (6**3 / (3 * 200e9 * 8e-5) + 6 / (G * 2e-3)), rel=1e-9)
    assert curve.M[0] == pytest.approx(-6e4, rel=1e-9)


def test_the_far_end_is_met():
    """Integrating from the start arrives at the other node, to the share N/Ncr that one second-order element leaves."""
    frame = beam("roller", geometry="p-delta")
    frame.load("B", fx=-2e5)
    frame.member_load("AB", qy=(-2e3, -8e3), begin=1.0, end=5.0)
    response = gravity(frame.compile())
    curve = response.along("AB", points=401)
    assert curve.v[-1] == pytest.approx(0.0, abs=0.06 * np.abs(curve.v).max())
    assert curve.u[-1] == pytest.approx(response.displacement("B")[-1], rel=2e-2)
    assert curve.N[0] == pytest.approx(-2e5, rel=1e-2)


def test_only_beams_have_an_inside():
    """A corotational member says to divide it."""
    frame = beam("roller", geometry="corotational")
    frame.load("B", fx=1.0)
    with pytest.raises(InputError, match="divide it"):
        gravity(frame.compile()).along("AB")
