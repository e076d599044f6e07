"""Delay between two histories: by cross-correlation, and locally by analytic signals."""

from typing import Any, NamedTuple

import numpy as np
from scipy.fft import next_fast_len
from scipy.signal import hilbert

from frame2d.compare.histories import Array, nonzero, pair, step
from frame2d.errors import InputError, positive, within


class Delay(NamedTuple):
    """Delay of the compared history (s, positive for lag) and the correlation coefficient that it reaches."""

    delay: float
    correlation: float


def correlation_delay(reference: Any, compared: Any, dt: float, *, longest: float | None = None) -> Delay:
    """Lag at which the correlation coefficient of the overlapping parts is largest, its peak found between
    samples.

    Means are removed first, so an offset does not pull the lag towards 0; the peak is that of the parabola
    through the three highest neighbours. `longest` is the largest lag searched (s), a quarter of the record
    unless given. Raises `InputError` for constant histories, or when no peak lies inside.

    Source: common practice, no source.
    """
    x, y = pair(reference, compared)
    dt = step(dt)
    n = x.size
    longest = n * dt / 4.0 if longest is None else positive("longest", longest)
    most = min(int(longest / dt), n - 2)
    if most < 1:
        raise InputError(
            f"longest is {longest:g} s; allowed: at least one step, and a record longer than that"
        )
    size = float(np.max(np.abs(x)) + np.max(np.abs(y)))
    x, y = x - x.mean(), y - y.mean()
    x = x / nonzero(float(np.max(np.abs(x))), "variation of the reference", size)
    y = y / nonzero(float(np.max(np.abs(y))), "variation of the compared history", size)
    lags, r = _correlation(x, y, most)
    best = int(np.argmax(r - 1e-12 * np.abs(lags) / most))  # of equal peaks the nearest to 0
    if best in (0, lags.size - 1):
        raise InputError(
            f"the correlation is largest at the end of the search, {lags[best] * dt:g} s; allowed: a peak "
            "inside. Likely mistake: histories that are not of the same motion, or `longest` too short"
        )
    before, at, after = r[best - 1], r[best], r[best + 1]
    curvature = before - 2.0 * at + after
    shift = 0.5 * (before - after) / curvature if curvature < 0.0 else 0.0
    return Delay(float((lags[best] + shift) * dt), float(at - 0.25 * (before - after) * shift))


def _correlation(x: Array, y: Array, most: int) -> tuple[Array, Array]:
    """Lags −most … most and the correlation coefficient of x(i) with y(i + lag) where both exist."""
    n = x.size
    size = next_fast_len(n + most, real=True)
    product = np.fft.irfft(np.conj(np.fft.rfft(x, size)) * np.fft.rfft(y, size), size)
    lags = np.arange(-most, most + 1)
    energy_x, energy_y = (np.concatenate([[0.0], np.cumsum(v**2)]) for v in (x, y))
    late, early = np.maximum(lags, 0), np.maximum(-lags, 0)
    ex = energy_x[n - late] - energy_x[early]
    ey = energy_y[n - early] - energy_y[late]
    scale = np.sqrt(np.maximum(ex * ey, 0.0))
    floor = 1e-12 * np.sqrt(energy_x[-1] * energy_y[-1])  # an overlap without motion correlates with nothing
    return lags, np.where(scale > floor, product[lags] / np.maximum(scale, floor), 0.0)


class LocalDelay(NamedTuple):
    """Local delay (s) and gain, `valid` where they mean something, and their means weighted by a²."""

    delay: Array
    gain: Array
    frequency: Array
    valid: Array
    mean_delay: float
    mean_gain: float


def local_delay(reference: Any, compared: Any, dt: float, *, floor: float = 0.1) -> LocalDelay:
    """Delay and gain at each instant from the analytic signals z of reference and w of compared.

    ω = Im(z* dz/dt)/|z|², delay = −arg(w z*)/ω, gain = |w|/|z|. Meant for narrow-band motion; valid where
    |z| exceeds `floor` times its largest value and ω exceeds `floor` times its mean, and 0 elsewhere. Means
    are weighted by |z|². Samples within a period of the ends suffer from the transform's periodicity.

    Source: after C. Chen, instantaneous frequency in tracking assessment, 2024 (definition derived here).
    """
    x, y = pair(reference, compared)
    dt = step(dt)
    within("floor", floor, 0.0, 1.0, open_low=True, open_high=True)
    scale = float(np.max(np.abs(x)))
    z, w = hilbert(x - x.mean()), hilbert(y - y.mean())
    power = np.abs(z) ** 2
    total = nonzero(float(power.sum()), "variation of the reference", scale**2)
    rate = np.imag(np.conj(z) * np.gradient(z, dt)) / np.maximum(power, 1e-300)
    mean_rate = float((rate * power).sum() / total)
    valid = (np.abs(z) > floor * np.sqrt(power.max())) & (rate > floor * mean_rate)
    if not valid.any():
        raise InputError(
            "no instant has amplitude and frequency above the floor; allowed: an oscillating reference"
        )
    safe_rate = np.where(valid, rate, 1.0)
    delay = np.where(valid, -np.angle(w * np.conj(z)) / safe_rate, 0.0)
    gain = np.where(valid, np.abs(w) / np.where(valid, np.abs(z), 1.0), 0.0)
    weight = np.where(valid, power, 0.0)
    weight = weight / weight.sum()
    frequency = np.where(valid, rate / (2.0 * np.pi), 0.0)
    return LocalDelay(delay, gain, frequency, valid, float(weight @ delay), float(weight @ gain))
