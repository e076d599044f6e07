"""Initial stiffness and yield of an envelope: by equal energy, and by the rule of ECCS 45."""

from typing import NamedTuple

import numpy as np

from frame2d.compare.histories import TINY
from frame2d.errors import InputError, positive


class Yield(NamedTuple):
    """Yield deformation and force (magnitudes), and post-yield stiffness over initial stiffness."""

    deformation: float
    force: float
    hardening: float


def virgin_branch(deformation: np.ndarray, force: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Samples at which the deformation is larger than ever before, (u, F): first loading."""
    before = np.concatenate([[0.0], np.maximum.accumulate(np.maximum(deformation, 0.0))[:-1]])
    new = deformation > before
    return deformation[new], force[new]


def initial_stiffness(u: np.ndarray, F: np.ndarray, low: float = 0.1, high: float = 0.4) -> float:
    """Slope of the least-squares line through first-loading samples from `low` to `high` of the peak force.

    The line needs not pass the origin, so neither slack nor an offset spoils it. Raises `InputError` with
    fewer than 3 samples. Source: range as common practice (ISO 21581, ASTM E2126: 0.1 to 0.4; from memory).
    """
    if not 0.0 <= low < high <= 1.0:
        raise InputError(
            f"stiffness range is ({low}, {high}); allowed: 0 ≤ low < high ≤ 1, shares of the peak force"
        )
    peak = float(np.max(F)) if F.size else 0.0
    end = int(np.argmax(high * peak < F)) if peak > 0.0 else 0
    a, b = u[:end], F[:end]
    inside = b >= low * peak
    a, b = a[inside], b[inside]
    if a.size < 3 or np.ptp(a) == 0.0:
        raise InputError(
            f"{a.size} samples lie between {low:g} and {high:g} of the peak force on first loading; "
            "allowed: 3 or more. Likely mistake: coarse sampling (widen the range), or first loading that "
            "is plastic already"
        )
    slope = float(np.polyfit(a - a.mean(), b, 1)[0])
    return positive("initial stiffness", slope, hint="noise over the range; widen it")


def equal_energy_yield(u: np.ndarray, F: np.ndarray, stiffness: float) -> Yield:
    """Bilinear of given stiffness through the envelope's peak force, with the same area below it.

    uy = (2A − Fm·um)/(K0·um − Fm), closed form of area = ½K0uy² + ½(K0uy + Fm)(um − uy). Common practice, no
    source. `u`, `F` begin at the origin. Raises `InputError` for an envelope that stays at the initial
    stiffness.
    """
    m = int(np.argmax(F))
    um, Fm = float(u[m]), float(F[m])
    area = float(np.trapezoid(F[: m + 1], u[: m + 1]))
    span = stiffness * um - Fm
    if span <= 1e-6 * Fm:
        raise InputError("the envelope is straight up to its peak; allowed: one that yields")
    uy = (2.0 * area - Fm * um) / span
    if not 0.0 < uy < um:
        raise InputError(
            f"equal energy puts yield at {uy:g}, outside 0 to {um:g}; the envelope is not of yielding shape"
        )
    Fy = stiffness * uy
    return Yield(uy, Fy, (Fm - Fy) / (um - uy) / stiffness)


def eccs_yield(u: np.ndarray, F: np.ndarray, stiffness: float) -> Yield:
    """Intersection of the tangent at the origin with the tangent to the envelope of slope K0/10.

    The second tangent touches where F − K0/10·u is largest. Raises `InputError` where the envelope never
    gets that flat. Source: ECCS No. 45, 1986, clause on yield (from memory).
    """
    slope = stiffness / 10.0
    above = F - slope * u
    touch = int(np.argmax(above))
    if touch == u.size - 1:
        raise InputError(
            "the envelope never flattens to a tenth of the initial stiffness; allowed: one that yields"
        )
    uy = float(above[touch]) / (stiffness - slope)
    return Yield(uy, stiffness * uy, 0.1)


def drop_point(u: np.ndarray, F: np.ndarray, share: float = 0.8) -> float | None:
    """Deformation after the peak where the envelope has fallen to `share` of its peak, None if it has not.

    Straight lines between envelope points.
    """
    m = int(np.argmax(F))
    if F[m] <= TINY:
        return None
    limit = share * float(F[m])
    low = np.flatnonzero(F[m:] <= limit)
    if not low.size:
        return None
    i = m + int(low[0])
    return float(u[i - 1] + (u[i] - u[i - 1]) * (F[i - 1] - limit) / (F[i - 1] - F[i]))
