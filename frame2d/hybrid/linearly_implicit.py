"""Linearly implicit generalized-alpha: one solution with the operator's stiffness instead of an iteration.

Generalized-alpha (J. Chung & G. M. Hulbert 1993) with αm = (2ρ−1)/(ρ+1), αf = ρ/(ρ+1), γ = ½−αm+αf,
β = ¼(1−αm+αf)² (αm and αf checked against "TSAlpha2SetRadius", petsc.org, 2026, which writes 1 − αm and 1 − αf), the
restoring force taken as r̃(ũ) + K(u'−ũ). Source of the use in tests: Bonelli & Bursi, Generalized-α methods for seismic
structural testing, 2004 (from memory).
"""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import within
from frame2d.hybrid.scheme import Table


@dataclass(frozen=True)
class LinearlyImplicit:
    """`rho` in [0, 1]: spectral radius at high frequency."""

    rho: float = 0.8

    def __post_init__(self) -> None:
        within("LinearlyImplicit.rho", self.rho, 0.0, 1.0)

    def table(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Table:
        """Coefficients."""
        am, af = (2.0 * self.rho - 1.0) / (self.rho + 1.0), self.rho / (self.rho + 1.0)
        gamma, beta = 0.5 - am + af, 0.25 * (1.0 - am + af) ** 2
        return Table(1.0, 0.5 - beta, beta, 1.0 - gamma, gamma, 1.0 - am, am, af)
