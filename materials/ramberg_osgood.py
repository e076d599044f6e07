"""Ramberg-Osgood law with Masing branches and a bounded memory of reversals.

Skeleton φ, f = F/Fy, uy = Fy/k:

    u/uy = f + α·f|f|^(r−1)

A branch from the reversal (ur, Fr) is the skeleton doubled, F = Fr ± 2φ(d), d = |u − ur|/2 (Masing 1926).
Extended rules: a branch that passes the reversal before its own rejoins the branch which was left there; a
branch from the skeleton that passes the point opposite its reversal rejoins the skeleton. Up to 16 open
reversals are kept; when they are used up the smallest open loop is forgotten.

The law equals elastoplastic elements in parallel with yield deformations y and stiffness density −φ″(y) (Iwan
1966); the energy of their springs is E = ∫u dF on the skeleton and E = Er ± 2d·Fr + 2d·φ(d) on a branch.

Sources: Ramberg & Osgood, NACA TN 902, 1943; Masing, Eigenspannungen und Verfestigung beim Messing, 1926;
Jennings, Periodic response of a general yielding structure, 1964; energy derived here.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import NOT_CONVERGED, OK, compiled, law_kernel
from frame2d.materials.law import Law
from frame2d.materials.power import power

#: Open reversals that are remembered.
DEPTH = 16
#: Memory before the reversals: their number, direction; deformation, force, energy of the last point.
HEAD = 5


@compiled
def skeleton(x: float, alpha: float, r: float) -> tuple[float, float, bool]:
    """Solve x = f + α·fʳ for f ≥ 0 by Newton's method from above; returns f, dx/df, whether converged."""
    f = x if x < 1.0 else min(x, (x / alpha) ** (1.0 / r))
    for _ in range(60):
        rise = alpha * power(f, r - 1.0)
        slope = 1.0 + r * rise
        change = (f + rise * f - x) / slope
        f -= change
        if abs(change) <= 1e-14 * f:
            return f, slope, True
    return f, 1.0, x <= 0.0


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Open and close loops, then evaluate the branch that is left."""
    k, Fy, alpha, r = p[0], p[1], p[2], p[3]
    uy = Fy / k
    depth, direction = int(m0[0]), m0[1]
    for i in range(HEAD + 3 * DEPTH):
        m1[i] = m0[i]
    step = u - m0[2]
    if step != 0.0:
        sign = 1.0 if step > 0.0 else -1.0
        if sign * direction < 0.0:
            if depth == DEPTH:
                depth -= 2
            for i in range(3):
                m1[HEAD + 3 * depth + i] = m0[2 + i]
            depth += 1
        direction = sign
    while depth > 1 and direction * (u - m1[HEAD + 3 * depth - 6]) >= 0.0:
        depth -= 2
    if depth == 1 and direction * (u + m1[HEAD]) >= 0.0:
        depth = 0
    if depth == 0:
        x = abs(u) / uy
        f, slope, converged = skeleton(x, alpha, r)
        F = Fy * f if u >= 0.0 else -Fy * f
        energy = Fy * uy * (0.5 * f * f + alpha / (r + 1.0) * power(f, r + 1.0))
    else:
        at = HEAD + 3 * (depth - 1)
        ur, Fr, Er = m1[at], m1[at + 1], m1[at + 2]
        d = 0.5 * abs(u - ur)
        f, slope, converged = skeleton(d / uy, alpha, r)
        F = Fr + direction * 2.0 * Fy * f
        energy = Er + 2.0 * d * (direction * Fr + Fy * f)
    if not converged:
        return NOT_CONVERGED
    m1[0], m1[1], m1[2], m1[3], m1[4] = depth, direction, u, F, energy
    out[0] = F
    out[1] = k / slope
    out[2] = 0.0
    out[3] = energy
    return OK


@dataclass(frozen=True)
class RambergOsgood(Law):
    """Initial stiffness `k`, reference force `Fy`, plastic share `alpha` > 0 at Fy, exponent `r` in (1, 100].

    Raises `InputError`.
    """

    k: float
    Fy: float
    alpha: float
    r: float

    kernel = kernel
    recoverable = "energy of the springs of the equivalent elastoplastic elements in parallel (Iwan 1966)"

    def __post_init__(self) -> None:
        positive("RambergOsgood.k", self.k)
        positive("RambergOsgood.Fy", self.Fy)
        within(
            "RambergOsgood.alpha",
            self.alpha,
            1e-6,
            1e6,
            hint="alpha is dimensionless: plastic over elastic at Fy",
        )
        within("RambergOsgood.r", self.r, 1.0, 100.0, open_low=True, hint="r = 1 is a linear spring")

    def initial_memory(self) -> np.ndarray:
        """Open reversals, direction, last deformation, force, energy; then these three of every reversal."""
        return np.zeros(HEAD + 3 * DEPTH)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "RambergOsgood":
        return cls(k=1e7, Fy=1e5, alpha=0.3, r=7.0)
