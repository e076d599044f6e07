"""Every index against closed forms and published check values."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.compare import (
    compare,
    correlation_delay,
    end_work_error,
    frequency_index,
    largest_difference,
    largest_work_error,
    local_delay,
    nrmse,
    peak,
    peak_error,
    residual_difference,
    rmse,
    russell,
    signal_energy_error,
    sprague_geers,
    tracking_indicator,
    work,
    work_error,
)

DT = 1.0 / 256.0


def noise(delay: float = 0.0, gain: float = 1.0, *, seconds: float = 60.0, top: float = 5.0) -> np.ndarray:
    """Periodic random signal with a flat spectrum up to `top` Hz, delayed exactly."""
    n = int(seconds / DT)
    f = np.fft.rfftfreq(n, DT)
    rng = np.random.default_rng(1)
    a = np.where((f > 0) & (f <= top), rng.normal(size=f.size) + 1j * rng.normal(size=f.size), 0.0)
    return gain * np.fft.irfft(a * np.exp(-2j * np.pi * f * delay), n) * n**0.5


def test_small_worked_example() -> None:
    """Nine samples worked by hand: RMSE, three denominators, peak, and both energy errors."""
    r = np.array([0, 1, 2, 1, 0, -1, -2, -1, 0.0])
    s = np.array([0, 1.1, 1.9, 1.2, 0.1, -0.9, -2.2, -1.0, 0])
    fr, fs = 10 * r, 9.5 * s + np.array([0, 0.5, 0, -0.5, 0, -0.5, 0, 0.5, 0])
    assert rmse(r, s) == pytest.approx(0.115470053838, rel=1e-9)
    assert nrmse(r, s, "rms").value == pytest.approx(0.1, rel=1e-9)
    assert nrmse(r, s, "range").value == pytest.approx(0.0288675134595, rel=1e-9)
    assert nrmse(r, s, "peak").value == pytest.approx(0.057735026919, rel=1e-9)
    assert abs(peak_error(r, s)) == pytest.approx(0.1, rel=1e-9)
    assert np.max(np.abs(work(r, fr))) == pytest.approx(20.0, rel=1e-9)
    assert work(s, fs)[-1] == pytest.approx(2.05, rel=1e-9)
    assert end_work_error(r, fr, s, fs) == pytest.approx(0.1025, rel=1e-9)
    assert largest_work_error(r, fr, s, fs) == pytest.approx(0.2245, rel=1e-9)


def test_gain_and_lag_of_a_random_pair() -> None:
    """A pair with gain 0.95 and 12 ms lag, 0 to 5 Hz, scores what the literature's definitions give."""
    table = compare(noise(), noise(0.012, 0.95), DT)
    assert table["nrmse_range"] == pytest.approx(0.034, abs=0.006)
    assert table["nrmse_rms"] == pytest.approx(0.215, abs=0.01)
    assert table["nrmse_std"] == pytest.approx(table["nrmse_rms"], rel=1e-6)
    assert table["nrmse_peak"] == pytest.approx(0.062, abs=0.01)
    assert table["signal_energy_error"] == pytest.approx(0.95**2 - 1.0, abs=1e-9)
    assert table["fei_amplitude"] == pytest.approx(0.945, abs=0.002)
    assert table["fei_delay"] == pytest.approx(0.012, abs=2e-6)
    assert table["correlation_delay"] == pytest.approx(0.012, abs=5e-5)
    assert table["sprague_geers_magnitude"] == pytest.approx(-0.05, abs=1e-9)
    assert table["sprague_geers_phase"] == pytest.approx(0.069, abs=0.003)
    assert table["local_delay"] == pytest.approx(0.012, rel=0.01)
    assert table["local_gain"] == pytest.approx(0.95, abs=0.01)
    assert table["tracking_indicator"] > 0.0


def test_tracking_indicator_of_a_sine() -> None:
    """One sine cycle of amplitude a and lag τ adds πa² sin ωτ; lead subtracts it; an amplitude error adds
    nothing.
    """
    t = np.arange(0, 4.0 + 1e-9, 1e-3)
    omega, tau, a = 2 * np.pi, 0.03, 2.0
    c = a * np.sin(omega * t)
    late = tracking_indicator(c, a * np.sin(omega * (t - tau)))
    assert (late[-1] - late[-1001]) == pytest.approx(np.pi * a**2 * np.sin(omega * tau), rel=1e-5)
    early = tracking_indicator(c, a * np.sin(omega * (t + tau)))
    assert early[-1] == pytest.approx(-late[-1], rel=1e-3)
    assert abs(tracking_indicator(c, 0.9 * c)[-1]) < 1e-9


@settings(max_examples=20, deadline=None)
@given(st.floats(-0.05, 0.05), st.floats(0.5, 1.5))
def test_sine_of_known_gain_and_delay(delay: float, gain: float) -> None:
    """For a pure sine every delay index returns the delay and every gain index the gain."""
    t = np.arange(0, 10.0, DT)
    x, y = np.sin(2 * np.pi * 2.0 * t), gain * np.sin(2 * np.pi * 2.0 * (t - delay))
    fei = frequency_index(x, y, DT)
    assert fei.delay == pytest.approx(delay, abs=1e-9)
    assert fei.amplitude == pytest.approx(gain, rel=1e-9)
    assert fei.frequency == pytest.approx(2.0, rel=1e-9)
    found = correlation_delay(x, y, DT, longest=0.2)
    assert found.delay == pytest.approx(delay, abs=2e-4)
    local = local_delay(x, y, DT)
    assert local.mean_delay == pytest.approx(delay, abs=1e-4)
    assert local.mean_gain == pytest.approx(gain, rel=1e-3)
    sg = sprague_geers(x, y)
    assert sg.magnitude == pytest.approx(gain - 1.0, abs=1e-9)
    assert sg.phase == pytest.approx(2.0 * 2.0 * abs(delay), abs=1e-6)


def test_correlation_delay_of_a_transient_with_offset() -> None:
    """The lag of a pulse is found between samples, though the sensor has an offset."""
    t = np.arange(0, 20.0, 0.01)

    def pulse(shift: float) -> np.ndarray:
        return np.exp(-(((t - 8.0 - shift) / 0.5) ** 2)) * np.sin(5 * (t - shift))

    assert correlation_delay(pulse(0.0), 3.0 + pulse(0.0137), 0.01).delay == pytest.approx(0.0137, abs=1e-4)
    assert correlation_delay(pulse(0.0), -pulse(0.0), 0.01).delay != pytest.approx(0.0, abs=0.1)


def test_russell() -> None:
    """Doubling the signal gives m = 3/2: magnitude log10(2.5), no phase, combined √(π/4)·log10(2.5)."""
    x = noise(seconds=4.0)
    double = russell(x, 2 * x)
    assert double.magnitude == pytest.approx(np.log10(2.5))
    assert double.phase == pytest.approx(0.0, abs=1e-7)
    assert double.combined == pytest.approx((np.pi / 4) ** 0.5 * np.log10(2.5))
    assert russell(x, 0.5 * x).magnitude == pytest.approx(-np.log10(2.5))


def test_peaks_per_sign_and_residual() -> None:
    """Peaks are compared side by side with their times, and what remains at the end in its own unit."""
    x = np.array([0.0, 3.0, -2.0, 1.0, 0.5])
    y = np.array([0.0, 2.0, 3.3, -2.5, 0.7])
    up, down = peak(x, y, 0.1, 1), peak(x, y, 0.1, -1)
    assert (up.error, up.lateness) == (pytest.approx(0.1), pytest.approx(0.1))
    assert (down.reference, down.compared) == (-2.0, -2.5)
    assert (down.error, down.lateness) == (pytest.approx(0.25), pytest.approx(0.1))
    assert largest_difference(x, y) == pytest.approx(5.3 / 3.0)
    assert residual_difference(x, y) == pytest.approx(0.2)
    assert residual_difference(x, y, 2) == pytest.approx((-3.5 + 0.2) / 2)


def test_both_energy_errors_differ() -> None:
    """The same pair has one signal energy error and another work error: they are different indices."""
    t = np.linspace(0, 1, 2001)
    u = np.sin(2 * np.pi * t)
    F = u + 0.5 * np.cos(2 * np.pi * t)
    G = u + 0.4 * np.cos(2 * np.pi * t)
    assert work(u, F)[-1] == pytest.approx(0.5 * np.pi, rel=1e-5)
    assert work_error(u, F, u, G) == pytest.approx(-0.2, rel=1e-6)
    assert signal_energy_error(F, G) == pytest.approx((1 + 0.16) / (1 + 0.25) - 1, rel=1e-2)


def test_number_and_denominator_travel_together() -> None:
    """A normalised error prints its denominator and its size."""
    text = str(nrmse([0.0, 2.0, -2.0], [0.0, 2.2, -2.0], "range"))
    assert "max x − min x = 4" in text
    assert float(nrmse([0.0, 2.0, -2.0], [0.0, 2.2, -2.0], "range")) == pytest.approx(0.2 / 3**0.5 / 4)
