"""Composition of laws in a row and side by side."""

import json
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials import (
    Bilinear,
    Elastic,
    Law,
    Parallel,
    Pinched,
    Series,
    Slack,
    TensionOnly,
    ViscousDamper,
    build,
)
from frame2d.materials.drive import drive

PATH = np.array([0.0, 0.04, -0.03, 0.05, 0.02, 0.045, -0.06])


def fine(turns: np.ndarray, points: int) -> np.ndarray:
    legs = [np.linspace(a, b, points + 1)[1:] for a, b in pairwise(turns)]
    return np.concatenate([turns[:1], *legs])


def test_parallel_forces_add() -> None:
    """Force, tangent, energy and memories are those of the laws alone."""
    laws = (Bilinear(k=1e7, Fy=1e5, b=0.02), Pinched.example(), Elastic(2e5))
    whole = Parallel(laws)
    u = fine(PATH, 20)
    loop, parts = drive(whole, u), [drive(law, u) for law in laws]
    for name in ("force", "tangent", "recoverable"):
        assert getattr(loop, name) == pytest.approx(sum(getattr(part, name) for part in parts))
    for memory, part in zip(whole.memories(loop.memory), parts, strict=True):
        assert memory == pytest.approx(part.memory)


def test_springs_in_a_row() -> None:
    """Flexibilities add, for two springs and for five."""
    u = np.linspace(-0.01, 0.01, 5)
    assert drive(Series((Elastic(2e7), Elastic(3e7))), u).force == pytest.approx(1.2e7 * u)
    five = Series(tuple(Elastic(k) for k in (1e7, 2e7, 5e7, 1e6, 1e9)))
    assert drive(five, u).force == pytest.approx(five.stiffness * u)
    assert five.stiffness == pytest.approx(1.0 / (1e-7 + 5e-8 + 2e-8 + 1e-6 + 1e-9))


def test_a_spring_before_a_bilinear_law_is_a_softer_bilinear_law() -> None:
    """k = k₁k₂/(k₁ + k₂), same yield force, post-yield stiffness in the same way."""
    row = Series((Elastic(3e7), Bilinear(k=1e7, Fy=1e5, b=0.05)))
    k, hard = 3e7 * 1e7 / 4e7, 3e7 * 5e5 / 3.05e7
    u = fine(PATH, 25)
    loop, single = drive(row, u), drive(Bilinear(k=k, Fy=1e5, b=hard / k), u)
    assert loop.force == pytest.approx(single.force, abs=1e-3)
    assert loop.tangent[3:] == pytest.approx(single.tangent[3:], rel=1e-6)


def test_the_weaker_of_two_yielding_laws_takes_the_deformation() -> None:
    """Beyond the smaller yield force the stronger law stays where it was."""
    row = Series((Bilinear(k=1e7, Fy=1e5), Bilinear(k=1e7, Fy=2e5)))
    loop = drive(row, np.linspace(0.0, 0.1, 11))
    assert loop.force[2:] == pytest.approx(np.full(9, 1e5))
    weak, strong = row.memories(loop.memory)
    assert weak[0] == pytest.approx(0.08)
    assert strong[0] == 0.0


def test_slack_and_tension_only_laws_in_a_row() -> None:
    """Flat parts do not stop the search: a rod behind slack carries tension after both."""
    row = Series((TensionOnly(k=1e8, Fy=1e6), Slack(Elastic(1e8), 0.002)))
    loop = drive(row, np.array([0.0, 0.001, 0.004, -0.01, 0.006]))
    assert loop.force == pytest.approx([0.0, 0.0, 1e5, 0.0, 2e5], abs=1e-3)


def nested() -> Law:
    inner = Parallel((Bilinear(k=1e7, Fy=1e5, b=0.05), ViscousDamper(1e5)))
    row = Series((Elastic(4e7), inner, Slack(Elastic(6e7), 0.001)))
    return Parallel((row, Series((Elastic(1e7), Parallel((row, Elastic(1e6)))))))


def test_compositions_nest() -> None:
    """Rows in parallel with rows survive JSON, give one force and a consistent tangent."""
    law = nested()
    again = build(json.loads(json.dumps(law.describe())))
    assert again == law
    u = fine(PATH, 60)
    loop = drive(law, u)
    assert np.all(np.isfinite(loop.force))
    assert drive(again, u).force == pytest.approx(loop.force)
    h, checked = 1e-8, 0
    for i in range(30, u.size, 31):
        memory = drive(law, u[:i]).memory
        low, middle, high = (
            drive(law, np.array([u[i] + s * h]), memory=memory.copy()) for s in (-1.0, 0.0, 1.0)
        )
        if abs(high.force[0] - 2.0 * middle.force[0] + low.force[0]) < 1e-5 * law.stiffness * h:
            checked += 1
            slope = (high.force[0] - low.force[0]) / (2.0 * h)
            assert middle.tangent[0] == pytest.approx(slope, abs=1e-5 * law.stiffness)
    assert checked >= 8


@settings(max_examples=25, deadline=None)
@given(turns=st.lists(st.floats(-0.08, 0.08), min_size=2, max_size=8))
def test_a_row_never_creates_energy(turns: list[float]) -> None:
    """Both laws carry the same force and work less recoverable energy never falls."""
    first, second = Pinched.example(), Bilinear(k=1e7, Fy=1.1e5)
    row = Series((first, second))
    loop = drive(row, fine(np.array([0.0, *turns]), 400))
    step = np.abs(np.diff(loop.deformation)).max()
    dissipated = loop.work - loop.recoverable
    assert np.max(np.maximum.accumulate(dissipated) - dissipated) <= 1e7 * len(turns) * step**2 + 1e-6
    assert np.abs(loop.force).max() <= 1.1e5 * (1.0 + 1e-9)


def test_numbers_in_place_of_laws_are_refused() -> None:
    """A missing law, or a stiffness in its place, raises `InputError` naming the composition."""
    with pytest.raises(InputError, match=r"Series\.laws"):
        Series((Elastic(1e7),))
    with pytest.raises(InputError, match=r"Parallel\.laws"):
        Parallel((1e7, 2e7))  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"Parallel\.laws"):
        Parallel(5)  # type: ignore[arg-type]
