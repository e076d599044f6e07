"""Low-cycle fatigue: counting, damage, fracture."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials import Bilinear, Elastic, LowCycleFatigue, Parallel, build
from frame2d.materials.drive import drive
from frame2d.materials.fatigue import DEPTH


def damage(law: LowCycleFatigue, u: np.ndarray) -> float:
    return law.damage(drive(law, u).memory)


def rainflow(reversals: list[float]) -> list[tuple[float, float]]:
    """(range, count) of a finished history by the three-point rule of ASTM E1049-85, 5.4.4."""
    counted: list[tuple[float, float]] = []
    points: list[float] = []
    for point in reversals:
        points.append(point)
        while len(points) >= 3:
            X, Y = abs(points[-1] - points[-2]), abs(points[-2] - points[-3])
            if X < Y:
                break
            if len(points) == 3:
                counted.append((Y, 0.5))
                points.pop(0)
            else:
                counted.append((Y, 1.0))
                del points[-3:-1]
    counted += [(abs(b - a), 0.5) for a, b in pairwise(points)]
    return counted


@pytest.mark.parametrize("exponent", [0.2, 0.5, 1.0])
@pytest.mark.parametrize("points", [1, 40])
def test_the_example_of_the_standard(exponent: float, points: int) -> None:
    """−2, 1, −3, 5, −1, 3, −4, 4, −2 counts ranges 3 (½), 4 (1½), 6 (½), 8 (1), 9 (½), for any steps."""
    turns = np.array([0.0, -2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0])
    u = np.interp(np.arange(9 * points + 1) / points, np.arange(10), turns)
    law = LowCycleFatigue(Elastic(1.0), one_cycle=1e3, exponent=exponent)
    # The count starts at u = 0, so the way to −2 is half a cycle of range 2 in addition (ASTM E1049-85, fig. 6).
    counts = [(2.0, 0.5), (3.0, 0.5), (4.0, 1.5), (6.0, 0.5), (8.0, 1.0), (9.0, 0.5)]
    expected = sum(count * (span / 1e3) ** (1.0 / exponent) for span, count in counts)
    assert damage(law, u) == pytest.approx(expected, rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(turns=st.lists(st.integers(-9, 9), min_size=1, max_size=25), elastic=st.sampled_from([0.0, 2.5]))
@example(turns=[1, -1, 2], elastic=2.5)
def test_counting_as_it_happens_is_rainflow_counting(turns: list[int], elastic: float) -> None:
    """The damage at the end is that of the finished history counted by the standard."""
    path = [0.0]
    for turn in turns:  # only reversals
        if turn == path[-1]:
            continue
        if len(path) > 1 and (turn - path[-1]) * (path[-1] - path[-2]) > 0.0:
            path[-1] = float(turn)
        else:
            path.append(float(turn))
    law = LowCycleFatigue(Elastic(1.0), one_cycle=1e3, exponent=0.5, elastic=elastic)
    expected = sum(count * (max(span - elastic, 0.0) / 1e3) ** 2 for span, count in rainflow(path))
    found = damage(law, np.array(path))
    if elastic == 0.0:
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-15)
    else:
        # A start of the history within the range that does no damage may belong to a longer first range.
        assert found == pytest.approx(expected, rel=1e-9, abs=0.5 * ((18.0 + elastic) / 1e3) ** 2)
        assert found >= expected * (1.0 - 1e-9)


def test_constant_cycles_break_after_their_number() -> None:
    """Cycles of range Δ₁·N^(−m) break the law in the N-th cycle."""
    N = 12
    span = 0.3 * N**-0.5
    law = LowCycleFatigue(Elastic(1e6), one_cycle=0.3, exponent=0.5)
    t = np.arange(0.0, 15.0, 1e-3)
    loop = drive(law, 0.5 * span * np.sin(2.0 * np.pi * t))
    peak = np.abs(loop.force)
    broken = t[np.argmax((t > 1.0) & (np.maximum.accumulate(peak[::-1])[::-1] < 1e-6 * peak.max()))]
    # The first quarter cycle is a half cycle of half the range, so the count runs a little ahead of the turns.
    assert N - 1.0 < broken < N + 0.5
    assert law.fractured(loop.memory)


def test_damage_grows_without_jumps() -> None:
    """From step to step the damage never falls and never rises by more than its slope allows."""
    law = LowCycleFatigue(Elastic(1.0), one_cycle=10.0, exponent=0.5)
    u = np.interp(np.linspace(0, 30, 30001), np.arange(31), 2.0 * np.random.default_rng(5).uniform(-1, 1, 31))
    memory, last = law.initial_memory(), 0.0
    for i in range(0, 30001, 10):
        memory = drive(law, u[i : i + 10], memory=memory).memory
        now = law.damage(memory)
        reach = 4.0 * 0.02 / 10.0**2  # ½·d′(Δ)·|Δu| with Δ ≤ 4, ten steps of at most 0.004
        assert 0.0 <= now - last <= 10 * reach + 1e-12
        last = now


def test_fracture_takes_its_stated_travel_and_is_final() -> None:
    """From D = 1 on the force goes to zero linearly within `drop`, with the tangent of that line, and stays zero."""
    law = LowCycleFatigue(Elastic(1e6), one_cycle=0.1, exponent=0.5, drop=0.004)
    # ½·(u/0.1)² = 1 at u = 0.1·√2
    start = 0.1 * np.sqrt(2.0)
    u = np.concatenate(
        [np.linspace(0.0, start, 200), start + np.array([0.001, 0.002, 0.003, 0.004, 0.01]), [0.0, -0.2]]
    )
    loop = drive(law, u)
    expected = 1e6 * u[200:203] * np.array([0.75, 0.5, 0.25])
    assert loop.force[200:203] == pytest.approx(expected, rel=1e-6)
    assert loop.tangent[201] == pytest.approx(0.5 * 1e6 - 1e6 * u[201] / 0.004, rel=1e-6)
    assert loop.force[203:] == pytest.approx(np.zeros(4), abs=1e-6)


def test_strength_falls_with_damage_before_fracture() -> None:
    """φ = 1 − loss·D."""
    law = LowCycleFatigue(Bilinear(k=1e7, Fy=1e5), one_cycle=0.5, exponent=0.5, loss=0.4)
    loop = drive(law, 0.05 * np.sin(np.linspace(0.0, 40.0, 4001)))
    D = law.damage(loop.memory)
    assert 0.1 < D < 1.0
    inner = drive(law.inner, loop.deformation).force[-1]
    assert loop.force[-1] == pytest.approx((1.0 - 0.4 * D) * inner)


def test_more_nested_reversals_than_the_stack_holds() -> None:
    """A long ring-down loses nothing of its damage: the oldest ranges become half cycles."""
    amplitude = 0.98 ** np.arange(5 * DEPTH)
    turns = np.concatenate([[0.0], amplitude * (-1.0) ** np.arange(5 * DEPTH)])
    law = LowCycleFatigue(Elastic(1.0), one_cycle=1e3)
    expected = sum(count * (span / 1e3) ** 2 for span, count in rainflow(list(turns)))
    assert damage(law, turns) == pytest.approx(expected, rel=1e-9)


def test_the_wrapper_nests_in_compositions() -> None:
    """Wrapped laws survive `describe` and `build` within others, and their damage can be read there."""
    worn = LowCycleFatigue(Bilinear(k=1e7, Fy=1e5), one_cycle=0.2)
    law = Parallel((worn, Elastic(1e5)))
    assert build(law.describe()) == law
    memory = drive(law, 0.03 * np.sin(np.linspace(0.0, 12.0, 500))).memory
    assert 0.0 < worn.damage(law.memories(memory)[0]) < 1.0


def test_bad_numbers_are_refused() -> None:
    """1/m in place of m, a loss of everything and a fracture at once raise `InputError`."""
    inner = Elastic(1e6)
    with pytest.raises(InputError, match="exponent"):
        LowCycleFatigue(inner, one_cycle=0.1, exponent=2.0)
    with pytest.raises(InputError, match="loss"):
        LowCycleFatigue(inner, one_cycle=0.1, loss=1.0)
    with pytest.raises(InputError, match="drop"):
        LowCycleFatigue(inner, one_cycle=0.1, drop=0.0)
    with pytest.raises(InputError, match="inner"):
        LowCycleFatigue(1e6, one_cycle=0.1)  # type: ignore[arg-type]
