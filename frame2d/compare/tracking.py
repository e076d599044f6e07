"""Tracking indicator: the area enclosed in the plot of measurement over command (Mercan & Ricles 2007)."""

from typing import Any

import numpy as np

from frame2d.compare.histories import Array, pair


def tracking_indicator(command: Any, measured: Any) -> Array:
    """TI at each sample, in the squared unit of the histories; it grows while the measurement lags.

    A += ½(c′ + c)(m′ − m),  T += ½(m′ + m)(c′ − c),  TI = ½(A − T)

    A sine of amplitude a with lag τ adds πa²·sin ωτ a cycle; lead is negative, pure amplitude error leaves
    it near 0. Source: Mercan & Ricles, "Stability and accuracy analysis of outer loop dynamics in real-time
    pseudodynamic testing of SDOF systems", 2007; TI = ½(A − T) checked against "Hybrid Simulation Current
    Assessment Measures", mechs.designsafe-ci.org, 2026. That page prints m′ + m in A, which encloses no area: the
    differences are derived from it, ½(A − T) = ½∮(c dm − m dc).
    """
    c, m = pair(command, measured, ("command", "measured"))
    A = np.cumsum(0.5 * (c[1:] + c[:-1]) * np.diff(m))
    T = np.cumsum(0.5 * (m[1:] + m[:-1]) * np.diff(c))
    return np.concatenate([[0.0], 0.5 * (A - T)])
