"""Power-law damper F = c·|v|^α·sgn(v), regularised near rest.

    F = c·v·(v² + v₀²)^((α − 1)/2)

For |v| ≫ v₀ this is the power law (relative difference about ½(1 − α)(v₀/v)²); near v = 0 it is a linear
damper of constant c·v₀^(α − 1), so that force and tangent stay finite and smooth.

Source: power law of fluid dampers, Constantinou & Symans, Experimental and analytical investigation of
seismic response of structures with supplemental fluid viscous dampers, 1992 (from memory); the regularisation
is our own.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Regularised power law and its derivative in the rate."""
    c, alpha, v0 = p[0], p[1], p[2]
    # Bounds that only rest without v₀ (which needs α ≥ 1) and absurd rates reach: they keep the powers
    # finite.
    square = min(max(v * v + v0 * v0, 1e-200), 1e200)
    factor = c * square ** (0.5 * (alpha - 1.0))
    out[0] = factor * v
    out[1] = 0.0
    out[2] = factor * (1.0 + (alpha - 1.0) * v * v / square)
    out[3] = 0.0
    return OK


@dataclass(frozen=True)
class PowerDamper(Law):
    """Damper of constant `c` (N·(s/m)^α), exponent `alpha` in (0, 3], linear below the rate `v0` (m/s)."""

    c: float
    alpha: float
    v0: float = 1e-3

    kernel = kernel
    recoverable = "none: all of the work is dissipated"

    def __post_init__(self) -> None:
        positive("PowerDamper.c", self.c)
        within("PowerDamper.alpha", self.alpha, 0.0, 3.0, open_low=True)
        within(
            "PowerDamper.v0",
            self.v0,
            0.0,
            np.inf,
            open_low=self.alpha < 1.0,
            hint="with alpha < 1 the tangent at rest is infinite without it",
        )

    @property
    def stiffness(self) -> float:
        return 0.0

    @classmethod
    def example(cls) -> "PowerDamper":
        return cls(c=2e5, alpha=0.3)
