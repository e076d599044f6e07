"""Errors that name the thing, the value, what is allowed and the likely mistake; and the checks that raise them."""

import math
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

import numpy as np


class Frame2dError(Exception):
    """Whatever this library raises on purpose."""


class InputError(Frame2dError, ValueError):
    """A description that cannot be right, found before any analysis starts."""


def finite(thing: str, value: Any, *, hint: str = "") -> float:
    """Return `value` as a finite float, or raise `InputError` naming `thing`."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise InputError(_message(thing, value, "a number", hint)) from None
    if not math.isfinite(number):
        raise InputError(
            _message(
                thing, value, "a finite number", hint or "look for a division by zero or a gap in the data"
            )
        )
    return number


def positive(thing: str, value: Any, *, hint: str = "") -> float:
    """Return `value` as a float > 0, or raise `InputError` naming `thing`."""
    number = finite(thing, value, hint=hint)
    if number <= 0.0:
        raise InputError(_message(thing, value, "a number above 0", hint))
    return number


def within(
    thing: str,
    value: Any,
    low: float,
    high: float,
    *,
    open_low: bool = False,
    open_high: bool = False,
    hint: str = "",
) -> float:
    """Return `value` as a float in [low, high] (open ends on request), or raise `InputError` naming `thing`."""
    number = finite(thing, value, hint=hint)
    if number < low or number > high or (open_low and number == low) or (open_high and number == high):
        interval = f"{'(' if open_low else '['}{low:g}, {high:g}{')' if open_high else ']'}"
        raise InputError(_message(thing, value, f"a number in {interval}", hint))
    return number


def known(thing: str, name: Any, allowed: Iterable[Any]) -> Any:
    """Return `name` if it is among `allowed`, or raise `InputError` with the closest spelling."""
    choices = list(allowed)
    try:
        if name in choices:
            return name
    except ValueError:  # an array, which is no name
        pass
    spelled = {str(choice).casefold(): str(choice) for choice in choices}
    close = [spelled[near] for near in get_close_matches(str(name).casefold(), list(spelled), n=1)]
    listed = ", ".join(str(choice) for choice in choices[:12]) + (", …" if len(choices) > 12 else "")
    hint = f"did you mean {close[0]!r}?" if close else "it was never added, or under another name"
    raise InputError(_message(thing, name, listed or "nothing yet", hint))


def whole(thing: str, value: Any, low: int = 1, high: int = 1_000_000_000, *, hint: str = "") -> int:
    """Return `value` as a whole number in [low, high], or raise `InputError` naming `thing`."""
    number = within(thing, value, low, high, hint=hint)
    if number != round(number):
        raise InputError(_message(thing, value, "a whole number", hint))
    return round(number)


def listed(thing: str, values: Any) -> list[Any]:
    """Return the entries of a list (or another series, but not of one name), or raise `InputError` naming `thing`."""
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise InputError(_message(thing, values, "a list", "one thing without brackets: write [thing]"))
    return list(values)


def mapped(thing: str, values: Any, keys: str = "") -> dict[Any, Any]:
    """Return a mapping as a dict, or raise `InputError` naming `thing`; `keys` says what its keys are.

    Keys of the kind (name, component) are checked to be pairs.
    """
    if not isinstance(values, Mapping):
        raise InputError(_message(thing, values, f"a mapping {{{keys or 'name'}: value}}", ""))
    for key in values:
        if keys.startswith("(") and not (isinstance(key, tuple) and len(key) == 2):
            raise InputError(_message(f"a key of {thing}", key, keys, "the component was left out"))
    return dict(values)


def series(thing: str, values: Any) -> np.ndarray:
    """Return one-dimensional finite numbers as an array, or raise `InputError` naming `thing` and the first that is none."""
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise InputError(
            _message(thing, values, "a list of numbers", "text, or lists of unequal length")
        ) from None
    if array.ndim != 1 or array.size < 2:
        raise InputError(f"{thing} has shape {array.shape}; allowed: one dimension, two samples or more")
    if not np.all(np.isfinite(array)):
        first = int(np.flatnonzero(~np.isfinite(array))[0])
        raise InputError(
            f"{thing} is not a number at sample {first}; allowed: finite values. Likely mistake: a gap in the file"
        )
    return array


def _message(thing: str, value: Any, allowed: str, hint: str) -> str:
    return f"{thing} is {value!r}; allowed: {allowed}" + (f". Likely mistake: {hint}" if hint else "")
