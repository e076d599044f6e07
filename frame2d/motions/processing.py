"""Processing of records: pure functions that return a new record and keep the raw one beside it.

The usual order is baseline, taper, band-pass, resample, zero end; each step is written into the provenance. Corner
frequencies belong to the instrument and the noise of each record (Boore & Bommer 2005, Processing of strong-motion
accelerograms: needs, options and consequences, Soil Dyn. Earthq. Eng. 25; from memory).
"""

from fractions import Fraction

import numpy as np
from numpy.polynomial import Polynomial
from scipy import signal

from frame2d.errors import InputError, known, positive, within
from frame2d.motions.measures import displacement, velocity
from frame2d.motions.record import Record


def baseline(record: Record, degree: int = 0, *, of: str = "acceleration") -> Record:
    """Take off a polynomial trend fitted by least squares.

    ``of="acceleration"`` fits `degree` (0 the mean, 1 a line …) to the acceleration. ``of="velocity"`` fits a
    polynomial of `degree` + 1 through the origin to the velocity and takes its derivative off the acceleration.
    """
    known("baseline of", of, ("acceleration", "velocity"))
    if int(degree) != degree or not 0 <= degree <= 10:
        raise InputError(f"degree of the baseline is {degree!r}; allowed: a whole number from 0 to 10")
    degree = int(degree)
    s = np.linspace(0.0, 1.0, record.acceleration.size)
    if of == "acceleration":
        trend = Polynomial.fit(s, record.acceleration, degree)(s)
    else:
        powers = np.arange(1, degree + 2)
        weights = np.linalg.lstsq(s[:, None] ** powers, velocity(record), rcond=None)[0]
        trend = (s[:, None] ** (powers - 1)) @ (weights * powers) / record.duration
    return record.processed(
        record.acceleration - trend, f"baseline: polynomial of degree {degree} off the {of}"
    )


def taper(record: Record, share: float = 0.05) -> Record:
    """Cosine taper over `share` of the duration at each end (0 to 0.5)."""
    share = within("share of the taper", share, 0.0, 0.5, hint="it is the share at one end, not at both")
    window = signal.windows.tukey(record.acceleration.size, 2.0 * share)
    return record.processed(record.acceleration * window, f"cosine taper over {share:g} at each end")


def band_pass(
    record: Record,
    low: float | None = 0.1,
    high: float | None = 25.0,
    order: int = 4,
    *,
    keep_pads: bool = False,
) -> Record:
    """Zero-phase Butterworth band-pass from `low` to `high` in Hz; None leaves that side open.

    The filter of even or odd `order` runs forwards and backwards, so that the attenuation at the corners is 1/2 in
    amplitude. Zeros of 1.5·order/low seconds are put at both ends before (Converse & Brady 1992, as quoted by Boore
    & Bommer 2005; from memory). ``keep_pads=True`` keeps them: velocity and displacement then start and end at rest,
    and the record is longer.
    """
    nyquist = 0.5 / record.dt
    if low is None and high is None:
        raise InputError("band_pass has neither low nor high; give at least one corner in Hz")
    if int(order) != order or not 1 <= order <= 10:
        raise InputError(f"order of the band-pass is {order!r}; allowed: a whole number from 1 to 10")
    corners = [
        within(
            f"{side} corner",
            corner,
            0.0,
            nyquist,
            open_low=True,
            open_high=True,
            hint="half of 1/dt is the limit",
        )
        for side, corner in (("low", low), ("high", high))
        if corner is not None
    ]
    if len(corners) == 2 and corners[0] >= corners[1]:
        raise InputError(f"band_pass goes from {low} to {high} Hz; allowed: low below high")
    kind = "bandpass" if len(corners) == 2 else ("lowpass" if low is None else "highpass")
    sos = signal.butter(
        int(order), corners if len(corners) == 2 else corners[0], kind, fs=1.0 / record.dt, output="sos"
    )
    pad = int(np.ceil(1.5 * order / corners[0] / record.dt))
    filtered = signal.sosfiltfilt(sos, np.pad(record.acceleration, pad), padtype=None)
    note = f"Butterworth {kind}, order {order} both ways, {low} to {high} Hz, pads of {pad} samples"
    if keep_pads:
        return record.processed(filtered, note + " kept")
    return record.processed(filtered[pad:-pad], note + " cut off")


def resample(record: Record, dt: float, method: str = "band-limited") -> Record:
    """The record at another step `dt` (s).

    ``"band-limited"`` passes a zero-phase low-pass filter at the lower of the two Nyquist frequencies. ``"linear"``
    reads the piecewise-linear history at the new samples: with a step that divides the old one the history, and its
    response spectrum, stay exactly the same. A longer step needs the band-limited one, or high frequencies fold back.
    """
    dt = positive("new step", dt, hint="dt is in seconds")
    known("resample method", method, ("band-limited", "linear"))
    if dt > record.duration:
        raise InputError(
            f"new step is {dt:g} s; allowed: below the record's duration of {record.duration:g} s"
        )
    note = f"resampled from {record.dt:g} to {dt:g} s, {method}"
    if method == "linear":
        if dt > record.dt * (1.0 + 1e-9):
            raise InputError(
                f"new step is {dt:g} s over the record's {record.dt:g} s; use method='band-limited'"
            )
        samples = dt * np.arange(int(np.floor(record.duration / dt + 1e-9)) + 1)
        return record.processed(np.interp(samples, record.time, record.acceleration), note, dt=dt)
    ratio = Fraction(record.dt / dt).limit_denominator(1000)
    if abs(float(ratio) * dt / record.dt - 1.0) > 1e-9:
        raise InputError(
            f"steps {record.dt:g} and {dt:g} s are in no ratio of whole numbers up to 1000; choose another step"
        )
    fresh = signal.resample_poly(record.acceleration, ratio.numerator, ratio.denominator)
    length = int(np.floor(record.duration / dt + 1e-9)) + 1
    return record.processed(fresh[:length], note, dt=dt)


def zero_end(record: Record, *, displacement: bool = True) -> Record:
    """End the ground at rest: zero end velocity and, unless switched off, zero end displacement.

    The smallest correction in the least-squares sense under a sine window, sin²(πt/D)·(p₀ + p₁·t), is added; it
    vanishes with its slope at both ends and is exact for acceleration that is linear between samples. (Derived.)
    """
    if record.acceleration.size < 5:
        raise InputError(
            f"record {record.name!r} has {record.acceleration.size} samples; zero_end needs at least 5"
        )
    what = "velocity and displacement" if displacement else "velocity"
    return record.processed(
        at_rest(record.acceleration, record.dt, 2 if displacement else 1), f"zero end {what}"
    )


def at_rest(acceleration: np.ndarray, dt: float, orders: int = 2) -> np.ndarray:
    """One or several rows of acceleration, corrected as `zero_end` does (1: velocity, 2: displacement too)."""
    t = dt * np.arange(acceleration.shape[-1])
    functionals = _end_functionals(t, dt)[:orders]
    window = np.sin(np.pi * t / t[-1]) ** 2
    shapes = np.stack([window * (t / t[-1]) ** i for i in range(orders)])
    weights = np.linalg.solve(functionals @ shapes.T, functionals @ acceleration.T)
    return np.asarray(acceleration - weights.T @ shapes)


def _end_functionals(t: np.ndarray, dt: float) -> np.ndarray:
    """Rows that give end velocity and end displacement of piecewise-linear acceleration, by integration in parts."""
    rest = t[-1] - t
    weights = np.full(t.size, dt)
    weights[0] = weights[-1] = 0.5 * dt
    lever = dt * rest
    lever[0] = dt * (0.5 * rest[0] - dt / 6.0)
    lever[-1] = dt * dt / 6.0
    return np.stack([weights, lever])


def end_of(record: Record) -> tuple[float, float]:
    """End velocity (m/s) and end displacement (m)."""
    return float(velocity(record)[-1]), float(displacement(record)[-1])
