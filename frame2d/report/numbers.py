"""Numbers as a reader wants them: four significant digits, thin spaces, words for what is missing."""

import math
from typing import Any

MISSING = "–"
_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

#: Unit inside the library → unit in print and factor.
PRINTED = {
    "N": ("kN", 1e-3), "N·m": ("kN·m", 1e-3), "m": ("mm", 1e3), "rad": ("mrad", 1e3), "J": ("kJ", 1e-3),
}  # fmt: skip


def number(value: Any, digits: int = 4) -> str:
    """Text of a number, a flag, a text or nothing."""
    if value is None:
        return MISSING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return _grouped(str(value))
    real = float(value)
    if not math.isfinite(real):
        return MISSING
    if real == 0.0:
        return "0"
    size = math.floor(math.log10(abs(real)))
    if size < -4 or size > 6:
        mantissa, exponent = f"{real:.{max(digits - 2, 0)}e}".split("e")
        return f"{mantissa} × 10{str(int(exponent)).translate(_SUPERSCRIPT)}".replace("-", "−")
    text = f"{real:.{max(digits - 1 - size, 0)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return _grouped(text)


def _grouped(text: str) -> str:
    """Thin spaces between groups of three from five digits on, and a true minus sign."""
    sign = "−" if text.startswith("-") else ""
    whole, dot, rest = text.lstrip("-").partition(".")
    if len(whole) > 4:
        whole = f"{int(whole):,}".replace(",", "\u202f")
    return sign + whole + dot + rest


def percent(value: Any, digits: int = 3) -> str:
    """A ratio in per cent, without the sign."""
    return MISSING if value is None else number(100.0 * float(value), digits)


def printed(value: Any, unit: str, digits: int = 4) -> tuple[str, str]:
    """Text and unit of a value in the library's unit, in the units of print (kN, mm, mrad, kJ)."""
    if value is None:
        return MISSING, unit
    if unit in PRINTED:
        name, factor = PRINTED[unit]
        return number(float(value) * factor, digits), name
    return number(value, digits), "–" if unit in ("-", "") else unit
