"""Numbers of laws with two sides: names, and envelopes of points written as ratios.

Numbers of a side bear its name, `positive.F1`; those of the negative side are magnitudes. Points after the
first are written as ratios to the point before, so that any values in the ranges make an envelope.
"""

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from frame2d.fitting.forms import FY, OWN, K
from frame2d.fitting.ranges import Range

#: Name, sign of its deformations, and mark of its scales, of either side.
SIDES = (("positive", 1.0, "+"), ("negative", -1.0, "-"))


def envelope(count: int, softening: bool) -> tuple[Range, ...]:
    """Points of both sides: the first in stiffness and force, the others as ratios."""
    ranges = []
    for side, _, sign in SIDES:
        ranges += [
            Range(f"{side}.k", f"K{sign}", 1 / 3, 3.0, 1.0, K),
            Range(f"{side}.F1", f"F{sign}", 0.2, 2.0, 0.8, FY),
        ]
        for i in range(2, count + 1):
            low, high, first = (0.4, 2.0, 1.1) if softening and i > 2 else (1.0, 2.5, 1.25)
            if softening and i == count:
                low, high, first = 0.05, 1.5, 0.9
            ranges += [
                Range(f"{side}.u{i}/u{i - 1}", "1", 1.2, 12.0, 2.5, OWN),
                Range(f"{side}.F{i}/F{i - 1}", "1", low, high, first, OWN),
            ]
    return tuple(ranges)


def points_of(
    values: Mapping[str, float], side: str, sign: float, count: int
) -> tuple[tuple[float, float], ...]:
    F = values[f"{side}.F1"]
    u = F / values[f"{side}.k"]
    points = [(sign * u, sign * F)]
    for i in range(2, count + 1):
        u *= values[f"{side}.u{i}/u{i - 1}"]
        F *= values[f"{side}.F{i}/F{i - 1}"]
        points.append((sign * u, sign * F))
    return tuple(points)


def numbers_of(points: Any, side: str, sign: float) -> dict[str, float]:
    u0, F0 = points[0]
    values = {f"{side}.k": F0 / u0, f"{side}.F1": sign * F0}
    for i, ((ua, Fa), (ub, Fb)) in enumerate(pairwise(points), 2):
        values[f"{side}.u{i}/u{i - 1}"] = ub / ua
        values[f"{side}.F{i}/F{i - 1}"] = Fb / Fa
    return values
