"""Tension-only brace: elastic-plastic in tension, slack in compression; its plastic elongation accumulates.

    F = k(u − uₚ) within [0, Fy + H·uₚ],  u̇ₚ ≥ 0,  H = b·k/(1 − b)

After yielding the brace is slack up to u = uₚ. Source: common practice for rods and flat bars, no single
source; isotropic hardening after Simo & Hughes, Computational Inelasticity, 1998, box 1.4 (from memory).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law, stiffness_ratio


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Slack, elastic or yielding."""
    k, Fy, b = p[0], p[1], p[2]
    up = m0[0]
    H = b * k / (1.0 - b)
    F = k * (u - up)
    tangent = k
    if F <= 0.0:
        F = 0.0
        tangent = 0.0
    elif Fy + H * up < F:
        up += (F - Fy - H * up) / (k + H)
        F = k * (u - up)
        tangent = b * k
    m1[0] = up
    out[0] = F
    out[1] = tangent
    out[2] = 0.0
    out[3] = 0.5 * F * F / k
    return OK


@dataclass(frozen=True)
class TensionOnly(Law):
    """Brace with tension stiffness `k`, tension yield force `Fy` and post-yield ratio `b` in [0, 1)."""

    k: float
    Fy: float
    b: float = 0.0

    kernel = kernel

    def __post_init__(self) -> None:
        positive("TensionOnly.k", self.k)
        positive("TensionOnly.Fy", self.Fy)
        stiffness_ratio("TensionOnly.b", self.b)

    def initial_memory(self) -> np.ndarray:
        """Plastic elongation."""
        return np.zeros(1)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "TensionOnly":
        return cls(k=4e7, Fy=2e5, b=0.01)
