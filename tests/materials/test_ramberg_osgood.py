"""The Ramberg-Osgood law against closed forms (check HY-3) and against elastoplastic elements in parallel."""

import numpy as np
import pytest
from scipy.optimize import brentq

from frame2d.materials import RambergOsgood
from frame2d.materials.drive import drive
from frame2d.materials.ramberg_osgood import DEPTH

LAW = RambergOsgood(k=1e7, Fy=1e5, alpha=0.3, r=7.0)


def skeleton(u: float) -> float:
    """Force on the skeleton, by bracketing: independent of the law's Newton iteration."""
    root = brentq(lambda f: f + 0.3 * f * abs(f) ** 6 - u / 0.01, -50.0, 50.0, xtol=1e-15, rtol=1e-14)
    return 1e5 * float(root)


def test_skeleton() -> None:
    """Forces of the first loading (HY-3 a, tolerance 1e-8)."""
    force = drive(LAW, np.array([0.01, 0.02, 0.05])).force
    assert force == pytest.approx([87867.942573, 115871.03779, 142475.643], rel=1e-8)


def test_steady_cycle() -> None:
    """Amplitude and work of the cycle between ±1.2e5 N (HY-3 b)."""
    a = 0.0227495424
    u = np.concatenate([np.linspace(0.0, a, 2001), *(np.linspace(s * a, -s * a, 20001)[1:] for s in (1, -1))])
    loop = drive(LAW, u)
    assert loop.force[[2000, 22000, 42000]] == pytest.approx([1.2e5, -1.2e5, 1.2e5], rel=1e-8)
    assert loop.work[-1] - loop.work[2000] == pytest.approx(3869.8353, rel=1e-5)


def test_first_branch() -> None:
    """Force at zero deformation on the way back from 0.02 m (HY-3 c)."""
    assert drive(LAW, np.array([0.02, 0.0])).force[1] == pytest.approx(-59864.847358, rel=1e-8)


def test_a_branch_rejoins_the_skeleton() -> None:
    """Past the point opposite its reversal, a branch from the skeleton is the skeleton again."""
    force = drive(LAW, np.array([0.02, -0.02, -0.021, -0.04])).force
    assert force == pytest.approx([skeleton(u) for u in (0.02, -0.02, -0.021, -0.04)])


def test_an_inner_loop_rejoins_the_branch_that_it_left() -> None:
    """A closed inner loop leaves no trace on the outer branch."""
    outer = np.linspace(0.03, -0.03, 61)
    plain = drive(LAW, outer).force
    u = np.concatenate([outer[:31], [0.004, 0.0], outer[31:]])
    assert drive(LAW, u).force[33:] == pytest.approx(plain[31:], rel=1e-10)


def test_it_equals_elastoplastic_elements_in_parallel() -> None:
    """A random history, its stored energy included, agrees with 6000 parallel elements (Iwan 1966)."""
    edges = np.concatenate([[0.0], np.geomspace(1e-5, 0.08, 6001)])
    F = np.array([skeleton(u) for u in edges])
    slopes = np.diff(F) / np.diff(edges)
    stiffness, limit = -np.diff(slopes), edges[1:-1]
    rest = slopes[-1]
    slip = np.zeros_like(limit)
    history = np.random.default_rng(7).normal(0.0, 0.02, 120)
    force, energy = [], []
    for u in history:
        e = np.clip(u - slip, -limit, limit)
        slip = u - e
        force.append(float(stiffness @ e + rest * u))
        energy.append(float(0.5 * stiffness @ e**2 + 0.5 * rest * u * u))
    loop = drive(LAW, history)
    assert loop.force == pytest.approx(np.array(force), abs=30.0)
    assert loop.recoverable == pytest.approx(np.array(energy), abs=2.0)


def test_more_open_loops_than_it_remembers_lose_only_the_smallest() -> None:
    """After many nested reversals the large loop still closes on the skeleton."""
    nested = 0.03 * (-0.9) ** np.arange(2 * DEPTH)
    force = drive(LAW, np.concatenate([nested, [0.03, 0.05]])).force
    assert force[-2:] == pytest.approx([skeleton(0.03), skeleton(0.05)], rel=1e-9)
    assert np.all(np.abs(force) <= skeleton(0.05) * (1.0 + 1e-12))
