"""What every index asks of its histories: finite, one-dimensional, equally long, on the same times."""

from typing import Any

import numpy as np

from frame2d.errors import InputError, positive

Array = np.ndarray

#: Magnitudes beyond these are no measurement; between them neither squares nor quotients overflow.
HUGE, TINY = 1e100, 1e-100


def history(thing: str, values: Any, *, least: int = 2) -> Array:
    """Return `values` as a float64 history of at least `least` finite samples, or raise `InputError`."""
    try:
        array = np.ascontiguousarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(f"{thing} is not a history of numbers; allowed: a one-dimensional array") from None
    if array.ndim != 1 or array.size < least:
        raise InputError(f"{thing} has shape {array.shape}; allowed: one dimension, {least} samples or more")
    bad = np.flatnonzero(~np.isfinite(array))
    if bad.size:
        raise InputError(
            f"{thing} holds {bad.size} values that are not finite, the first at sample {bad[0]}; allowed: "
            "finite numbers. Likely mistake: a gap in the measurement; cut it out or fill it on purpose"
        )
    if np.max(np.abs(array)) > HUGE:
        raise InputError(
            f"{thing} reaches {np.max(np.abs(array)):g}; allowed: magnitudes up to {HUGE:g}. Likely "
            "mistake: a damaged file, or a solution that blew up"
        )
    return array


def pair(
    reference: Any, compared: Any, names: tuple[str, str] = ("reference", "compared")
) -> tuple[Array, Array]:
    """Return both histories checked and equally long, or raise `InputError`."""
    x, y = history(names[0], reference), history(names[1], compared)
    if x.size != y.size:
        raise InputError(
            f"{names[0]} has {x.size} samples, {names[1]} {y.size}; allowed: equal lengths on the same "
            "times. Likely mistake: different steps or durations; bring them together with `on_times`"
        )
    return x, y


def on_times(times: Any, source_times: Any, values: Any) -> Array:
    """`values` given at `source_times` (s, increasing) read by straight lines at `times` (s).

    Nothing is extrapolated: raises `InputError` where `times` leave the source.
    """
    t, s = history("times", times, least=1), history("source_times", source_times)
    v = history("values", values)
    if s.size != v.size:
        raise InputError(f"values has {v.size} samples at {s.size} times; allowed: as many values as times")
    if np.any(np.diff(s) <= 0.0):
        where = int(np.argmax(np.diff(s) <= 0.0)) + 1
        raise InputError(f"source_times do not increase at sample {where}; allowed: increasing times")
    slack = 1e-9 * (s[-1] - s[0])
    if t.min() < s[0] - slack or t.max() > s[-1] + slack:
        raise InputError(
            f"times reach from {t.min():g} to {t.max():g} s; allowed: within {s[0]:g} to {s[-1]:g} s of the "
            "source. Likely mistake: records that start or end apart; compare the part they share"
        )
    return np.interp(t, s, v)


def step(dt: Any) -> float:
    """Return the sampling step `dt` in s, or raise `InputError`."""
    return positive("dt", dt, hint="the time between two samples, in s")


def nonzero(value: float, what: str, scale: float = 0.0) -> float:
    """Return a denominator, or raise `InputError` saying that the index is not defined for it.

    `scale` is the size of the numbers that `value` came from: what is only their rounding counts as zero.
    """
    if abs(value) <= max(TINY, 64.0 * np.finfo(float).eps * scale):
        raise InputError(
            f"{what} is {value:g}; allowed: not 0. The index is not defined for such a reference"
        )
    return value
