"""What the guard looks at, against the same conditions written out."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.hybrid import Limits, Reading
from frame2d.hybrid import watch as w
from frame2d.hybrid.computed import Energies
from frame2d.hybrid.energy import EnergyMonitor

LIMITS = Limits(
    ((-0.05, -0.01), (0.04, 0.02)), (2.5e5, 1e4), 0.05, (0.01, 0.002), 0.002, flat_displacement=3, flat_force=2,
    energy_floor=50.0,
)  # fmt: skip


def made(limits=LIMITS):
    bounds = limits.bounds(2)
    monitor = EnergyMonitor(2, bounds.floor)
    return bounds, monitor, w.Watch(limits, bounds, monitor)


BOUNDS, MONITOR, WATCH = made()
number = st.one_of(
    st.floats(-0.06, 0.06), st.sampled_from([0.04, 0.01, -0.05, 0.0, np.nan, np.inf, -np.inf, 1e100])
)
pair = st.tuples(number, number).map(np.array)


@settings(max_examples=200, deadline=None)
@given(
    st.tuples(st.floats(-0.05, 0.04), st.floats(-0.01, 0.02)).map(np.array),
    pair,
    st.sampled_from([0.25, 0.1, 0.0, -1.0, np.nan]),
)
def test_a_command_is_free_to_leave_only_within_every_limit(before, target, seconds):
    """The verdict is 'free' exactly when stroke, step and velocity of every freedom are within their limits."""
    b, change = BOUNDS, np.abs(target - before)
    good = np.isfinite(target).all() and seconds > 0.0
    good = good and (b.low <= target).all() and (target <= b.high).all()
    good = good and (change <= b.step).all() and (change <= b.velocity * seconds).all()
    verdict, i = WATCH.leaving(before, target, seconds)
    assert (verdict == w.FREE) == bool(good)
    if verdict == w.BEYOND_STROKE:
        assert not b.low[i] <= target[i] <= b.high[i]
    if verdict == w.BEYOND_STEP:
        assert change[i] > b.step[i]
    if verdict == w.BEYOND_VELOCITY:
        assert change[i] > b.velocity[i] * seconds


@settings(max_examples=200, deadline=None)
@given(pair, pair, st.tuples(st.floats(-0.05, 0.05), st.floats(-0.02, 0.02)).map(np.array))
def test_a_reading_passes_unnoticed_only_below_every_warning(displacement, share, wanted):
    """The verdict is 'usual' exactly when all is finite and no share of a limit is beyond its warning."""
    force = 20.0 * share * BOUNDS.force
    MONITOR.begin(wanted, Reading(displacement, force))  # no step, hence no energy error
    WATCH.begin()
    WATCH.stands(Reading(displacement - 1.0, force - 1.0))
    verdict = WATCH.seen(displacement, force, wanted, np.ones(2), Energies(100.0, 0.0))
    finite = np.isfinite(displacement).all() and np.isfinite(force).all()
    assert (verdict == w.NOT_FINITE) == (not finite)
    if not finite:
        return
    b = BOUNDS
    middle, half = 0.5 * (b.low + b.high), 0.5 * (b.high - b.low)
    shares = {
        "stroke": (np.abs(displacement - middle) / half).max(),
        "force": (np.abs(force) / b.force).max(),
        "tracking": (np.abs(displacement - wanted) / b.tracking).max(),
        "energy": 0.0,
    }
    assert WATCH.shares == pytest.approx(shares, rel=1e-12, abs=1e-12)
    assert (verdict == w.USUAL) == (max(shares.values()) <= LIMITS.warning_share)


def test_a_repeated_channel_is_named():
    """Repetitions count only while the freedom moves, clear with the first change, and name channel and freedom."""
    _, monitor, watch = made(replace(LIMITS, tracking=1.0))
    first = Reading(np.array([0.001, 0.001]), np.array([10.0, 20.0]))
    monitor.begin(np.zeros(2), first)
    watch.stands(first)
    calm, moving = np.zeros(2), np.array([0.0, 1e-3])

    def seen(u, f, moved):
        return watch.seen(np.array([0.001, u]), np.array([10.0, f]), np.zeros(2), moved, None)

    assert [seen(0.001, 20.0, calm) for _ in range(9)] == [w.USUAL] * 9
    assert seen(0.001, 21.0, moving) == w.USUAL
    assert seen(0.001, 22.0, moving) == w.USUAL
    assert seen(0.002, 23.0, moving) == w.USUAL
    assert [seen(0.002, 24.0 + k, moving) for k in range(3)] == [w.USUAL, w.USUAL, w.FLAT]
    assert watch.flat_line() == ("displacement", 1, 3)
