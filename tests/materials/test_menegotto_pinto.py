"""The Menegotto-Pinto law against its closed form (check HY-2)."""

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.materials import MenegottoPinto
from frame2d.materials.drive import drive
from frame2d.materials.menegotto_pinto import HEAD


def test_monotonic_curve() -> None:
    """Forces of the first branch with R = 20 (HY-2 a, tolerance 1e-9)."""
    law = MenegottoPinto(k=1e7, Fy=1e5, b=0.02, R0=20.0, a1=0.0)
    force = drive(law, np.array([0.005, 0.01, 0.02, 0.05, 0.1])).force
    assert force == pytest.approx([49999.9976635, 96661.7602346, 101999.995327, 108000.0, 118000.0], rel=1e-9)


def test_branches_between_turning_points() -> None:
    """Forces and works of three branches with R = 5 (HY-2 b)."""
    law = MenegottoPinto(k=1e7, Fy=1e5, b=0.02, R0=5.0, a1=0.0)
    n = 8000
    legs = [np.linspace(0.0, 0.04, n + 1)] + [np.linspace(-s * 0.04, s * 0.04, n + 1)[1:] for s in (-1, 1)]
    loop = drive(law, np.concatenate(legs))
    assert loop.force[[n, 2 * n, 3 * n]] == pytest.approx(
        [105980.870582, -105961.763552, 105961.785903], rel=1e-9
    )
    assert loop.force[n + n // 2] == pytest.approx(-96798.1485321, rel=1e-9)
    work = np.diff(loop.work[[n, 2 * n, 3 * n]])
    assert work == pytest.approx([5636.112, 5636.5414], rel=1e-5)


def test_curvature_of_the_excursion() -> None:
    """R of the plastic excursion, as a formula (HY-2 c)."""
    law = MenegottoPinto(k=1e7, Fy=1e5, R0=20.0, a1=18.5, a2=0.15)
    found = [law.curvature(xi) for xi in (0.0, 1.0, 4.0, 10.0)]
    assert found == pytest.approx([20.0, 3.91304347826, 2.1686746988, 1.77339901478], rel=1e-9)


def test_the_next_branch_bends_by_the_excursion_of_the_last() -> None:
    """The branch after an excursion of ξ yield deformations follows the formula with R(ξ)."""
    law = MenegottoPinto(k=1e7, Fy=1e5, b=0.02)
    ur = 0.05
    first = drive(law, np.array([ur])).force[0]
    R = law.curvature((ur - 0.01) / 0.01)
    u0 = (1e7 * ur - first - 0.98e5) / (0.98e7)
    F0 = first + 1e7 * (u0 - ur)
    for u in (0.04, 0.02, -0.03):
        e = (u - ur) / (u0 - ur)
        expected = first + (F0 - first) * (0.02 * e + 0.98 * e / (1.0 + e**R) ** (1.0 / R))
        assert drive(law, np.array([ur, u])).force[1] == pytest.approx(expected, rel=1e-9)


def test_partial_cycles_rejoin_the_branch_that_they_left() -> None:
    """Reversals before the other yield leave no trace on the branch, whether on loading or on unloading."""
    law = MenegottoPinto(k=1e7, Fy=1e5, b=0.02)
    for before, between, after in (
        ([0.05], [0.035, 0.0355, 0.0351], [0.02, 0.01, -0.03]),
        ([0.05], [0.02, 0.0205, 0.0201], [0.01, -0.03]),
        ([0.009], [0.005, 0.006, 0.002, 0.007], [0.0095, 0.02]),
    ):
        plain = drive(law, np.array(before + after)).force
        disturbed = drive(law, np.array(before + between + after)).force
        assert disturbed[-len(after) :] == pytest.approx(plain[-len(after) :], rel=1e-12)


def test_jitter_on_a_curved_branch_does_not_raise_the_force() -> None:
    """Hundreds of small reversals on a branch keep the force between the branch and its elastic lines."""
    law = MenegottoPinto(k=1e7, Fy=1e5, b=0.02)
    smooth = np.concatenate([[0.05], np.linspace(0.05, -0.05, 401)[1:]])
    jitter = smooth + 2e-4 * np.random.default_rng(3).normal(size=smooth.size)
    plain = drive(law, smooth).force
    assert drive(law, jitter).force == pytest.approx(plain, abs=1e7 * 1.5e-3)


def test_the_largest_excursion_is_kept() -> None:
    """A partial cycle does not reset R."""
    law = MenegottoPinto(k=1e7, Fy=1e5, b=0.02)
    loop = drive(law, np.array([0.05, 0.045, 0.047]))
    depth = int(loop.memory[0])
    assert loop.memory[HEAD + 4 * depth - 1] == pytest.approx(law.curvature(4.0))


def test_isotropic_hardening_shifts_the_asymptote() -> None:
    """With a3 the next yield plateau lies a3·Fy·(umax/uy − a4) higher."""
    soft = MenegottoPinto(k=1e7, Fy=1e5, b=0.0, R0=20.0, a1=0.0)
    hard = MenegottoPinto(k=1e7, Fy=1e5, b=0.0, R0=20.0, a1=0.0, a3=0.02, a4=1.0)
    u = np.array([0.06, -0.5])
    assert drive(soft, u).force[1] == pytest.approx(-1e5, rel=1e-6)
    assert drive(hard, u).force[1] == pytest.approx(-1e5 * (1.0 + 0.02 * 5.0), rel=1e-6)


def test_a_curvature_that_would_vanish_is_refused() -> None:
    """a1 must stay below R0."""
    with pytest.raises(InputError, match=r"MenegottoPinto\.a1 is 21\.0"):
        MenegottoPinto(k=1e7, Fy=1e5, R0=20.0, a1=21.0)
