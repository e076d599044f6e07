"""Explicit displacement and velocity, unconditionally stable, with controlled high-frequency damping.

u' = u + Δt·v + Δt²α2·a, v' = v + Δt·α1·a, equilibrium with weights αf and (I − α3)a' + α3·a, where
D = M + γΔtC + βΔt²K, α1 = D⁻¹M, α2 = (½+γ)α1, α3 = D⁻¹(αmM + αfγΔtC + αfβΔt²K), β = ¼(½+γ)².
Source: C. Kolay & J. M. Ricles, Development of a family of unconditionally stable explicit direct integration algorithms
with controllable numerical energy dissipation, 2014; derived: with the stiffness K the poles are those of
generalized-alpha of Chung & Hulbert 1993 with the same ρ (tests/hybrid/test_schemes.py). A motion that starts with
acceleration needs v₀ − γΔt·α1·a₀ in place of v₀ to stay of second order (found numerically; no effect from rest).
"""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import within
from frame2d.hybrid.scheme import Table


@dataclass(frozen=True)
class KRAlpha:
    """`rho` in [0, 1]: spectral radius at high frequency."""

    rho: float = 0.8

    def __post_init__(self) -> None:
        within("KRAlpha.rho", self.rho, 0.0, 1.0)

    def table(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Table:
        """Coefficients."""
        am, af = (2.0 * self.rho - 1.0) / (self.rho + 1.0), self.rho / (self.rho + 1.0)
        gamma = 0.5 - am + af
        beta = 0.25 * (0.5 + gamma) ** 2
        D = np.linalg.inv(M + gamma * dt * C + beta * dt**2 * K)
        alpha1 = D @ M
        alpha3 = D @ (am * M + af * gamma * dt * C + af * beta * dt**2 * K)
        eye = np.eye(len(M))
        return Table(1.0, (0.5 + gamma) * alpha1, 0.0, alpha1, 0.0, eye - alpha3, alpha3, af, gamma)
