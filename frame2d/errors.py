"""Errors that name the thing, the value, what is allowed and the likely mistake; and the checks that raise them."""

import math
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any


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
    if name in choices:
        return name
    spelled = {str(choice).casefold(): str(choice) for choice in choices}
    close = [spelled[near] for near in get_close_matches(str(name).casefold(), list(spelled), n=1)]
    listed = ", ".join(str(choice) for choice in choices[:12]) + (", …" if len(choices) > 12 else "")
    hint = f"did you mean {close[0]!r}?" if close else "it was never added, or under another name"
    raise InputError(_message(thing, name, listed or "nothing yet", hint))


def _message(thing: str, value: Any, allowed: str, hint: str) -> str:
    return f"{thing} is {value!r}; allowed: {allowed}" + (f". Likely mistake: {hint}" if hint else "")
