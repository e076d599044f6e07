"""The pinched multilinear law: its rules by hand, its damage by its formula, its energy for any history."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials.drive import drive
from frame2d.materials.pinched_multilinear import PinchedMultilinear

# Invented round numbers: k = 1e7 on both sides.
SIDE = ((0.01, 1.0e5), (0.03, 1.2e5), (0.06, 1.2e5), (0.10, 0.4e5))
LAW = PinchedMultilinear(
    positive=SIDE,
    negative=tuple((-u, -F) for u, F in SIDE),
    reload_deformation=(0.1, 0.1),
    reload_force=(0.25, 0.25),
)
DAMAGED = replace(
    LAW,
    stiffness_damage=(0.2, 0.1, 1.0, 1.0, 0.9),
    deformation_damage=(0.1, 0.05, 1.0, 2.0, 0.5),
    strength_damage=(0.15, 0.2, 2.0, 1.0, 0.9),
)


def fine(turns: np.ndarray, points: int) -> np.ndarray:
    legs = [np.linspace(a, b, points + 1)[1:] for a, b in pairwise(turns)]
    return np.concatenate([turns[:1], *legs])


def test_the_first_loading_follows_the_envelope() -> None:
    """Monotonic loading passes the four points of either side and stays at the last force."""
    u = np.array([0.0, 0.005, 0.01, 0.02, 0.03, 0.06, 0.08, 0.10, 0.2])
    expected = np.array([0.0, 0.5e5, 1e5, 1.1e5, 1.2e5, 1.2e5, 0.8e5, 0.4e5, 0.4e5])
    assert drive(LAW, u).force == pytest.approx(expected)
    assert drive(LAW, -u).force == pytest.approx(-expected)


def test_reloading_passes_its_point() -> None:
    """After +0.03 the path goes from zero at 0.018 through (−r_δ·0.01, −r_F·1e5) to (−0.01, −1e5)."""
    u = np.array([0.0, 0.03, 0.018, -0.001, -0.01, -0.03, -0.018, 0.003, 0.03])
    expected = [0.0, 1.2e5, 0.0, -0.25e5, -1e5, -1.2e5, 0.0, 0.25 * 1.2e5, 1.2e5]
    assert drive(LAW, u).force == pytest.approx(expected, abs=1e-6)


def test_unloading_past_zero() -> None:
    """With u_F > 0 unloading goes on elastically to u_F·Fmax on the other side before it turns to the point."""
    law = replace(LAW, unload_force=(0.0, 0.1))
    at_corner = 0.018 - 0.1 * 1e5 / 1e7
    loop = drive(law, np.array([0.0, 0.03, at_corner, -0.001]))
    assert loop.force[2:] == pytest.approx([-0.1e5, -0.25e5])


def test_unloading_that_ends_early() -> None:
    """With u_F < 0 unloading is elastic to the share −u_F of the force, then heads for the reloading point."""
    law = replace(LAW, unload_force=(0.0, -0.5))
    corner = 0.03 - 0.5 * 1.2e5 / 1e7
    slope = (0.5 * 1.2e5 + 0.25e5) / (corner + 0.001)
    loop = drive(law, np.array([0.0, 0.03, corner, corner - 0.004]))
    assert loop.force[2:] == pytest.approx([0.6e5, 0.6e5 - slope * 0.004])
    assert loop.tangent[-1] == pytest.approx(slope)


def test_damage_follows_its_formula() -> None:
    """After one excursion stiffness, target and strength of the side entered follow g₁·d̃^g₃ + g₂·(E/Eₘ)^g₄."""
    turn = 0.04
    residual = turn - 1.2e5 / 1e7
    energy = 0.5 * 1e5 * 0.01 + 1.1e5 * 0.02 + 1.2e5 * 0.01 - 0.5 * 1.2e5**2 / 1e7
    monotonic = 0.5 * 1e5 * 0.01 + 1.1e5 * 0.02 + 1.2e5 * 0.03 + 0.8e5 * 0.04
    d, e = turn / 0.10, energy / monotonic
    Dk, Dd, Df = 0.2 * d + 0.1 * e, 0.1 * d + 0.05 * e**2, 0.15 * d**2 + 0.2 * e
    target = 0.01 * (1.0 + Dd)
    force = (1.0 - Df) * (1e5 + 1e6 * (target - 0.01))
    beyond = (1.0 - Df) * 1.1e5
    loop = drive(DAMAGED, np.array([0.0, turn, residual, -0.1 * target, -target, -0.02, -0.02 + 1e-3]))
    assert loop.force[3:6] == pytest.approx([-0.25 * force, -force, -beyond])
    assert loop.tangent[-1] == pytest.approx(1e7 * (1.0 - Dk))
    assert DAMAGED.dissipated(loop.memory) == pytest.approx(energy)


def test_damage_stops_at_its_limit() -> None:
    """However long it is cycled, no side loses more strength than the limit."""
    law = replace(LAW, strength_damage=(0.0, 1.0, 1.0, 1.0, 0.4))
    loop = drive(law, 0.05 * np.sin(np.linspace(0.0, 200.0, 8001)))
    assert np.abs(loop.force[-700:]).max() == pytest.approx(0.6 * 1.2e5, rel=1e-3)


def test_small_cycles_before_yield_are_elastic() -> None:
    """Below the first points there is neither pinching nor dissipation."""
    loop = drive(LAW, 0.0099 * np.sin(np.linspace(0.0, 30.0, 600)))
    assert loop.force == pytest.approx(1e7 * loop.deformation, abs=1e-6)


shares = st.sampled_from([-0.9, -0.5, -0.2, 0.0, 0.1, 0.25])


@settings(max_examples=60, deadline=None)
@given(
    turns=st.lists(st.floats(-0.12, 0.12), min_size=2, max_size=14),
    shares=st.tuples(shares, shares),
    where=st.floats(0.0, 0.95),
    high=st.floats(0.25, 1.0),
    damaged=st.booleans(),
)
def test_no_history_gets_back_more_than_it_put_in(
    turns: list[float], shares: tuple[float, float], where: float, high: float, damaged: bool
) -> None:
    """Work less recoverable energy never falls and a step is as good as many, for any rules, damage and history."""
    law = replace(
        DAMAGED if damaged else LAW,
        unload_force=shares,
        reload_deformation=(where, 0.3),
        reload_force=(high, high),
    )
    path = np.array([0.0, *turns])
    loop = drive(law, fine(path, 600))
    dissipated = loop.work - loop.recoverable
    step = np.abs(np.diff(loop.deformation)).max()
    # The trapezoidal work of the test, not the law, errs by up to k·h²/8 at a kink; there are at most 8 on a leg.
    assert np.max(np.maximum.accumulate(dissipated) - dissipated) <= len(turns) * 1e7 * step**2 + 1e-9
    assert np.abs(np.diff(loop.force)).max() <= 1.0001e7 * step + 1e-6
    # A turn at zero force belongs to either side by rounding, and damage is brought up to date when the side changes.
    sides = np.append(np.abs(loop.force[600::600]) > 1e-3, False)
    clear = 1 + int(np.argmin(sides))
    assert loop.force[::600][:clear] == pytest.approx(drive(law, path).force[:clear], abs=1e-3)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("positive", SIDE[:3]),
        ("negative", SIDE),
        ("reload_deformation", (1.2, 0.5)),
        ("reload_force", 0.3),
        ("unload_force", (0.5, 0.0)),
        ("strength_damage", (0.1, 0.1, 1.0, 1.0, 1.0)),
        ("stiffness_damage", (0.1, 0.1)),
    ],
)
def test_bad_numbers_are_refused(field: str, value: object) -> None:
    """Missing points, lost signs, shares beyond their range and short damage lists raise `InputError`."""
    with pytest.raises(InputError, match=field):
        replace(LAW, **{field: value})


def test_early_end_of_unloading_needs_an_envelope_that_softens() -> None:
    """u_F < 0 is refused for an envelope that grows steeper, of which it would return energy never put in."""
    stiffening = ((0.01, 0.2e5), (0.02, 1e5), (0.06, 1.2e5), (0.10, 0.4e5))
    with pytest.raises(InputError, match="steeper"):
        replace(LAW, positive=stiffening, unload_force=(0.0, -0.2))
