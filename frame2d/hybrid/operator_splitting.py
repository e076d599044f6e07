"""Operator splitting: explicit predictor, implicit corrector with the operator's stiffness.

ũ = u + Δt·v + Δt²(½−β)a, u' = ũ + βΔt²a', v' = v + Δt[(1−γ)a + γa'], weights 1+α and −α.
Source: M. Nakashima, T. Kaminosono, M. Ishida & K. Ando 1990 (α = 0); D. Combescure & P. Pegon, α-Operator Splitting,
1997: β = (1−α)²/4, γ = (1−2α)/2, α in [−1/3, 0]. Stable while the true stiffness does not exceed the operator's.
"""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import within
from frame2d.hybrid.scheme import Table


@dataclass(frozen=True)
class OperatorSplitting:
    """`alpha` in [−1/3, 0]: 0 has no algorithmic damping (Nakashima), negative damps high modes."""

    alpha: float = 0.0

    def __post_init__(self) -> None:
        within("OperatorSplitting.alpha", self.alpha, -1.0 / 3.0, 0.0)

    def table(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Table:
        """Coefficients."""
        beta, gamma = 0.25 * (1.0 - self.alpha) ** 2, 0.5 - self.alpha
        return Table(1.0, 0.5 - beta, beta, 1.0 - gamma, gamma, 1.0, 0.0, -self.alpha)
