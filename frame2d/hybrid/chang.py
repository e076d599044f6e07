"""Explicit displacement, unconditionally stable for linear and softening systems.

u' = u + β1·Δt·v + β2·Δt²·a, v' = v + ½Δt(a + a'), with D = I + ½ΔtM⁻¹C + ¼Δt²M⁻¹K, β1 = D⁻¹(I + ½ΔtM⁻¹C),
β2 = ½D⁻¹. Source: S.-Y. Chang, Explicit pseudodynamic algorithm with unconditional stability, J. Eng. Mech. 128(9), 2002,
935-947; derived: with the stiffness K the poles are those of average acceleration (tests/hybrid/test_schemes.py).
"""

from dataclasses import dataclass

import numpy as np

from frame2d.hybrid.scheme import Table


@dataclass(frozen=True)
class Chang:
    """No parameters; no algorithmic damping."""

    def table(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Table:
        """Coefficients."""
        half = M + 0.5 * dt * C
        D = np.linalg.inv(half + 0.25 * dt**2 * K)
        return Table(D @ half, 0.5 * D @ M, 0.0, 0.5, 0.5, 1.0, 0.0, 0.0)
