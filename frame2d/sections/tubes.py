"""Hollow sections: rectangular with rounded corners on request, circular."""

from math import pi
from typing import Any

from frame2d.errors import InputError, within
from frame2d.sections.fillet import fillet
from frame2d.sections.section import Section, length
from frame2d.sections.shear import hollow_round, thin_walled


def rectangular_tube(
    h: float, b: float, t: float, *, ro: float = 0.0, ri: float = 0.0, name: str = ""
) -> Section:
    """Tube of depth `h`, width `b`, wall `t`, outer and inner corner radius `ro`, `ri` (m); sharp corners by
    default.

    For nominal values EN 10210-2 takes ro = 1.5t, ri = t, EN 10219-2 ro = 2t, ri = t up to 6 mm (from
    memory). Av = A·h/(b + h), EN 1993-1-1 6.2.6(3). As thin-walled, corners taken sharp. Raises `InputError`.
    """
    for thing, value in (("h", h), ("b", b), ("t", t)):
        length(thing, value)
    within("t", t, 0.0, min(h, b) / 2.0, open_high=True, hint="the walls meet; t is one wall")
    within("ro", ro, 0.0, min(h, b) / 2.0, hint="radii in m")
    within("ri", ri, 0.0, min(h, b) / 2.0 - t, hint="radii in m")
    if (ro - ri) * 2.0**0.5 - ro + ri > t:  # the corner's wall along its diagonal
        raise InputError(
            f"ro - ri is {ro - ri:g} with t = {t:g}: the corners have a hole; allowed: at most t/(√2 − 1)"
        )
    name = name or f"tube {h * 1e3:g}x{b * 1e3:g}x{t * 1e3:g}"
    return Section(**_tube(h, b, t, ro, ri, name), weak=Section(**_tube(b, h, t, ro, ri, f"{name}, turned")))


def _tube(h: float, b: float, t: float, ro: float, ri: float, name: str) -> dict[str, Any]:
    hi, bi, out, inn = h - 2.0 * t, b - 2.0 * t, fillet(ro), fillet(ri)
    yo, yi = h / 2.0 - out.c, hi / 2.0 - inn.c
    A = b * h - bi * hi - 4.0 * out.A + 4.0 * inn.A
    I = (b * h**3 - bi * hi**3) / 12.0 - 4.0 * (out.I + out.A * yo**2) + 4.0 * (inn.I + inn.A * yi**2)  # noqa: E741
    return {
        "name": name,
        "A": A,
        "I": I,
        "Wel": 2.0 * I / h,
        "Wpl": (b * h**2 - bi * hi**2) / 4.0 - 4.0 * out.A * yo + 4.0 * inn.A * yi,
        "As": min(A, thin_walled(h - t, 2.0 * t, b - t, t)),
        "Av": A * h / (b + h),
        "depth": h,
    }


def circular_tube(d: float, t: float, *, name: str = "") -> Section:
    """Tube of outer diameter `d` and wall `t` (m). As: Cowper 1966 at ν = 0; Av = 2A/π (EN 1993-1-1)."""
    length("d", d)
    length("t", t)
    within("t", t, 0.0, d / 2.0, open_high=True, hint="the walls meet; t is one wall")
    di = d - 2.0 * t
    A = pi * (d**2 - di**2) / 4.0
    I = pi * (d**4 - di**4) / 64.0  # noqa: E741
    circle: dict[str, Any] = dict(  # noqa: C408
        name=name or f"round tube {d * 1e3:g}x{t * 1e3:g}",
        A=A,
        I=I,
        Wel=2.0 * I / d,
        Wpl=(d**3 - di**3) / 6.0,
        As=hollow_round(A, di / d),
        Av=2.0 * A / pi,
        depth=d,
    )
    return Section(**circle, weak=Section(**circle))
