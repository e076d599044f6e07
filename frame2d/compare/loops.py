"""Indices of loops: reversals, and energy, secant stiffness and peak force of each half-cycle."""

from typing import Any, NamedTuple

import numpy as np

from frame2d.compare.histories import TINY, Array, history, nonzero, pair
from frame2d.compare.work import work
from frame2d.errors import InputError, positive
from frame2d.kernels import compiled


@compiled
def _reversals(u: Array, threshold: float, found: Array) -> int:
    """Zigzag: an extreme counts once the history has come back from it by `threshold`."""
    count = 0
    direction = 0
    low, high, extreme = 0, 0, 0
    for i in range(1, u.size):
        if direction == 0:
            if u[i] > u[high]:
                high = i
            if u[i] < u[low]:
                low = i
            if u[i] - u[low] >= threshold:
                direction, extreme = 1, i
                found[0] = low
                count = 1
            elif u[high] - u[i] >= threshold:
                direction, extreme = -1, i
                found[0] = high
                count = 1
        elif direction * (u[i] - u[extreme]) > 0.0:
            extreme = i
        elif direction * (u[extreme] - u[i]) >= threshold:
            found[count] = extreme
            count += 1
            direction = -direction
            extreme = i
    if count > 0:
        found[count] = extreme
        count += 1
    return count


def reversals(deformation: Any, threshold: float) -> Array:
    """Samples at which the deformation turns, first and last excursion included.

    A turn counts only once the history has come back from it by `threshold` (unit of the deformation), so
    noise below it makes none. Raises `InputError` when nothing moves by `threshold`.
    """
    u = history("deformation", deformation)
    threshold = positive("threshold", threshold)
    found = np.zeros(u.size + 1, dtype=np.int64)
    count = int(_reversals(u, threshold, found))
    if count < 2:
        raise InputError(
            f"the deformation moves by {np.ptp(u):g}; allowed: at least the threshold {threshold:g}"
        )
    return found[:count]


class HalfCycles(NamedTuple):
    """One entry a half-cycle, from one reversal to the next; compare field by field."""

    #: First and last sample.
    start: Array
    stop: Array
    #: Deformation at the end of the half-cycle, and its change over it.
    deformation: Array
    travel: Array
    #: Work ∫F du, J.
    energy: Array
    #: (F_stop − F_start)/(u_stop − u_start): secant stiffness between the two reversals.
    secant: Array
    #: Largest force in the direction of travel, with its sign.
    peak_force: Array


def half_cycles(
    deformation: Any, force: Any, *, threshold: float | None = None, turns: Any = None
) -> HalfCycles:
    """Energy, secant stiffness and peak force of each half-cycle.

    Half-cycles end at `reversals` of the deformation with `threshold` (2 % of the range unless given), or at
    the samples `turns` when two tests are compared half-cycle by half-cycle.
    """
    u, F = pair(deformation, force, ("deformation", "force"))
    if turns is None:
        spread = nonzero(float(np.ptp(u)), "range of the deformation")
        turns = reversals(u, 0.02 * spread if threshold is None else threshold)
    at = np.asarray(turns, dtype=np.int64)
    if at.ndim != 1 or at.size < 2 or np.any(np.diff(at) <= 0) or at[0] < 0 or at[-1] >= u.size:
        raise InputError(f"turns is {turns!r}; allowed: two or more increasing samples within the history")
    start, stop = at[:-1], at[1:]
    E = work(u, F)
    travel = u[stop] - u[start]
    direction = np.where(travel >= 0.0, 1.0, -1.0)
    peaks = [d * np.max(d * F[a : b + 1]) for d, a, b in zip(direction, start, stop, strict=True)]
    still = np.abs(travel) <= TINY
    secant = np.where(still, 0.0, (F[stop] - F[start]) / np.where(still, 1.0, travel))
    return HalfCycles(start, stop, u[stop], travel, E[stop] - E[start], secant, np.array(peaks))


class LoopErrors(NamedTuple):
    """Errors of the compared half-cycles, each relative to the largest magnitude in the reference."""

    #: max |ΔE| of a half-cycle / max |E| of a half-cycle
    energy: float
    #: max |Δk| / max |k|
    secant: float
    #: max |ΔF| / max |F|
    peak_force: float
    reference: HalfCycles
    compared: HalfCycles


def loop_errors(
    u: Any, F: Any, u_compared: Any, F_compared: Any, *, threshold: float | None = None
) -> LoopErrors:
    """Compare two loops half-cycle by half-cycle, cut at the reversals of the reference's deformation.

    Both loops must stand on the same times. Common practice, no source.
    """
    x = half_cycles(u, F, threshold=threshold)
    pair(u, u_compared, ("reference deformation", "compared deformation"))
    y = half_cycles(u_compared, F_compared, turns=np.append(x.start, x.stop[-1]))

    def worst(a: Array, b: Array, what: str) -> float:
        scale = nonzero(float(np.max(np.abs(a))), f"largest {what} of the reference's half-cycles")
        return float(np.max(np.abs(b - a)) / scale)

    return LoopErrors(
        worst(x.energy, y.energy, "energy"),
        worst(x.secant, y.secant, "secant stiffness"),
        worst(x.peak_force, y.peak_force, "peak force"),
        x,
        y,
    )
