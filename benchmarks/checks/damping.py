"""Rayleigh damping coefficients and the ratios they give."""

from typing import Any

import numpy as np

from benchmarks.checks.building import shear_building
from benchmarks.textbook import Answers
from frame2d import Rayleigh, modes
from frame2d.analysis.damping import rayleigh_coefficients


def _ratio(a0: float, a1: float, omega: Any) -> Any:
    return 0.5 * (a0 / omega + a1 * omega)


def da_1() -> Answers:
    """Coefficients through two points; ratios of the shear building from its damping matrix in modal coordinates."""
    a0, a1 = rayleigh_coefficients(0.05, 10.0, 0.05, 40.0)
    omega = np.linspace(10.0, 40.0, 3001)
    ratios = _ratio(a0, a1, omega)
    lowest = int(np.argmin(ratios))
    mass_only, stiffness_only = 2.0 * 0.05 * 10.0, 2.0 * 0.05 / 10.0
    system = shear_building([2e4] * 5, [2e7] * 5).compile()
    found = modes(system, count=5)
    b0, b1 = rayleigh_coefficients(0.05, float(found.omega[0]), 0.05, float(found.omega[2]))
    matrix = found.shapes.T @ (Rayleigh(0.05, (1, 3)).matrix(system) @ found.shapes)
    modal = np.diag(matrix) / (2.0 * found.omega)
    return {
        "a_a0": a0,
        "a_a1": a1,
        "a_min": float(ratios[lowest]),
        "a_wmin": float(omega[lowest]),
        "a_80": _ratio(a0, a1, 80.0),
        "b_m": _ratio(mass_only, 0.0, 40.0),
        "b_k": _ratio(0.0, stiffness_only, 40.0),
        "c_a0": b0,
        "c_a1": b1,
        "c_x2": float(modal[1]),
        "c_x4": float(modal[3]),
        "c_x5": float(modal[4]),
    }
