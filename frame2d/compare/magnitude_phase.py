"""Magnitude, phase and combined errors of two histories: Sprague & Geers 2003, Russell 1997."""

from typing import Any, NamedTuple

import numpy as np

from frame2d.compare.histories import nonzero, pair


class MagnitudePhase(NamedTuple):
    """Magnitude error (positive when the compared is larger), phase error in [0, 1], combined error."""

    magnitude: float
    phase: float
    combined: float


def sprague_geers(reference: Any, compared: Any) -> MagnitudePhase:
    """M = √(Σy²/Σx²) − 1, P = arccos(Σxy/√(Σx²Σy²))/π, C = √(M² + P²).

    Sprague & Geers, "Spectral elements and field separation for an acoustic fluid subject to cavitation",
    2003. A gain g gives M = g − 1 and a sine late by φ gives P = φ/π, as the tests show.
    """
    xx, yy, xy = _products(reference, compared)
    M = (yy / xx) ** 0.5 - 1.0
    P = _phase(xx, yy, xy)
    return MagnitudePhase(M, P, (M**2 + P**2) ** 0.5)


def russell(reference: Any, compared: Any) -> MagnitudePhase:
    """M = sgn(m)·log₁₀(1 + |m|) with m = (Σy² − Σx²)/√(Σx²Σy²), P as Sprague & Geers, C = √(π/4·(M² + P²)).

    Russell, "Error measures for comparing transient data", 1997 (checked against "time series validation
    metrics", S. Riedmaier 2020, github.com, 2026).
    """
    xx, yy, xy = _products(reference, compared)
    m = (yy - xx) / (xx * yy) ** 0.5
    M = float(np.copysign(np.log10(1.0 + abs(m)), m))
    P = _phase(xx, yy, xy)
    return MagnitudePhase(M, P, (np.pi / 4.0 * (M**2 + P**2)) ** 0.5)


def _products(reference: Any, compared: Any) -> tuple[float, float, float]:
    x, y = pair(reference, compared)
    scale = max(np.max(np.abs(x)), np.max(np.abs(y)))
    if scale > 0.0:  # so that squares of tiny or huge numbers neither vanish nor overflow
        x, y = x / scale, y / scale
    xx = nonzero(float(x @ x), "Σx² of the reference")
    yy = nonzero(float(y @ y), "Σy² of the compared history")
    return xx, yy, float(x @ y)


def _phase(xx: float, yy: float, xy: float) -> float:
    return float(np.arccos(np.clip(xy / (xx**0.5 * yy**0.5), -1.0, 1.0)) / np.pi)
