"""Time-frequency misfit of envelope and phase by Morlet wavelets (Kristeková et al. 2006, 2009)."""

from typing import Any, NamedTuple

import numpy as np
from scipy.fft import next_fast_len

from frame2d.compare.histories import Array, nonzero, pair, step
from frame2d.errors import InputError, known, positive, within


def morlet(history: Array, dt: float, frequencies: Array, w0: float = 6.0) -> Array:
    """Continuous wavelet transform, frequency × time, by the Morlet wavelet π^(−1/4)·exp(iω0t)·exp(−t²/2).

    W(a, b) = ∫ s(t)·ψ*((t − b)/a) dt/√a with a = ω0/(2πf), evaluated exactly in the frequency domain with the
    history continued by zeros. Source: Kristeková et al. 2006 (checked against
    the continuous wavelet transform of `obspy.signal.tf_misfit` 1.5, which names eq. (4); a test compares them).
    """
    n = history.size
    # A wavelet reaches 6 scales (e^-18) to either side: zeros keep it from coming round.
    reach = int(np.ceil(6.0 * w0 / (2.0 * np.pi * frequencies.min()) / dt))
    size = next_fast_len(n + min(reach, 8 * n))
    spectrum = np.fft.fft(history, size)
    omega = 2.0 * np.pi * np.fft.fftfreq(size, dt)
    transform = np.empty((frequencies.size, n), dtype=np.complex128)
    for row, f in enumerate(frequencies):
        a = w0 / (2.0 * np.pi * f)
        window = np.pi**-0.25 * np.sqrt(2.0 * np.pi * a) * np.exp(-0.5 * (a * omega - w0) ** 2)
        transform[row] = np.fft.ifft(spectrum * window)[:n]
    return transform


class TimeFrequencyMisfit(NamedTuple):
    """Misfits of envelope (E) and phase (P): by time and frequency, either, or as one number; scores."""

    frequencies: Array
    #: Frequency × time.
    TFEM: Array
    TFPM: Array
    #: By time.
    TEM: Array
    TPM: Array
    #: By frequency.
    FEM: Array
    FPM: Array
    #: Single-valued, 0 for a perfect fit; EM 1 is an envelope wrong by its whole size, PM 1 a phase of π.
    EM: float
    PM: float

    @property
    def envelope_score(self) -> float:
        """10·exp(−EM): 8 to 10 excellent, 6 to 8 good, 4 to 6 fair, below poor (Kristeková et al. 2009)."""
        return float(10.0 * np.exp(-self.EM))

    @property
    def phase_score(self) -> float:
        """10·(1 − PM), same verdicts (Kristeková et al. 2009)."""
        return 10.0 * (1.0 - self.PM)


def time_frequency_misfit(
    reference: Any,
    compared: Any,
    dt: float,
    band: tuple[float, float],
    *,
    count: int = 60,
    w0: float = 6.0,
    norm: str = "global",
) -> TimeFrequencyMisfit:
    """Envelope and phase misfit over `count` frequencies spaced by their logarithm in `band` (Hz).

    With W of the reference and V of the compared history: ΔE = |V| − |W|, ΔP = |W|·arg(V/W)/π. norm "global"
    divides by the largest |W| (of its mean for TEM, FEM): small amplitudes weigh little; "local" divides by
    |W| where it stands. EM = √(Σ ΔE²/Σ|W|²), PM likewise, for both. Phase is known within ±π only.

    Source: Kristeková, Kristek, Moczo & Day, "Misfit criteria for quantitative comparison of seismograms",
    2006; Kristeková, Kristek & Moczo, "Time-frequency misfit and goodness-of-fit criteria", 2009 (from
    memory).
    """
    x, y = pair(reference, compared)
    dt = step(dt)
    low, high = (positive(f"band[{i}]", value) for i, value in enumerate(band))
    if not low < high <= 0.5 / dt * (1.0 + 1e-9):
        raise InputError(
            f"band is {tuple(band)}; allowed: low < high ≤ {0.5 / dt:g} Hz, half the sampling rate"
        )
    known("norm", norm, ("global", "local"))
    within("w0", w0, 5.0, 100.0, hint="below 5 the wavelet has a mean")
    if count < 2:
        raise InputError(f"count is {count}; allowed: 2 frequencies or more")
    f = np.geomspace(low, high, count)
    W, V = morlet(x, dt, f, w0), morlet(y, dt, f, w0)
    size = np.abs(W)
    largest = nonzero(float(size.max()), "transform of the reference in the band")
    dE = np.abs(V) - size
    dP = size * np.angle(V * np.conj(W)) / np.pi
    total = float(np.sqrt(np.sum(size**2)))
    by_time, by_frequency = size.sum(axis=0), size.sum(axis=1)
    if norm == "global":
        over, over_time, over_frequency = largest, by_time.max(), by_frequency.max()
    else:
        tiny = 1e-12 * largest  # far below anything measured; only keeps 0/0 out
        over, over_time, over_frequency = size + tiny, by_time + count * tiny, by_frequency + x.size * tiny
    return TimeFrequencyMisfit(
        frequencies=f,
        TFEM=dE / over,
        TFPM=dP / over,
        TEM=dE.sum(axis=0) / over_time,
        TPM=dP.sum(axis=0) / over_time,
        FEM=dE.sum(axis=1) / over_frequency,
        FPM=dP.sum(axis=1) / over_frequency,
        EM=float(np.sqrt(np.sum(dE**2)) / total),
        PM=float(np.sqrt(np.sum(dP**2)) / total),
    )


def power_band(history: Array, dt: float, share: float = 0.99) -> tuple[float, float]:
    """Band (Hz) that holds `share` of the power of a history, equal parts left out below and above."""
    power = np.abs(np.fft.rfft(history - history.mean())) ** 2
    total = nonzero(float(power.sum()), "variation of the reference", float(np.max(np.abs(history))) ** 2)
    f = np.fft.rfftfreq(history.size, dt)
    cumulated = np.cumsum(power) / total
    low = float(f[max(1, int(np.searchsorted(cumulated, (1.0 - share) / 2.0)))])
    high = float(f[min(f.size - 1, int(np.searchsorted(cumulated, (1.0 + share) / 2.0)))])
    return (low, max(high, min(2.0 * low, float(f[-1]))))
