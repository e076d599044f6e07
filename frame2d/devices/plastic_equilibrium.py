"""Plastic moment of a section of strips that are not equally strong in tension and compression."""

from collections.abc import Sequence
from typing import NamedTuple

from frame2d.errors import InputError


class Strip(NamedTuple):
    """Rectangle from `low` to `high` of `width` (m), yielding at `tension`, `compression` (Pa, ≥ 0)."""

    low: float
    high: float
    width: float
    tension: float
    compression: float


class PlasticMoment(NamedTuple):
    """Plastic moment (N·m), height of the neutral axis (m), tension force (N, equal to compression)."""

    moment: float
    axis: float
    tension: float


def plastic_moment(strips: Sequence[Strip], sagging: bool) -> PlasticMoment:
    """Fully plastic moment without axial force, tension below the axis when `sagging`, above it when not.

    The axis is where tension and compression balance: the imbalance is a continuous, straight-segmented
    function of its height, so the root is exact. Raises `InputError` when one of the two sides has no
    strength at all.
    """
    edges = sorted({edge for strip in strips for edge in (strip.low, strip.high)})
    values = [_imbalance(strips, y, sagging) for y in edges]
    if not values or values[0] >= 0.0 or values[-1] <= 0.0:
        raise InputError(
            "the section has no tension or no compression side; allowed: strips that can resist both"
        )
    i = next(i for i, value in enumerate(values) if value >= 0.0)
    axis = edges[i] - (edges[i] - edges[i - 1]) * values[i] / (values[i] - values[i - 1])
    moment = tension = 0.0
    for force, centre, below in _forces(strips, axis, sagging):
        moment += force * abs(centre - axis)
        tension += force if below == sagging else 0.0
    return PlasticMoment(moment, axis, tension)


def _forces(strips: Sequence[Strip], axis: float, sagging: bool) -> list[tuple[float, float, bool]]:
    """(force, height of its centre, below the axis?) of each part of a strip on one side of the axis."""
    parts = []
    for s in strips:
        for low, high, below in ((s.low, min(s.high, axis), True), (max(s.low, axis), s.high, False)):
            if high > low:
                strength = s.tension if below == sagging else s.compression
                parts.append((strength * s.width * (high - low), (low + high) / 2.0, below))
    return parts


def _imbalance(strips: Sequence[Strip], axis: float, sagging: bool) -> float:
    """Force below the axis less force above it (N); it grows with the height of the axis."""
    return sum(force if below else -force for force, _, below in _forces(strips, axis, sagging))
