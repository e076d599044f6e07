"""Scales of a device, read from its tests: what the ranges of parameters are multiples of."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from frame2d.component_tests import CyclicTest, Direction, extract, virgin_branch
from frame2d.errors import InputError


@dataclass(frozen=True)
class Side:
    """Stiffness, yield force, largest deformation and envelope (u, F) of one direction, magnitudes in SI."""

    K: float
    F: float
    U: float
    envelope: tuple[np.ndarray, np.ndarray] | None = None


@dataclass(frozen=True)
class Scales:
    """Both directions and the largest rate (0 where tests have no times)."""

    positive: Side
    negative: Side
    V: float = 0.0

    def unit(self, name: str) -> float:
        """Value of a unit of the ranges.

        "1"; "K" stiffness, "F" yield force, "u" yield deformation F/K, "U" largest deformation, each the mean
        of both directions, or with + or − of one; "V" largest rate, "C" F/V, "E" F·u.
        """
        sides = {"+": (self.positive,), "-": (self.negative,)}.get(name[1:], (self.positive, self.negative))

        def mean(values: list[float]) -> float:
            return float(np.exp(np.mean(np.log(values))))

        K, F = mean([side.K for side in sides]), mean([side.F for side in sides])
        largest = max(side.U for side in sides)
        V = self.V if self.V > 0.0 else 1.0
        return {"1": 1.0, "K": K, "F": F, "u": F / K, "U": largest, "V": V, "C": F / V, "E": F * F / K}[
            name[0]
        ]


def scales_of(tests: Sequence[CyclicTest]) -> Scales:
    """Scales of the tests together: geometric means of stiffness and yield, the largest deformations.

    From `extract` (initial stiffness, equal-energy yield); where a test has too few amplitudes or samples for
    that, from the median secant of first loading between 0.15 and 0.7 of the peak force, and 0.8 of it (own rule).
    """
    found: dict[int, list[Side]] = {1: [], -1: []}
    for test in tests:
        for sign, side in _sides(test).items():
            found[sign].append(side)
    merged = {sign: _merge(sides) for sign, sides in found.items() if sides}
    if len(merged) == 2:  # what resists on one side only shows noise on the other
        weak = min(merged, key=lambda sign: merged[sign].F)
        if merged[weak].F < 0.1 * merged[-weak].F:
            del merged[weak]
    either = next(iter(merged.values()))
    V = max(0.0, *(_rate(test) for test in tests))
    return Scales(merged.get(1, either), merged.get(-1, either), V)


def _rate(test: CyclicTest) -> float:
    return 0.0 if test.time is None else float(np.max(np.abs(np.gradient(test.deformation, test.time))))


def _merge(sides: list[Side]) -> Side:
    K, F = (float(np.exp(np.mean(np.log([getattr(side, name) for side in sides])))) for name in ("K", "F"))
    farthest = max(sides, key=lambda side: side.U)
    return Side(K, F, farthest.U, farthest.envelope)


def _sides(test: CyclicTest) -> dict[int, Side]:
    sides: dict[int, Side] = {}
    for envelope in ("peaks", "virgin"):
        try:
            found = extract(test, envelope=envelope)
        except InputError:
            continue
        for direction in found.directions:
            if (side := _of_direction(direction)) is not None:
                sides.setdefault(direction.sign, side)
    for sign in (1, -1):
        if sign not in sides and (side := _roughly(sign * test.deformation, sign * test.force)) is not None:
            sides[sign] = side
    if not sides:
        raise InputError(
            f"test {test.name}: force and deformation never have one sign; allowed: a device that resists. "
            "Likely mistake: the sign of one sensor (deformation_sign or force_sign)"
        )
    return sides


def _of_direction(direction: Direction) -> Side | None:
    if direction.stiffness is None:
        return None
    bend = direction.yield_energy
    F = 0.8 * direction.peak_force if bend is None else bend.force
    return Side(direction.stiffness, F, direction.largest, direction.envelope)


def _roughly(u: np.ndarray, F: np.ndarray) -> Side | None:
    u, F = virgin_branch(u, F)
    if not np.any(F > 0.0):
        return None
    peak = float(F.max())
    early = np.abs(F / peak - 0.425) < 0.275
    K = float(np.median(F[early] / u[early])) if early.any() else float(np.max(F / u))
    return Side(K, 0.8 * peak, float(u[-1]))
