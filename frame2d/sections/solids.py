"""Solid bars: rectangle and round."""

from math import pi
from typing import Any

from frame2d.sections.section import Section, length
from frame2d.sections.shear import hollow_round


def solid_rectangle(b: float, h: float, *, name: str = "") -> Section:
    """Rectangle of width `b` and depth `h` (m). As = 5/6 A (Timoshenko 1921), Av = A (EN 1993-1-1)."""
    length("b", b)
    length("h", h)
    name = name or f"rectangle {b * 1e3:g}x{h * 1e3:g}"
    return Section(**_rectangle(b, h, name), weak=Section(**_rectangle(h, b, f"{name}, turned")))


def _rectangle(b: float, h: float, name: str) -> dict[str, Any]:
    A = b * h
    return {
        "name": name,
        "A": A,
        "I": b * h**3 / 12.0,
        "Wel": b * h**2 / 6.0,
        "Wpl": b * h**2 / 4.0,
        "As": A * 5.0 / 6.0,
        "Av": A,
        "depth": h,
    }


def solid_round(d: float, *, name: str = "") -> Section:
    """Round bar of diameter `d` (m). As = 6/7 A (Cowper 1966 at ν = 0), Av = A (EN 1993-1-1 6.2.6(3))."""
    length("d", d)
    A = pi * d**2 / 4.0
    circle: dict[str, Any] = dict(  # noqa: C408
        name=name or f"round {d * 1e3:g}",
        A=A,
        I=pi * d**4 / 64.0,
        Wel=pi * d**3 / 32.0,
        Wpl=d**3 / 6.0,
        As=hollow_round(A, 0.0),
        Av=A,
        depth=d,
    )
    return Section(**circle, weak=Section(**circle))
