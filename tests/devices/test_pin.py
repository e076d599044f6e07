"""Brace-end pin in bending."""

from collections.abc import Callable

import numpy as np
import pytest

from frame2d.devices import pin_in_bending
from frame2d.errors import InputError
from frame2d.materials import Pinched, Slack
from frame2d.materials.drive import drive
from frame2d.sections import grade, solid_rectangle, solid_round
from frame2d.units import kN, mm

S355 = grade("S355")


def test_worked_example() -> None:
    """A round 60 mm, arm 70, span 220 mm, S355: first yield 215 kN, mechanism 730 kN, 0.25 mm at yield."""
    pin = pin_in_bending(solid_round(60 * mm), 70 * mm, 220 * mm, S355)
    assert pin.Py / kN == pytest.approx(215, abs=0.5)
    assert pin.Pp / kN == pytest.approx(730, abs=1)
    assert pin.yield_deformation / mm == pytest.approx(0.25, abs=0.005)
    assert pin.Pu / pin.Pp == pytest.approx(490 / 355)
    assert pin.usable == pytest.approx(56 * mm)
    assert pin.stiffness_with_shear < pin.stiffness
    assert "0.63" in pin.notes[0]


def test_stiffness_by_integrating_the_beam() -> None:
    """The stiffness is that of a simply supported bar under two loads, integrated twice numerically."""
    bar, a, span = solid_rectangle(60 * mm, 40 * mm), 60 * mm, 300 * mm
    x = np.linspace(0, span, 200_001)
    dx = x[1] - x[0]
    curvature = -0.5 * np.minimum(np.minimum(x, a), span - x) / (S355.E * bar.I)  # P = 1
    slope = np.concatenate([[0.0], np.cumsum(0.5 * (curvature[1:] + curvature[:-1]) * dx)])
    w = np.concatenate([[0.0], np.cumsum(0.5 * (slope[1:] + slope[:-1]) * dx)])
    w -= w[-1] * x / span
    assert pin_in_bending(bar, a, span, S355).stiffness == pytest.approx(1.0 / np.interp(a, x, w), rel=1e-6)


def test_law() -> None:
    """The suggested law is pinched behind its clearance, and reaches Pu at the usable deformation."""
    pin = pin_in_bending(solid_round(60 * mm), 70 * mm, 220 * mm, S355, clearance=1 * mm)
    law = pin.law()
    assert isinstance(law, Slack)
    u = np.linspace(0, 56 * mm, 200)
    F = drive(law, u).force
    assert np.max(np.abs(F[u < 1 * mm])) == 0.0
    assert F[-1] == pytest.approx(pin.Pu, rel=1e-6)
    assert isinstance(pin_in_bending(solid_round(60 * mm), 70 * mm, 220 * mm, S355).law(), Pinched)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: pin_in_bending(solid_round(0.06), 0.11, 0.22, S355), "half the span"),
        (lambda: pin_in_bending(solid_round(0.06), 70, 0.22, S355), "mm"),
        (lambda: pin_in_bending(solid_round(0.06), 0.07, 0.22, S355, clearance=0.06), "clearance"),
    ],
)
def test_bad_pins(make: Callable[[], object], says: str) -> None:
    """Arrangements that cannot be are refused."""
    with pytest.raises(InputError, match=says):
        make()
