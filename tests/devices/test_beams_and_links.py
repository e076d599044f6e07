"""Weakened beams, links of eccentric braces, Vierendeel storeys."""

from collections.abc import Callable

import numpy as np
import pytest

from frame2d.devices import link, vierendeel_storey, weakened_beam
from frame2d.errors import InputError
from frame2d.materials.drive import drive
from frame2d.sections import european, grade
from frame2d.units import kN, kNm, mm

S355 = grade("S355")
IPE = european("IPE 300")


def test_weakened_beam_dimensions() -> None:
    """An IPE 300 by EN 1998-3: 90, 225, 30 mm, radius 226 mm, 0.70 of the plastic modulus."""
    beam = weakened_beam(IPE, S355)
    assert (beam.a / mm, beam.b / mm, beam.g / mm) == pytest.approx((90, 225, 30))
    # three points of the circle: sagitta g over chord b
    assert beam.radius - np.sqrt(beam.radius**2 - beam.b**2 / 4) == pytest.approx(beam.g)
    assert beam.plastic_modulus / IPE.Wpl == pytest.approx(0.70, abs=0.005)
    assert beam.section.Wpl == pytest.approx(beam.plastic_modulus)
    assert beam.Mp == pytest.approx(beam.plastic_modulus * 355e6)
    assert beam.Mpr / beam.Mp == pytest.approx(1.25 * (355 + 490) / 710)
    assert list(beam.rotations.values()) == [0.010, 0.025, 0.040]


def test_moment_at_the_face() -> None:
    """The face moment is the moment line through both cuts, extended to the column."""
    beam = weakened_beam(IPE, S355)
    between = 4.0
    assert beam.face_moment(between) == pytest.approx(
        beam.Mpr * (between / 2 + beam.distance) / (between / 2)
    )
    more = beam.face_moment(between, 10e3) - beam.face_moment(between)
    assert more == pytest.approx(10e3 * between / 2 * beam.distance)


def test_weakened_beam_law() -> None:
    """The suggested law yields at Mp and caps at 1.1 Mp after the plastic rotation."""
    beam = weakened_beam(IPE, S355)
    stiffness = 10 * 6 * S355.E * IPE.I / 5.0
    theta = np.linspace(0, beam.Mp / stiffness + 0.025, 2000)
    M = drive(beam.law(stiffness), theta).force
    assert M[-1] == pytest.approx(1.1 * beam.Mp, rel=0.03)
    assert np.interp(beam.Mp / stiffness, theta, M) == pytest.approx(beam.Mp, rel=1e-2)


def test_link_classes() -> None:
    """An IPE 300 link is short to 0.63 m and long from 1.17 m (EN 1998-1); AISC 341 has 2.6 for 3.0."""
    one = link(IPE, S355, 0.5)
    assert (one.short, one.long) == (pytest.approx(0.626, abs=0.001), pytest.approx(1.174, abs=0.001))
    assert (one.kind, one.rotation, one.shear) == ("short", 0.08, pytest.approx(one.Vp))
    middle = link(IPE, S355, 0.5 * (one.short + one.long))
    assert (middle.kind, middle.rotation) == ("intermediate", pytest.approx(0.05))
    far = link(IPE, S355, 2.0)
    assert (far.kind, far.rotation, far.shear) == ("long", 0.02, pytest.approx(2 * far.Mp / 2.0))
    other = link(IPE, S355, 0.5, code="AISC 341")
    assert other.long / other.short == pytest.approx(2.6 / 1.6)
    assert other.Mp == pytest.approx(IPE.Wpl * 355e6)
    assert link(IPE, S355, 0.5, ratio=0.0).short == pytest.approx(0.8 * one.Mp / one.Vp)


def test_link_law() -> None:
    """The suggested law hardens from the plastic to the ultimate shear over the plastic rotation capacity."""
    one = link(IPE, S355, 0.5)
    end = one.ultimate / one.stiffness + 0.08 * 0.5
    assert drive(one.law(), np.linspace(0, end, 50)).force[-1] == pytest.approx(1.5 * one.Vp, rel=1e-9)


def test_vierendeel_storey() -> None:
    """Work of the storey shear equals that of its hinges, and the column couple balances the overturning."""
    storey = vierendeel_storey(3, 100 * kNm, 0.8, 1.2, 3.5)
    drift = 1e-3
    assert storey.shear * drift * 3.5 == pytest.approx(3 * 2 * 100 * kNm * storey.rotation_ratio * drift)
    assert storey.column_force * 1.2 == pytest.approx(storey.shear * 3.5)
    assert storey.shear / kN == pytest.approx(3 * 250 * 1.2 / 3.5)
    assert storey.drift(0.03) == pytest.approx(0.02)
    # the law's yield displacement turns each hinge by M/k
    law = storey.law(5e7)
    assert storey.rotation_ratio * storey.shear / law.k / 3.5 == pytest.approx(100 * kNm / 5e7)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: weakened_beam(IPE, S355, g=0.05), "EN 1998-3 takes"),
        (lambda: weakened_beam(IPE, S355, a=0.12), "a is 0.12"),
        (lambda: weakened_beam(IPE, S355, b=225), "b is 225"),
        (lambda: weakened_beam(IPE, S355, rule="EN 1998"), "EN 1998-3"),
        (lambda: weakened_beam(IPE, S355, overstrength=0.9), "1 or more"),
        (lambda: link(IPE, S355, 500), "mm"),
        (lambda: link(IPE, S355, 0.5, axial=200e3), "share"),
        (lambda: link(IPE, S355, 0.5, code="AISC 341", ratio=0.5), "equal end moments"),
        (lambda: vierendeel_storey(0, 1e5, 0.8, 1.2, 3.5), "beams is 0"),
        (lambda: vierendeel_storey(1, 1e5, 1.3, 1.2, 3.5), "between the columns"),
        (lambda: vierendeel_storey(1, 1e5, 0.8, 1.2, 3500), "mm"),
    ],
)
def test_bad_devices(make: Callable[[], object], says: str) -> None:
    """Dimensions outside the rules, or in the wrong unit, are refused with the rule or the unit."""
    with pytest.raises(InputError, match=says):
        make()


def test_wider_range_of_the_other_rule() -> None:
    """A cut that EN 1998-3 does not know is allowed where AISC 358 allows it."""
    assert (
        weakened_beam(IPE, S355, a=0.5 * IPE.b, b=0.65 * IPE.depth, g=0.1 * IPE.b, rule="AISC 358").a == 0.075
    )
