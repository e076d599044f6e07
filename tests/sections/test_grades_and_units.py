"""Steel grades and unit constants."""

import math

import pytest

import frame2d.units as units
from frame2d.errors import InputError
from frame2d.sections import Steel, european, grade
from frame2d.units import GPa, MPa, cm4, deg, g, kN, kNm, m, mm, tonne


def test_grades() -> None:
    """Grades carry fy and fu by thickness and the modulus of steel."""
    steel = grade("S355")
    assert (steel.fy, steel.fu, steel.E) == (355 * MPa, 490 * MPa, 210 * GPa)
    assert pytest.approx(210e9 / 2.6) == steel.G
    assert grade("S355", 60 * mm).fy == 335 * MPa
    assert [grade(name).fy / MPa for name in ("S235", "S275", "S460")] == [235, 275, 460]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Steel("x", 355e6, 490e6, E=210), "GPa"),
        (lambda: Steel("x", 355e6, 490e6, E=210e3), "MPa"),
        (lambda: Steel("x", 355, 490e6), "355\\*MPa"),
        (lambda: Steel("x", 490e6, 355e6), "exchanged"),
        (lambda: grade("S350"), "S355"),
        (lambda: grade("S355", 20), "20\\*mm"),
        (lambda: grade("S355", 0.1), "0.08"),
    ],
)
def test_bad_steel(make, says: str) -> None:
    """Strengths and moduli that smell of another unit are refused with that unit named."""
    with pytest.raises(InputError, match=says):
        make()


def test_units_read_like_the_trade() -> None:
    """Units multiply to SI and divide back."""
    assert 250 * kN == 250e3
    assert 3.5 * m == 3.5
    assert 10 * tonne * g / kN == pytest.approx(98.0665)
    assert 180 * deg == pytest.approx(math.pi)
    assert 8356 * cm4 == pytest.approx(european("IPE 300").I, rel=1e-4)
    assert 5 * kNm / (1 * kN) == 5.0


def test_every_unit_is_exported() -> None:
    """A star import brings every unit and nothing else."""
    public = {name for name in vars(units) if not name.startswith("_")} - {"pi"}
    assert public == set(units.__all__)


def test_summary_in_handbook_units() -> None:
    """A section prints itself in cm."""
    assert "A 53.81 cm²" in european("IPE 300").summary()
