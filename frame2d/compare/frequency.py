"""Frequency evaluation index: gain, phase and delay from the spectra of two histories (Guo et al. 2014)."""

from typing import Any, NamedTuple

import numpy as np

from frame2d.compare.histories import nonzero, pair, step
from frame2d.errors import InputError, positive


class FrequencyIndex(NamedTuple):
    """Gain, phase (rad, negative for lag), equivalent frequency (Hz), delay (s, positive for lag)."""

    amplitude: float
    phase: float
    frequency: float
    delay: float


def frequency_index(
    reference: Any, compared: Any, dt: float, *, power: float = 2.0, band: tuple[float, float] | None = None
) -> FrequencyIndex:
    """FEI = Σ(O/I)|I|^l / Σ|I|^l over frequencies above 0, O and I the spectra of compared and reference.

    A = |FEI|, φ = arg FEI, feq = Σ|I|^l f/Σ|I|^l, delay = −φ/(2π·feq). `power` is l, `band` limits the
    frequencies (Hz). Phase is known within ±π only, so delays over half an equivalent period fold over. One
    delay is a fair summary only of a lag that is the same at all frequencies. Raises `InputError` where the
    reference is constant.

    Source: Guo, Chen, Li & Xu, "A frequency response approach for actuator tracking", 2014 (checked against
    "Hybrid Simulation Current Assessment Measures", mechs.designsafe-ci.org, 2026, whose weight in the numerator
    is |O|^l). Here it is that of the reference: only then does a pure gain give A = gain for every l.
    """
    x, y = pair(reference, compared)
    f = np.fft.rfftfreq(x.size, step(dt))
    positive("power", power)
    inside = f > 0.0
    if band is not None:
        if not 0.0 <= band[0] < band[1]:
            raise InputError(f"band is {band}; allowed: (low, high) in Hz with 0 ≤ low < high")
        inside &= (f >= band[0]) & (f <= band[1])
    whole = np.fft.rfft(x)
    inside &= np.abs(whole) > 1e-13 * np.max(np.abs(x)) * x.size  # below is rounding
    I, O = whole[inside], np.fft.rfft(y)[inside]  # noqa: E741 - the paper's letters
    weight = np.abs(I) ** power
    total = nonzero(float(weight.sum()), "spectrum of the reference in the band")
    fei = complex(np.sum(O / I * weight) / total)
    feq = float(np.sum(weight * f[inside]) / total)
    phase = float(np.angle(fei))
    return FrequencyIndex(abs(fei), phase, feq, -phase / (2.0 * np.pi * feq))
