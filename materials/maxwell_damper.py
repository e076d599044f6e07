"""Power-law damper in series with a spring (Maxwell): a rate law, integrated by the trapezoidal rule.

    Ḟ = k·(u̇ − g(F)),   g(F) = sgn(F)·(|F|/c)^(1/α)
    F₁ + ½·k·Δt·g(F₁) = F₀ + k·(u₁ − u₀) − ½·k·Δt·g(F₀)

The left side grows with F₁, so there is one solution; Newton's iteration is kept inside a bracket. In a
static analysis (Δt = 0) the damper has had time to relax: F = 0.

Source: Maxwell 1867 for α = 1; Constantinou & Symans 1992 for the power law (from memory).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import NOT_CONVERGED, OK, compiled, law_kernel
from frame2d.materials.law import Law


@compiled
def _dashpot_rate(F, c, power):  # type: ignore[no-untyped-def]
    """Rate of the dashpot under F, and its derivative."""
    size = max(abs(F), 1e-200 * c)
    rate = (size / c) ** power
    return (rate if F > 0.0 else -rate), power * rate / size


@compiled
def _trapezoidal_force(right, h, c, power):  # type: ignore[no-untyped-def]
    """Solve F + h·g(F) = right for right > 0; returns F and whether it converged."""
    low, high = 0.0, min(right, c * (right / h) ** (1.0 / power))
    F = high
    for _ in range(100):
        rate, slope = _dashpot_rate(F, c, power)
        residual = F + h * rate - right
        if residual > 0.0:
            high = F
        else:
            low = F
        if abs(residual) <= 1e-13 * right or high - low <= 4e-16 * high:
            return F, True
        F -= residual / (1.0 + h * slope)
        if not low < F < high:
            F = 0.5 * (low + high)
    return F, False


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """One trapezoidal step of the Maxwell model."""
    k, c, power = p[0], p[1], p[2]
    u0, F0 = m0[0], m0[1]
    F = 0.0
    tangent = 0.0
    if dt > 0.0:
        h = 0.5 * k * dt
        rate, _ = _dashpot_rate(F0, c, power)
        right = F0 + k * (u - u0) - h * rate
        sign = 1.0 if right > 0.0 else -1.0
        if abs(right) > 1e-200 * c:
            size, converged = _trapezoidal_force(abs(right), h, c, power)
            if not converged:
                return NOT_CONVERGED
            F = sign * size
        _, slope = _dashpot_rate(F, c, power)
        tangent = k / (1.0 + h * slope)
    m1[0], m1[1] = u, F
    out[0] = F
    out[1] = tangent
    out[2] = 0.0
    out[3] = 0.5 * F * F / k
    return OK


@dataclass(frozen=True)
class MaxwellDamper(Law):
    """Spring `k` (N/m) in series with a damper, constant `c` (N·(s/m)^α), exponent `alpha` in [0.1, 3]."""

    k: float
    c: float
    alpha: float = 1.0

    kernel = kernel
    recoverable = "F²/(2k): the energy of the spring"

    def __post_init__(self) -> None:
        positive("MaxwellDamper.k", self.k)
        positive("MaxwellDamper.c", self.c)
        within("MaxwellDamper.alpha", self.alpha, 0.1, 3.0)

    def parameters(self) -> np.ndarray:
        """Spring, damper constant, 1/α."""
        return np.array([self.k, self.c, 1.0 / self.alpha])

    def initial_memory(self) -> np.ndarray:
        """Deformation and force."""
        return np.zeros(2)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "MaxwellDamper":
        return cls(k=5e7, c=2e5, alpha=0.3)
