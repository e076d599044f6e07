"""The multilinear law: exact backbones on either side, kinematic hardening, refusal of what it cannot be."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials import Multilinear
from frame2d.materials.drive import drive


@st.composite
def side(draw: st.DrawFn, first: float) -> tuple[tuple[float, float], ...]:
    """Points of a concave backbone that starts with slope `first`."""
    count = draw(st.integers(2, 10))
    lengths = draw(st.lists(st.floats(0.2, 3.0), min_size=count, max_size=count))
    ratios = draw(st.lists(st.floats(0.0, 0.95), min_size=count - 1, max_size=count - 1))
    slopes = first * np.cumprod([1.0, *ratios])
    u = np.cumsum(lengths)
    F = np.cumsum(slopes * lengths)
    return tuple((float(a), float(b)) for a, b in zip(u, F, strict=True))


@settings(max_examples=60, deadline=None)
@given(up=side(2.0), down=side(2.0))
def test_both_virgin_branches_pass_their_points(
    up: tuple[tuple[float, float], ...], down: tuple[tuple[float, float], ...]
) -> None:
    """Loaded from rest to either side, the force passes every point and goes on with the last slope."""
    law = Multilinear(up, tuple((-u, -F) for u, F in down))
    for points, sign in ((up, 1.0), (down, -1.0)):
        u, F = np.array(points).T
        assert drive(law, sign * u).force == pytest.approx(sign * F, rel=1e-9)
        slope = (F[-1] - F[-2]) / (u[-1] - u[-2])
        beyond = drive(law, sign * np.array([u[-1] + 5.0])).force[0]
        assert beyond == pytest.approx(sign * (F[-1] + 5.0 * slope), rel=1e-9)


def test_a_symmetric_branch_is_the_backbone_doubled() -> None:
    """After a reversal the corners lie twice as far as on the backbone (Masing)."""
    u, F = np.array([0.01, 0.02, 0.05, 0.08]), np.array([1.0e5, 1.5e5, 1.8e5, 1.9e5])
    law = Multilinear(tuple(zip(u.tolist(), F.tolist(), strict=True)))
    branch = drive(law, np.concatenate([[0.06], 0.06 - 2.0 * u[:2]])).force
    peak = 1.8e5 + 0.01 * 1e4 / 0.03
    assert branch[0] == pytest.approx(peak)
    assert branch[1:] == pytest.approx(peak - 2.0 * F[:2])


def test_an_unsymmetric_cycle_closes_on_both_backbones() -> None:
    """A cycle between a point of each backbone comes back to the same two forces."""
    law = Multilinear.example()
    loop = drive(law, np.array([0.06, -0.02, 0.06, -0.02, 0.06]))
    assert loop.force == pytest.approx([190e3, -110e3, 190e3, -110e3, 190e3])


def test_partial_cycles_return_to_where_they_began() -> None:
    """A thousand small reversals leave the force where it was."""
    law = Multilinear.example()
    u = np.concatenate([[0.05], np.tile([0.045, 0.05], 1000)])
    force = drive(law, u).force
    assert force[-1] == pytest.approx(force[0], rel=1e-12)


def test_trilinear_has_three_slopes() -> None:
    """`trilinear` is the multilinear law of two yield forces."""
    law = Multilinear.trilinear(k=1e7, F1=1e5, F2=1.5e5, b1=0.25, b2=0.02)
    assert drive(law, np.array([0.01, 0.03, 0.04, 0.5])).force == pytest.approx(
        [1e5, 1.5e5, 1.52e5, 1.5e5 + 0.02 * 1e7 * 0.47]
    )


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (((0.01, 1e5), (0.02, 0.9e5)), "softens"),
        (((0.01, 1e5), (0.02, 3e5)), "stiffens"),
        (((0.01, 1e5),), "has 1 points; allowed: 2 to 10"),
        (((0.0, 0.0), (0.02, 3e5)), "away from the origin"),
        (((0.01, 1e5), (0.01, 2e5)), "away from the origin"),
        (((-0.01, -1e5), (-0.02, -2e5)), "away from the origin"),
        (((0.01, 1e5), (0.02,)), "pairs"),
        (3.0, "pairs"),
    ],
)
def test_backbones_that_are_not_concave_are_refused(points: object, message: str) -> None:
    """Softening, stiffening, too few and wrongly placed points each have their message."""
    with pytest.raises(InputError, match=f"Multilinear.positive.*{message}"):
        Multilinear(points)  # type: ignore[arg-type]


def test_sides_must_start_alike() -> None:
    """Two different initial slopes are refused: they would create energy around the origin."""
    with pytest.raises(InputError, match=r"Multilinear\.negative starts with slope"):
        Multilinear(((0.01, 1e5), (0.02, 1.1e5)), ((-0.01, -2e5), (-0.02, -2.1e5)))
