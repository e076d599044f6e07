"""Processing keeps what it must, and measures are exact for acceleration that is linear between samples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import cumulative_simpson

from frame2d.errors import InputError
from frame2d.motions import (
    Record,
    band_pass,
    baseline,
    cumulative_absolute_velocity,
    displacement,
    end_of,
    measures,
    pga,
    pgv,
    resample,
    response_spectra,
    significant_duration,
    taper,
    velocity,
    zero_end,
)

samples = st.lists(st.floats(-10, 10), min_size=5, max_size=60).map(np.array)


def noise(n=2000, dt=0.01, seed=3):  # type: ignore[no-untyped-def]
    a = np.random.default_rng(seed).normal(size=n) * np.sin(np.pi * np.arange(n) / n)
    return Record(a, dt, "noise", True)


def finely(record, parts=200):  # type: ignore[no-untyped-def]
    """The same polygon with many points."""
    t = np.linspace(0.0, record.duration, parts * (record.acceleration.size - 1) + 1)
    return t, np.interp(t, record.time, record.acceleration)


@settings(max_examples=25, deadline=None)
@given(a=samples)
def test_measures_agree_with_fine_integration(a):
    """Velocity, displacement, Arias intensity, peaks and ∫|a| agree with Simpson's rule on a fine polygon."""
    record = Record(a, 0.1, "r")
    t, fine = finely(record)
    v = cumulative_simpson(fine, x=t, initial=0.0)
    d = cumulative_simpson(v, x=t, initial=0.0)
    assert np.allclose(velocity(record), v[::200], atol=1e-10)
    assert np.allclose(displacement(record), d[::200], atol=1e-9)
    assert pgv(record) == pytest.approx(np.abs(v).max(), rel=1e-4, abs=1e-9)
    energy = cumulative_simpson(fine**2, x=t, initial=0.0)
    if energy[-1] > 1e-6:
        found = measures(record)
        assert found.arias == pytest.approx(np.pi / 2 / 9.80665 * energy[-1], rel=1e-9)
        assert found.pga == np.abs(a).max() and found.duration_5_75 <= found.duration_5_95 <= record.duration
    trapezoid = np.sum(0.5 * (np.abs(fine[1:]) + np.abs(fine[:-1])) * np.diff(t))
    assert cumulative_absolute_velocity(record) == pytest.approx(trapezoid, rel=1e-4, abs=1e-9)


def test_significant_duration_of_a_constant():
    """A constant acceleration builds up evenly: 90 % of its duration, and 70 % for 5-75."""
    flat = Record(np.full(1001, 2.0), 0.01, "flat")
    assert significant_duration(flat) == pytest.approx(9.0, rel=1e-12)
    assert significant_duration(flat, 0.05, 0.75) == pytest.approx(7.0, rel=1e-12)
    assert significant_duration(flat, 0.0, 1.0) == pytest.approx(10.0, rel=1e-12)
    with pytest.raises(InputError, match="no motion"):
        significant_duration(Record([0.0, 0.0], 0.01, "still"))
    with pytest.raises(InputError, match="shares"):
        significant_duration(flat, 5, 95)


@settings(max_examples=25, deadline=None)
@given(a=samples, dt=st.sampled_from([0.005, 0.02]))
def test_zero_end_is_exact(a, dt):
    """Velocity and displacement end at zero to rounding; with displacement switched off, velocity alone."""
    record = Record(a, dt, "r")
    scale = max(np.abs(a).max(), 1e-3)
    v, d = end_of(zero_end(record))
    assert abs(v) < 1e-11 * scale and abs(d) < 1e-11 * scale
    v, _ = end_of(zero_end(record, displacement=False))
    assert abs(v) < 1e-11 * scale
    assert zero_end(record).acceleration[0] == a[0]


def test_zero_end_leaves_a_record_at_rest_alone():
    """A record that ends at rest is not changed."""
    rest = zero_end(noise())
    assert np.allclose(zero_end(rest).acceleration, rest.acceleration, atol=1e-12)


@pytest.mark.parametrize("degree", [0, 1, 3])
def test_a_polynomial_trend_is_taken_off(degree):
    """What is added as a trend of the fitted degree is removed again."""
    record = baseline(noise(), degree)
    s = record.time / record.duration
    bent = Record(record.acceleration + 0.3 * s**degree - 0.1, record.dt, "bent")
    assert np.allclose(baseline(bent, degree).acceleration, record.acceleration, atol=1e-10)


def test_a_trend_of_the_velocity_is_taken_off():
    """A constant offset of acceleration is a line in velocity; what is left has no line through the origin."""
    quiet = zero_end(noise())
    fixed = baseline(Record(quiet.acceleration + 0.02, quiet.dt, "offset"), 0, of="velocity")
    assert abs(np.sum(fixed.time * velocity(fixed))) < 1e-9 * np.sum(fixed.time * np.abs(velocity(fixed)))
    assert np.ptp(fixed.acceleration - quiet.acceleration) < 1e-12


@pytest.mark.parametrize(("hertz", "gain"), [(0.1, 0.5), (25.0, 0.5), (2.0, 1.0)])
def test_the_band_pass_has_its_gains_and_no_phase(hertz, gain):
    """A sine keeps its phase; at the corners half of it passes, in the middle all."""
    t = 0.005 * np.arange(40000)
    sine = Record(np.sin(2 * np.pi * hertz * t), 0.005, "sine")
    passed = band_pass(sine, 0.1, 25.0, 4).acceleration
    middle = slice(15000, 25000)
    assert np.allclose(passed[middle], gain * sine.acceleration[middle], atol=0.01)


def test_kept_pads_start_and_end_at_rest():
    """With pads the filtered velocity is near zero at both ends, and the record longer."""
    wide = band_pass(noise(), 0.2, 20.0, keep_pads=True)
    assert wide.acceleration.size == 2000 + 2 * int(np.ceil(1.5 * 4 / 0.2 / 0.01))
    v = velocity(wide)
    assert abs(v[-1]) < 1e-3 * np.abs(v).max()


@pytest.mark.parametrize(
    ("low", "high", "order", "words"),
    [
        (None, None, 4, "neither"),
        (5.0, 1.0, 4, "low below high"),
        (0.1, 50.0, 4, "high corner"),
        (0.0, 20.0, 4, "low corner"),
        (0.1, 20.0, 2.5, "order"),
    ],
)
def test_wrong_corners_are_named(low, high, order, words):
    """Corners out of order, out of range, or missing are named."""
    with pytest.raises(InputError, match=words):
        band_pass(noise(), low, high, order)


def test_a_linear_resample_keeps_the_spectrum():
    """Halving the step on the polygon changes nothing: neither peaks nor response spectrum."""
    record = noise(500)
    fine = resample(record, 0.0025, "linear")
    assert np.allclose(fine.acceleration[::4], record.acceleration)
    T = np.array([0.05, 0.3, 1.0])
    assert np.allclose(response_spectra(fine, T).SD, response_spectra(record, T).SD, rtol=1e-9)


def test_a_band_limited_resample_keeps_slow_motion_and_drops_the_rest():
    """A 2 Hz sine survives a longer step, one above the new limit does not fold back."""
    t = 0.005 * np.arange(4000)
    slow, fast = np.sin(2 * np.pi * 2 * t), np.sin(2 * np.pi * 40 * t)
    coarse = resample(Record(slow + fast, 0.005, "two"), 0.02)
    middle = slice(100, 900)
    assert coarse.acceleration.size == 1000
    assert np.allclose(coarse.acceleration[middle], slow[::4][middle], atol=0.02)


@pytest.mark.parametrize(
    ("dt", "method", "words"),
    [
        (0.02, "linear", "band-limited"),
        (0.005 * np.pi, "band-limited", "whole numbers"),
        (99.0, "linear", "duration"),
    ],
)
def test_wrong_steps_are_named(dt, method, words):
    """A step that would alias, has no ratio, or exceeds the record is named."""
    with pytest.raises(InputError, match=words):
        resample(noise(), dt, method)


def test_the_taper_starts_and_ends_at_zero():
    """A taper leaves the middle alone, and each step of processing is on record with the raw samples."""
    raw = noise()
    done = taper(baseline(raw), 0.1)
    assert done.acceleration[0] == 0.0 and done.acceleration[-1] == pytest.approx(0.0, abs=1e-12)
    assert np.allclose(done.acceleration[300:1700], baseline(raw).acceleration[300:1700])
    assert done.raw is raw and [note.split()[0] for note in done.provenance] == ["baseline:", "cosine"]
    assert pga(raw) == np.abs(raw.acceleration).max()
