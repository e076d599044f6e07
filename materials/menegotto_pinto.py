"""Menegotto-Pinto law: curved branches between an elastic and a hardening asymptote.

Branch from the reversal (ur, Fr), in the direction s = ±1:

    e = (u − ur)/(u₀ − ur),   F = Fr + (F₀ − Fr)·[b·e + (1 − b)·e/(1 + |e|ᴿ)^(1/R)]

(u₀, F₀) is where the line of slope k through (ur, Fr) meets the asymptote F = b·k·u + s[(1 − b)Fy + Fst]. At
a reversal

    R = R₀ − a₁ξ/(a₂ + ξ),   Fst = a₃·Fy·(umax/uy − a₄) ≥ 0

Sources: Menegotto & Pinto, Method of analysis for cyclically loaded R.C. plane frames, IABSE 1973; Filippou,
Popov & Bertero, Effects of bond deterioration on hysteretic behavior of reinforced concrete joints, 1983, for
the shift Fst of the asymptote by isotropic hardening (from memory). Authors differ on ξ: here it is the
plastic excursion |ur − u₀|/uy of the half-cycle that ends (Menegotto & Pinto), and the largest one so far, so
that a small unloading does not make the next branch sharp again (own rule). umax is the largest |u| at a
reversal.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Continue the committed branch, or begin the next one at the committed point."""
    k, Fy, b = p[0], p[1], p[2]
    uy = Fy / k
    direction, u_last, F_last = m0[0], m0[1], m0[2]
    ur, Fr, u0, R, xi, u_max = m0[3], m0[4], m0[5], m0[6], m0[7], m0[8]
    step = u - u_last
    if step * direction < 0.0 or (direction == 0.0 and step != 0.0):
        xi = max(xi, direction * (u_last - u0) / uy)
        u_max = max(u_max, abs(u_last))
        direction = 1.0 if step > 0.0 else -1.0
        ur, Fr = u_last, F_last
        shift = p[6] * Fy * max(u_max / uy - p[7], 0.0)
        u0 = (k * ur - Fr + direction * ((1.0 - b) * Fy + shift)) / ((1.0 - b) * k)
        R = p[3] - p[4] * xi / (p[5] + xi)
    F, tangent = F_last, k
    if direction != 0.0:
        span = u0 - ur
        e = (u - ur) / span
        # The two forms are equal; each keeps its power below 1.
        if e <= 1.0:
            base = 1.0 + e**R
            root = base ** (-1.0 / R)
            bend = root / base
            curve = e * root
        else:
            tail = e**-R
            base = 1.0 + tail
            curve = base ** (-1.0 / R)
            bend = curve / base * tail / e
        F = Fr + k * span * (b * e + (1.0 - b) * curve)
        tangent = k * (b + (1.0 - b) * bend)
    m1[0], m1[1], m1[2], m1[3], m1[4] = direction, u, F, ur, Fr
    m1[5], m1[6], m1[7], m1[8] = u0, R, xi, u_max
    out[0] = F
    out[1] = tangent
    out[2] = 0.0
    out[3] = 0.5 * F * F / k
    return OK


@dataclass(frozen=True)
class MenegottoPinto(Law):
    """Stiffness `k`, yield force `Fy`, hardening ratio `b` in [0, 1); curvature `R0`, `a1` < R0, `a2`.

    `a3` > 0 adds isotropic hardening once deformations exceed `a4`·uy. R0, a1, a2 default to Menegotto &
    Pinto 1973 (from memory). Raises `InputError`.
    """

    k: float
    Fy: float
    b: float = 0.01
    R0: float = 20.0
    a1: float = 18.5
    a2: float = 0.15
    a3: float = 0.0
    a4: float = 1.0

    kernel = kernel

    def __post_init__(self) -> None:
        positive("MenegottoPinto.k", self.k)
        positive("MenegottoPinto.Fy", self.Fy)
        within(
            "MenegottoPinto.b",
            self.b,
            0.0,
            1.0,
            open_high=True,
            hint="b is a ratio of stiffnesses, not a stiffness",
        )
        within("MenegottoPinto.R0", self.R0, 1.0, 1000.0)
        within(
            "MenegottoPinto.a1", self.a1, 0.0, self.R0, open_high=True, hint="R0 - a1 is the least R, above 0"
        )
        positive("MenegottoPinto.a2", self.a2)
        within("MenegottoPinto.a3", self.a3, 0.0, 1.0, hint="a3 is a share of Fy per uy, about 0.01")
        within("MenegottoPinto.a4", self.a4, 0.0, 1000.0)

    def initial_memory(self) -> np.ndarray:
        """Direction, last u and F, reversal ur and Fr, intersection u₀, R, ξ, largest |u| at a reversal."""
        return np.zeros(9)

    @property
    def stiffness(self) -> float:
        return self.k

    def curvature(self, xi: float) -> float:
        """R after a plastic excursion of `xi` yield deformations."""
        return self.R0 - self.a1 * xi / (self.a2 + xi)

    @classmethod
    def example(cls) -> "MenegottoPinto":
        return cls(k=1e7, Fy=1e5, b=0.02, a3=0.01)
