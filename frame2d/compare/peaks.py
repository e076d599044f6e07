"""Indices of peaks: per sign, their times, the largest difference, and what remains at the end."""

from typing import Any, NamedTuple

import numpy as np

from frame2d.compare.histories import TINY, nonzero, pair, step
from frame2d.errors import InputError, known


class Peak(NamedTuple):
    """Peaks of the reference and of the compared history on one side, and their times (s)."""

    reference: float
    compared: float
    reference_time: float
    compared_time: float

    @property
    def error(self) -> float:
        """(peak y − peak x)/peak x; positive when the compared peak is larger."""
        return (self.compared - self.reference) / self.reference

    @property
    def lateness(self) -> float:
        """Time of the compared peak after that of the reference, s."""
        return self.compared_time - self.reference_time


def peak(reference: Any, compared: Any, dt: float, sign: int = 0) -> Peak:
    """Peaks on the positive (`sign` 1) or negative (-1) side, or of the magnitude (0).

    The first sample that reaches the peak gives its time. Raises `InputError` when the reference has no peak
    there. Common practice, no source.
    """
    x, y = pair(reference, compared)
    known("sign", sign, (-1, 0, 1))
    dt = step(dt)
    a, b = (np.abs(x), np.abs(y)) if sign == 0 else (sign * x, sign * y)
    i, j = int(np.argmax(a)), int(np.argmax(b))
    if a[i] <= TINY:
        side = {1: "above zero", -1: "below zero", 0: "at all"}[sign]
        raise InputError(f"the reference has no peak {side}; allowed: a reference that goes there")
    flip = 1 if sign == 0 else sign
    return Peak(flip * float(a[i]), flip * float(b[j]), i * dt, j * dt)


def peak_error(reference: Any, compared: Any, sign: int = 0) -> float:
    """(max|y| − max|x|)/max|x| (`sign` 0), or the same on one side; IX-1's p1 is its magnitude."""
    return peak(reference, compared, 1.0, sign).error


def largest_difference(reference: Any, compared: Any) -> float:
    """max|y − x| / max|x|; common practice, no source."""
    x, y = pair(reference, compared)
    return float(np.max(np.abs(y - x)) / nonzero(float(np.max(np.abs(x))), "max|x| of the reference"))


def residual_difference(reference: Any, compared: Any, samples: int = 1) -> float:
    """Mean of y − x over the last `samples`, in the unit of the histories.

    One sample is right when both have come to rest; else take the samples of the free vibration after the
    motion.
    """
    x, y = pair(reference, compared)
    if not 1 <= samples <= x.size:
        raise InputError(f"samples is {samples}; allowed: 1 to {x.size}, the length of the histories")
    return float(np.mean((y - x)[-samples:]))
