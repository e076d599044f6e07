"""Time-frequency misfit: closed forms, and an independent implementation."""

import numpy as np
import pytest

from frame2d.compare import morlet, time_frequency_misfit
from frame2d.compare.time_frequency import power_band
from frame2d.errors import InputError

DT = 0.02
T = np.arange(0, 40.0, DT)


def chirp(stretch: float = 1.0, gain: float = 1.0, phase: float = 0.0) -> np.ndarray:
    """Windowed sweep from 0.5 to 4 Hz."""
    t = stretch * T
    return gain * np.exp(-(((T - 18.0) / 8.0) ** 2)) * np.cos(2 * np.pi * (0.5 * t + 0.04 * t**2) + phase)


def test_wavelet_of_a_sine() -> None:
    """The transform of a sine at its own frequency is π^(-1/4)·√(2πa)/2 times its amplitude, away from the
    ends.
    """
    f = 1.0
    W = morlet(3.0 * np.cos(2 * np.pi * f * T), DT, np.array([f]))
    a = 6.0 / (2 * np.pi * f)
    assert np.abs(W[0, T.size // 2]) == pytest.approx(
        3.0 / 2.0 * np.pi**-0.25 * (2 * np.pi * a) ** 0.5, rel=1e-6
    )


def test_pure_gain_and_pure_phase() -> None:
    """A gain of 1.2 is an envelope misfit of 0.2 without phase; a phase shift of 0.3 rad is 0.3/π without
    envelope.
    """
    louder = time_frequency_misfit(chirp(), chirp(gain=1.2), DT, (0.3, 6.0))
    assert pytest.approx(0.2, rel=1e-9) == louder.EM
    assert pytest.approx(0.0, abs=1e-9) == louder.PM
    assert louder.envelope_score == pytest.approx(10 * np.exp(-0.2))
    turned = time_frequency_misfit(chirp(), chirp(phase=0.3), DT, (0.3, 6.0))
    assert pytest.approx(0.3 / np.pi, rel=0.02) == turned.PM
    assert turned.EM < 0.02
    assert turned.phase_score == pytest.approx(10 * (1 - turned.PM))
    local = time_frequency_misfit(chirp(), chirp(gain=1.2), DT, (0.3, 6.0), norm="local")
    assert local.TEM[500:1500] == pytest.approx(0.2, rel=1e-6)


@pytest.mark.parametrize("norm", ["global", "local"])
def test_against_obspy(norm: str) -> None:
    """Misfits agree with obspy's implementation to the half step by which its wavelet is shifted."""
    tf = pytest.importorskip("obspy.signal.tf_misfit")
    x, y = chirp(), chirp(stretch=1.002, gain=0.9)
    mine = time_frequency_misfit(x, y, DT, (0.3, 6.0), count=40, norm=norm)
    options = {"dt": DT, "fmin": 0.3, "fmax": 6.0, "nf": 40, "w0": 6, "norm": norm}
    single = (mine.EM, mine.PM)
    assert single == pytest.approx((tf.em(y, x, **options), tf.pm(y, x, **options)), rel=1e-4)
    assert mine.envelope_score == pytest.approx(tf.eg(y, x, **options), rel=1e-4)
    assert mine.phase_score == pytest.approx(tf.pg(y, x, **options), rel=1e-4)
    inner = slice(300, 1700)
    for name, theirs in (("TEM", tf.tem), ("TPM", tf.tpm)):
        other = theirs(y, x, **options)
        assert getattr(mine, name)[inner] == pytest.approx(other[inner], abs=0.02 * np.max(np.abs(other)))
    for name, theirs in (("FEM", tf.fem), ("FPM", tf.fpm)):
        other = theirs(y, x, **options)
        assert getattr(mine, name) == pytest.approx(other, abs=0.02 * np.max(np.abs(other)))


def test_bad_bands() -> None:
    """A band over half the sampling rate, upside down, or a zero reference is refused."""
    with pytest.raises(InputError, match="half the sampling rate"):
        time_frequency_misfit(chirp(), chirp(), DT, (1.0, 30.0))
    with pytest.raises(InputError, match="low < high"):
        time_frequency_misfit(chirp(), chirp(), DT, (3.0, 1.0))
    with pytest.raises(InputError, match="transform of the reference"):
        time_frequency_misfit(0 * chirp(), chirp(), DT, (0.3, 6.0))
    with pytest.raises(InputError, match="norm"):
        time_frequency_misfit(chirp(), chirp(), DT, (0.3, 6.0), norm="globl")


def test_band_of_power() -> None:
    """The band of a two-tone signal spans its tones."""
    low, high = power_band(np.cos(2 * np.pi * T) + np.cos(2 * np.pi * 3 * T), DT)
    assert (low, high) == (pytest.approx(1.0, abs=0.03), pytest.approx(3.0, abs=0.03))
