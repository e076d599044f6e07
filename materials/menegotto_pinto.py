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

A half-cycle that turns back before it reaches its own (u₀, F₀) is partial. The branch that it left stays in
memory and is rejoined where the next branch meets it, so that small reversals do not push the force beyond it.
This is the purpose of the four curves that Filippou et al. keep; here up to 8 open branches are kept, and when
they are used up the smallest partial cycle is forgotten.

Known defect: with a small R the reloading of a partial cycle bends before it meets the branch that was left, so
that many such cycles relax the force.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import OK, compiled, law_kernel
from frame2d.materials.law import Law, stiffness_ratio

#: Open branches that are remembered.
DEPTH = 8
#: Memory before the branches.
HEAD = 6


@compiled
def branch(k: float, b: float, m: Any, at: int, u: float) -> tuple[float, float]:
    """Force and slope of the branch whose ur, Fr, u₀ and R begin at `at` in the memory, for u not behind ur."""
    ur, R = m[at], m[at + 3]
    span = m[at + 2] - ur
    e = max((u - ur) / span, 0.0)
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
    return m[at + 1] + k * span * (b * e + (1.0 - b) * curve), k * (b + (1.0 - b) * bend)


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Continue the committed branch or begin the next one there; then rejoin the branches that are met."""
    k, Fy, b = p[0], p[1], p[2]
    uy = Fy / k
    for i in range(HEAD + 4 * DEPTH):
        m1[i] = m0[i]
    depth, direction, u_last, F = int(m0[0]), m0[1], m0[2], m0[3]
    step = u - u_last
    if step * direction < 0.0 or (direction == 0.0 and step != 0.0):
        if depth > 0:
            excursion = direction * (u_last - m1[HEAD + 4 * depth - 2]) / uy
            if excursion > 0.0:  # past its own yield, a branch makes all that are older obsolete
                for i in range(4):
                    m1[HEAD + i] = m1[HEAD + 4 * (depth - 1) + i]
                depth = 1
                m1[4] = max(m1[4], excursion)
            elif depth == DEPTH:
                depth -= 2
        m1[5] = max(m1[5], abs(u_last))
        direction = 1.0 if step > 0.0 else -1.0
        while depth > 1:  # what the new branch does not begin inside of it cannot rejoin
            at = HEAD + 4 * (depth - 2)
            outer = branch(k, b, m1, at, u_last)[0]
            if direction * (u_last - m1[at]) > 0.0 and direction * (outer - F) >= -1e-12 * Fy:
                break
            depth -= 2
        yielding = (1.0 - b) * Fy + p[6] * Fy * max(m1[5] / uy - p[7], 0.0)
        at = HEAD + 4 * depth
        m1[at], m1[at + 1] = u_last, F
        m1[at + 2] = (k * u_last - F + direction * yielding) / ((1.0 - b) * k)
        m1[at + 3] = p[3] - p[4] * m1[4] / (p[5] + m1[4])
        depth += 1
    tangent = k
    if depth > 0:
        F, tangent = branch(k, b, m1, HEAD + 4 * (depth - 1), u)
    while depth > 2 and direction * (u - m1[HEAD + 4 * (depth - 3)]) > 0.0:
        outer, slope = branch(k, b, m1, HEAD + 4 * (depth - 3), u)
        if direction * (F - outer) < 0.0:
            break
        F, tangent = outer, slope
        depth -= 2
    m1[0], m1[1], m1[2], m1[3] = depth, direction, u, F
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
        stiffness_ratio("MenegottoPinto.b", self.b)
        within("MenegottoPinto.R0", self.R0, 1.0, 1000.0)
        within(
            "MenegottoPinto.a1", self.a1, 0.0, self.R0, open_high=True, hint="R0 - a1 is the least R, above 0"
        )
        positive("MenegottoPinto.a2", self.a2)
        within("MenegottoPinto.a3", self.a3, 0.0, 1.0, hint="a3 is a share of Fy per uy, about 0.01")
        within("MenegottoPinto.a4", self.a4, 0.0, 1000.0)

    def initial_memory(self) -> np.ndarray:
        """Open branches, direction, last u and F, ξ, largest |u| at a reversal; ur, Fr, u₀, R of every branch."""
        return np.zeros(HEAD + 4 * DEPTH)

    @property
    def stiffness(self) -> float:
        return self.k

    def curvature(self, xi: float) -> float:
        """R after a plastic excursion of `xi` yield deformations."""
        return self.R0 - self.a1 * xi / (self.a2 + xi)

    @classmethod
    def example(cls) -> "MenegottoPinto":
        return cls(k=1e7, Fy=1e5, b=0.02, a3=0.01)
