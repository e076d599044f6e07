"""The bilinear law against its closed form (check HY-1)."""

import math
from itertools import pairwise

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.materials import Bilinear, Multilinear
from frame2d.materials.drive import drive

#: Turning points of HY-1, m, and the forces there, N: kinematic hardening, closed form.
TURNS = (0.0, 0.03, -0.03, 0.03, 0.015, 0.03, -0.05, 0.0)
FORCES = (0.0, 110000.0, -110000.0, 110000.0, -40000.0, 110000.0, -120000.0, 95000.0)
STEPS = 3000
LAWS = [Bilinear(k=1e7, Fy=1e5, b=0.05), Multilinear(((0.01, 1e5), (0.03, 1.1e5)))]


def path(turns: tuple[float, ...], steps: int) -> np.ndarray:
    """Equal steps from turn to turn."""
    legs = [np.linspace(a, b, steps + 1)[1:] for a, b in pairwise(turns)]
    return np.concatenate([[turns[0]], *legs])


@pytest.mark.parametrize("law", LAWS)
def test_forces_at_the_turning_points(law: Bilinear | Multilinear) -> None:
    """Forces are exact whatever the steps (HY-1, tolerance 1e-9)."""
    assert drive(law, np.array(TURNS)).force == pytest.approx(FORCES, rel=1e-9)
    assert drive(law, path(TURNS, 7)).force[::7] == pytest.approx(FORCES, rel=1e-9, abs=1e-4)


@pytest.mark.parametrize("law", LAWS)
def test_work_and_equivalent_damping(law: Bilinear | Multilinear) -> None:
    """Work of a cycle and of the history, and the damping they stand for (HY-1, tolerance 1e-6)."""
    loop = drive(law, path(TURNS, STEPS))
    W = loop.work[3 * STEPS] - loop.work[STEPS]
    assert pytest.approx(7600.0, rel=1e-6) == W
    assert loop.work[-1] == pytest.approx(18525.0, rel=1e-6)
    assert W / (2.0 * math.pi * 110000.0 * 0.03) == pytest.approx(0.366538657, rel=1e-6)


@pytest.mark.parametrize("law", LAWS)
def test_residual_deformation(law: Bilinear | Multilinear) -> None:
    """The first unloading meets zero force at 0.019 m (HY-1)."""
    assert drive(law, np.array([0.03, 0.019])).force[-1] == pytest.approx(0.0, abs=1e-4)


def test_isotropic_hardening_widens_the_elastic_range() -> None:
    """With isotropic hardening alone the elastic range after a plastic excursion is twice the force reached."""
    law = Bilinear(k=1e7, Fy=1e5, b=0.05, isotropic=1.0)
    back = 0.03 - 2.0 * 110000.0 / 1e7
    loop = drive(law, np.array([0.03, back, back - 0.001]))
    assert loop.force[:2] == pytest.approx([110000.0, -110000.0])
    assert loop.force[2] == pytest.approx(-110000.0 - 0.05 * 1e7 * 0.001)


def test_a_stiffness_given_as_the_ratio_is_refused() -> None:
    """b = 5e5 is a stiffness: the message names the likely mistake."""
    with pytest.raises(InputError, match=r"Bilinear\.b is 500000\.0.*not a stiffness"):
        Bilinear(k=1e7, Fy=1e5, b=5e5)
