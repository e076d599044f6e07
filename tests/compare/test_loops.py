"""Half-cycles of loops: reversals, energy, secant stiffness, peak force."""

from itertools import pairwise

import numpy as np
import pytest

from frame2d.compare import half_cycles, loop_errors, reversals
from frame2d.errors import InputError
from frame2d.materials import Bilinear
from frame2d.materials.drive import drive


def zigzag(*turns: float, points: int = 50) -> np.ndarray:
    """Straight lines between the turns."""
    parts = [np.linspace(a, b, points, endpoint=False) for a, b in pairwise(turns)]
    return np.concatenate([*parts, [turns[-1]]])


def test_reversals_ignore_noise() -> None:
    """Turns are the true extremes, whatever noise below the threshold rides on the history."""
    u = zigzag(0.0, 1.0, -1.5, 2.0, -2.0)
    assert list(reversals(u, 0.1)) == [0, 50, 100, 150, 200]
    noisy = u + 0.02 * np.random.default_rng(3).uniform(-1, 1, u.size)
    found = reversals(noisy, 0.1)
    assert found.size == 5
    assert np.max(np.abs(found[1:-1] - np.array([50, 100, 150]))) <= 2


def test_elastoplastic_half_cycles() -> None:
    """An elastic-plastic loop at ±4 yields has its closed-form energy, secant and peak in each half-cycle."""
    law = Bilinear(k=100.0, Fy=1.0)
    u = zigzag(0.0, 0.04, -0.04, 0.04, -0.04, points=400)
    loop = drive(law, u)
    cycles = half_cycles(loop.deformation, loop.force)
    # between reversals: elastic return and reload are antisymmetric, then 0.06 m of plastic travel
    assert cycles.energy[1:] == pytest.approx([1.0 * 0.06] * 3, rel=1e-3)
    assert cycles.secant[1:] == pytest.approx([2.0 / 0.08] * 3)
    assert cycles.peak_force == pytest.approx([1.0, -1.0, 1.0, -1.0])
    assert cycles.deformation == pytest.approx([0.04, -0.04, 0.04, -0.04])


def test_loop_errors_of_a_weaker_device() -> None:
    """A device 10 % weaker in force shows 10 % in energy, secant stiffness and peak force of every
    half-cycle.
    """
    loop = drive(Bilinear(k=100.0, Fy=1.0, b=0.05), zigzag(0.0, 0.04, -0.04, 0.06, -0.06))
    errors = loop_errors(loop.deformation, loop.force, loop.deformation, 0.9 * loop.force)
    assert (errors.energy, errors.secant, errors.peak_force) == pytest.approx((0.1, 0.1, 0.1))


def test_bad_loops() -> None:
    """A deformation that does not move, or turns out of order, are refused with the reason."""
    with pytest.raises(InputError, match="range of the deformation"):
        half_cycles(np.zeros(10), np.ones(10))
    with pytest.raises(InputError, match="turns"):
        half_cycles(np.arange(10.0), np.ones(10), turns=[5, 2])
    with pytest.raises(InputError, match="largest energy"):
        loop_errors(np.arange(10.0), np.zeros(10), np.arange(10.0), np.ones(10))
