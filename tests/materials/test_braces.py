"""Braces: slack in compression, or buckling."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials import BucklingBrace, TensionOnly
from frame2d.materials.drive import drive

# Invented: uy = 9 mm, s0 = 1.5 mm, no loss of buckling force unless a test asks for it.
BRACE = BucklingBrace(k=1e8, Fy=9e5, Fb=5e5, s0=1.5e-3, reduced=1.0)


def bow(s: float) -> float:
    """Resistance of the bowed bar."""
    return BRACE.Fy / (1.0 + math.sqrt(s / BRACE.s0))


def shortening(u: float, e: float = 0.0) -> float:
    """Shortening at u on the buckling branch, by halving: k(s − (e − u)) + R(s) = 0."""
    low, high = 0.0, e - u
    for _ in range(200):
        s = 0.5 * (low + high)
        if BRACE.k * (s - (e - u)) + bow(s) > 0.0:
            high = s
        else:
            low = s
    return s


def test_a_rod_is_slack_until_its_plastic_elongation_is_used_up() -> None:
    """Yield at 0.005, elongation 0.015 at 0.02: no force below 0.015, no force in compression."""
    loop = drive(
        TensionOnly(k=4e7, Fy=2e5), np.array([0.0, 0.02, 0.0175, 0.015, 0.0, -0.02, 0.014, 0.016, 0.025])
    )
    assert loop.force == pytest.approx([0.0, 2e5, 1e5, 0.0, 0.0, 0.0, 0.0, 4e4, 2e5], abs=1e-6)
    assert loop.memory[0] == pytest.approx(0.02)


def test_a_rod_hardens_with_its_elongation() -> None:
    """The post-yield slope is b·k and the yield force of the next cycle is the last force."""
    law = TensionOnly(k=4e7, Fy=2e5, b=0.05)
    loop = drive(law, np.array([0.0, 0.005, 0.025, 0.0, 0.025, 0.035]))
    assert loop.force[[1, 2, 4, 5]] == pytest.approx([2e5, 2.4e5, 2.4e5, 2.6e5])


def test_the_brace_buckles_and_follows_the_bow() -> None:
    """Elastic to Fb, then at large shortening −F = R(s) with u = F/k − s."""
    loop = drive(BRACE, -np.array([0.0, 0.004, 0.005, 0.02, 0.05]))
    assert loop.force[1:3] == pytest.approx([-4e5, -5e5])
    assert loop.force[3:] == pytest.approx([-bow(shortening(u)) for u in loop.deformation[3:]], rel=1e-9)


def test_the_drop_after_buckling_is_not_steeper_than_stated() -> None:
    """The tangent after buckling is never below −k·½/(1 − ½), and it is reached."""
    loop = drive(BRACE, -np.linspace(0.0, 0.02, 2001))
    assert loop.tangent.min() == pytest.approx(-BRACE.k)


def test_the_bow_is_pulled_straight_before_the_bar_yields() -> None:
    """From a bow the tension branch is F = R(s); the bar yields when it is straight and its elongation remains."""
    u = np.array([0.0, -0.02, -0.01, 0.009, 0.012])
    loop = drive(BRACE, u)
    s = -0.01
    low, high = 0.0, 0.02
    for _ in range(200):
        s = 0.5 * (low + high)
        low, high = (low, s) if BRACE.k * (-0.01 + s) - bow(s) > 0.0 else (s, high)
    assert loop.force[2] == pytest.approx(bow(s), rel=1e-9)
    assert loop.force[3:] == pytest.approx([9e5, 9e5])
    assert loop.memory[:2] == pytest.approx([0.003, 0.0], abs=1e-12)


def test_compression_strength_falls_after_the_first_cycle() -> None:
    """Once a bow has been pulled straight the bar buckles at r·Fb."""
    law = BucklingBrace(k=1e8, Fy=9e5, Fb=5e5, s0=1.5e-3, reduced=0.6)
    u = np.concatenate(
        [np.linspace(0.0, -0.03, 400), np.linspace(-0.03, 0.02, 400), np.linspace(0.02, -0.03, 800)]
    )
    loop = drive(law, u)
    assert loop.force[:400].min() == pytest.approx(-5e5, rel=1e-2)
    assert loop.force[800:].min() == pytest.approx(-0.6 * 5e5, rel=1e-2)


def test_a_section_gives_the_numbers_of_the_mechanism() -> None:
    """k = EA/L, Fy = A·fy, s0 = 2(Wpl/A)²/L and r = 1/(1 + λ/(2·Cc))."""
    law = BucklingBrace.of_section(E=210e9, A=2e-3, Wpl=6e-5, fy=235e6, L=4.0, Fb=2e5, slenderness=100.0)
    assert [law.k, law.Fy, law.s0] == pytest.approx([1.05e8, 4.7e5, 2.0 * 0.03**2 / 4.0])
    assert law.reduced == pytest.approx(
        1.0 / (1.0 + 100.0 / (2.0 * math.sqrt(2.0 * math.pi**2 * 210e9 / 235e6)))
    )


@settings(max_examples=60, deadline=None)
@given(
    turns=st.lists(st.floats(-0.08, 0.06), min_size=2, max_size=12),
    share=st.floats(0.02, 0.98),
    s0=st.floats(1e-5, 0.1),
    reduced=st.floats(0.05, 1.0),
)
def test_no_history_gets_back_more_than_it_put_in(
    turns: list[float], share: float, s0: float, reduced: float
) -> None:
    """Force never jumps nor leaves [−Fb, Fy], and work less recoverable energy never falls, for any history."""
    law = BucklingBrace(k=1e8, Fy=9e5, Fb=share * 9e5, s0=s0, reduced=reduced)
    path = np.array([0.0, *turns])
    legs = [np.linspace(a, b, 601)[1:] for a, b in pairwise(path)]
    loop = drive(law, np.concatenate([[0.0], *legs]))
    step = np.abs(np.diff(loop.deformation)).max()
    dissipated = loop.work - loop.recoverable
    assert np.max(np.maximum.accumulate(dissipated) - dissipated) <= 1e8 * len(turns) * step**2 + 1e-9
    assert np.abs(np.diff(loop.force)).max() <= 1.0001e8 * step + 1e-3
    assert loop.force.min() >= -law.Fb * (1.0 + 1e-9)
    assert loop.force.max() <= law.Fy * (1.0 + 1e-9)


@settings(max_examples=30, deadline=None)
@given(turns=st.lists(st.floats(-0.08, 0.06), min_size=2, max_size=8))
def test_one_step_is_as_good_as_many(turns: list[float]) -> None:
    """Between two turns the force does not depend on the number of steps."""
    law = BucklingBrace.example()
    path = np.array([0.0, *turns])
    legs = [np.linspace(a, b, 24)[1:] for a, b in pairwise(path)]
    fine = drive(law, np.concatenate([[0.0], *legs])).force[::23]
    assert fine == pytest.approx(drive(law, path).force, abs=1.0)


def test_bad_numbers_are_refused() -> None:
    """A buckling force above yield or negative and shares beyond 1 raise `InputError`."""
    with pytest.raises(InputError, match="Fb"):
        BucklingBrace(k=1e8, Fy=9e5, Fb=1e6, s0=1e-3)
    with pytest.raises(InputError, match="Fb"):
        BucklingBrace(k=1e8, Fy=9e5, Fb=-5e5, s0=1e-3)
    with pytest.raises(InputError, match="reduced"):
        BucklingBrace(k=1e8, Fy=9e5, Fb=5e5, s0=1e-3, reduced=1.5)
    with pytest.raises(InputError, match="slenderness"):
        BucklingBrace.of_section(E=210e9, A=2e-3, Wpl=6e-5, fy=235e6, L=4.0, Fb=2e5, slenderness=0.0)
