"""Bilinear law with a share of kinematic and isotropic hardening.

    σ = k(u − uₚ),  |σ − α| ≤ Fy + r·H·λ,  α̇ = (1 − r)·H·u̇ₚ,  λ̇ = |u̇ₚ|,  H = b·k/(1 − b)

Source: return mapping for one-dimensional plasticity with combined hardening, Simo & Hughes, Computational
Inelasticity, 1998, box 1.5 (from memory).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law, stiffness_ratio


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Elastic predictor, plastic corrector."""
    k, Fy, b, r = p[0], p[1], p[2], p[3]
    up, back, lam = m0[0], m0[1], m0[2]
    H = b * k / (1.0 - b)
    F = k * (u - up)
    xi = F - back
    over = abs(xi) - (Fy + r * H * lam)
    tangent = k
    if over > 0.0:
        dlam = over / (k + H)
        sign = 1.0 if xi > 0.0 else -1.0
        up += dlam * sign
        back += (1.0 - r) * H * dlam * sign
        lam += dlam
        F = k * (u - up)
        tangent = b * k
    m1[0], m1[1], m1[2] = up, back, lam
    out[0] = F
    out[1] = tangent
    out[2] = 0.0
    kinematic = (1.0 - r) * H
    out[3] = 0.5 * F * F / k + (0.5 * back * back / kinematic if kinematic > 0.0 else 0.0)
    return OK


@dataclass(frozen=True)
class Bilinear(Law):
    """Elastic stiffness `k`, yield force `Fy`, post-yield ratio `b` in [0, 1), `isotropic` share in [0, 1]."""

    k: float
    Fy: float
    b: float = 0.0
    isotropic: float = 0.0

    kernel = kernel
    recoverable = "F²/(2k), and α²/(2(1 − r)H) of the back force, which reversed yielding returns"

    def __post_init__(self) -> None:
        positive("Bilinear.k", self.k)
        positive("Bilinear.Fy", self.Fy)
        stiffness_ratio("Bilinear.b", self.b)
        within("Bilinear.isotropic", self.isotropic, 0.0, 1.0, hint="it is a share: 0 kinematic, 1 isotropic")

    def initial_memory(self) -> np.ndarray:
        """Plastic deformation, back force, accumulated plastic deformation."""
        return np.zeros(3)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "Bilinear":
        return cls(k=1e7, Fy=1e5, b=0.05)
