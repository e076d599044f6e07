"""The pinched law without deterioration, against the polygon worked out by hand in case HY-6."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials.drive import drive
from frame2d.materials.pinched import Pinched

LAW = Pinched(
    positive=((0.01, 100e3), (0.04, 130e3)), negative=((-0.015, -90e3), (-0.05, -110e3)), kf=0.3, kd=0.4
)
TURNS = np.array([0.0, 0.03, -0.03, 0.03, -0.04, 0.04, 0.0])


def fine(turns: np.ndarray, points: int) -> np.ndarray:
    legs = [np.linspace(a, b, points + 1)[1:] for a, b in pairwise(turns)]
    return np.concatenate([turns[:1], *legs])


def test_forces_at_the_turning_points() -> None:
    """One step from turn to turn gives the forces of HY-6."""
    expected = [0.0, 120e3, -98571.4286, 120e3, -104285.714, 130e3, -52328.4189]
    assert drive(LAW, TURNS).force == pytest.approx(expected, rel=1e-6)


def test_work_up_to_the_turning_points() -> None:
    """The work up to each turn is that of HY-6."""
    loop = drive(LAW, fine(TURNS, 20000))
    expected = [2700.0, 5000.78571, 7263.94898, 10278.8061, 14183.9422, 14185.1595]
    assert loop.work[20000::20000] == pytest.approx(expected, rel=1e-6)


def test_residual_deformations_and_break_points() -> None:
    """Zero forces and break points lie where HY-6 has them."""
    turns = list(TURNS)
    residual = [0.018, -0.0135714286, 0.018, -0.0226190476, 0.027]
    broken = [(0.0108, -27000.0), (-0.00814285714, 36000.0), (0.0108, -29571.4286), (-0.0135714286, 36000.0)]
    broken.append((0.0162, -31285.7143))
    for i, (ur, (ub, Fb)) in enumerate(zip(residual, broken, strict=True)):
        loop = drive(LAW, np.array([*turns[: i + 2], ur, ub]))
        assert loop.force[-2] == pytest.approx(0.0, abs=1e-3)
        assert loop.force[-1] == pytest.approx(Fb, rel=1e-6)


def test_backbone_alone() -> None:
    """Monotonic work to either second point is that of HY-6."""
    assert drive(LAW, np.linspace(0.0, 0.04, 40001)).work[-1] == pytest.approx(3950.0, rel=1e-6)
    assert drive(LAW, np.linspace(0.0, -0.05, 50001)).work[-1] == pytest.approx(4175.0, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(turns=st.lists(st.floats(-0.06, 0.06), min_size=2, max_size=12))
@example(turns=[0.03125, -0.015, 0.015625])
def test_one_step_is_as_good_as_many(turns: list[float]) -> None:
    """Between two turns the force does not depend on the number of steps, whatever the history."""
    path = np.array([0.0, *turns])
    assert drive(LAW, fine(path, 37)).force[::37] == pytest.approx(drive(LAW, path).force, abs=1e-4)


def test_a_partial_reversal_comes_back_to_the_path_it_left() -> None:
    """Unloading a little and loading again changes nothing afterwards."""
    straight = drive(LAW, np.array([0.0, 0.03, -0.03, 0.02])).force[-1]
    assert drive(LAW, np.array([0.0, 0.03, -0.03, 0.005, 0.0045, 0.02])).force[-1] == pytest.approx(
        straight, rel=1e-12
    )


@pytest.mark.parametrize(
    "change",
    [
        {"negative": ((0.015, 90e3), (0.05, 110e3))},
        {"positive": ((0.04, 130e3), (0.01, 100e3))},
        {"positive": ((0.01, 100e3), (0.02, 300e3))},
        {"positive": (0.01, 100e3)},
        {"kf": 1.2},
        {"kd": -0.1},
    ],
)
def test_bad_backbones_are_refused(change: dict) -> None:
    """Lost signs, swapped points, steeper second slopes and shares beyond 1 raise `InputError` naming the field."""
    fields = {"positive": LAW.positive, "negative": LAW.negative, **change}
    with pytest.raises(InputError, match=next(iter(change))):
        Pinched(**fields)
