"""Excursions: the stretches of a test in which the force keeps one sign, the half-cycles of ECCS 45."""

from dataclasses import dataclass

import numpy as np

from frame2d.compare.histories import TINY
from frame2d.compare.work import work
from frame2d.errors import InputError, within


@dataclass(frozen=True)
class Excursion:
    """One stretch of one sign of force; deformations and forces are magnitudes in its direction.

    `repeat` counts the visits to one amplitude, 1 the first. `secant` is force over deformation at the peak
    deformation. `drop` is the loss of peak force against the first visit. `pinching` is the force at which
    the loading branch passes zero deformation, over the peak force of the excursion: near 1 for fat loops,
    near 0 when the device slips; None where the branch does not pass it.
    """

    sign: int
    start: int
    stop: int
    at: int
    deformation: float
    force: float
    peak_force: float
    energy: float
    secant: float
    repeat: int
    drop: float
    pinching: float | None


def stretches(force: np.ndarray, threshold: float) -> list[tuple[int, int, int]]:
    """(sign, first sample, last sample) of each stretch of one sign.

    A stretch begins when |F| exceeds `threshold` on a new side, so noise about zero makes none; the border
    lies at the last change of sign before that.
    """
    loud = np.flatnonzero(np.abs(force) > threshold)
    if not loud.size:
        return []
    sides = np.where(force[loud] > 0.0, 1, -1)
    changes = np.flatnonzero(np.diff(sides)) + 1
    borders = []
    for change in changes:
        after, before = loud[change], loud[change - 1]
        same = np.flatnonzero(force[before : after + 1] * sides[change - 1] > 0.0)
        borders.append(int(before + same[-1]))
    starts = [0, *borders]
    stops = [*borders, force.size - 1]
    signs = [int(sides[0]), *(int(sides[change]) for change in changes)]
    return list(zip(signs, starts, stops, strict=True))


def excursions(
    deformation: np.ndarray, force: np.ndarray, *, threshold: float = 0.02, same: float = 0.05
) -> tuple[Excursion, ...]:
    """Excursions of a test in order.

    `threshold` is the share of the largest |force| below which a sign counts as noise; amplitudes within the
    share `same` of one another are repeats. Raises `InputError` when no force exceeds the threshold.
    """
    within("threshold", threshold, 0.0, 0.5, open_low=True, hint="a share of the largest force")
    within("same", same, 0.0, 0.3, hint="a share of the amplitude")
    largest = float(np.max(np.abs(force)))
    found = stretches(force, threshold * largest)
    if not found:
        raise InputError("the force is zero throughout; allowed: a test with force")
    E = work(deformation, force)
    groups: dict[int, list[tuple[float, float, int]]] = {1: [], -1: []}
    result = []
    for sign, start, stop in found:
        u, F = sign * deformation[start : stop + 1], sign * force[start : stop + 1]
        at = int(np.argmax(u))
        amplitude, peak = float(u[at]), float(np.max(F))
        repeat, drop = _visit(groups[sign], amplitude, peak, same)
        result.append(
            Excursion(
                sign=sign,
                start=start,
                stop=stop,
                at=start + at,
                deformation=amplitude,
                force=float(F[at]),
                peak_force=peak,
                energy=float(E[stop] - E[start]),
                secant=float(F[at]) / amplitude if amplitude > TINY else 0.0,
                repeat=repeat,
                drop=drop,
                pinching=_pinching(u[: at + 1], F[: at + 1], peak),
            )
        )
    return tuple(result)


def _visit(
    groups: list[tuple[float, float, int]], amplitude: float, peak: float, same: float
) -> tuple[int, float]:
    """Number of this visit to the amplitude, and the drop of force since the first; updates the list."""
    for i, (first_amplitude, first_peak, count) in enumerate(groups):
        if abs(amplitude - first_amplitude) <= same * abs(first_amplitude):
            groups[i] = (first_amplitude, first_peak, count + 1)
            return count + 1, 1.0 - peak / first_peak
    groups.append((amplitude, peak, 1))
    return 1, 0.0


def _pinching(u: np.ndarray, F: np.ndarray, peak: float) -> float | None:
    below = np.flatnonzero(u[:-1] < 0.0) if u.size > 1 else np.array([], dtype=int)
    if not below.size:
        return None
    i = int(below[-1])
    if u[i + 1] <= u[i]:
        return None
    share = -u[i] / (u[i + 1] - u[i])
    return float((F[i] + share * (F[i + 1] - F[i])) / peak)
