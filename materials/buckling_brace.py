"""Buckling brace: axial force and deformation of a bar that buckles, straightens and yields.

The deformation is split as u = F/k + e − s into elastic part, plastic elongation e and the shortening s of
the bowed bar:

    tension yield         F = Fy,  ė ≥ 0                      (bar straight, s = 0)
    straightening         F = R(s), ṡ ≤ 0
    buckling              F = −min[B, max(R(s), B − ½k(s − sB))],  ṡ ≥ 0
    resistance of the bow R(s) = Fy/(1 + √(s/s0)),  s0 = 2(Mp/Np)²/L
    buckling force        B = Fb·[r + (1 − r)·exp(−q/s0)],  sB where R(sB) = B

R is the rigid-plastic mechanism of a pinned bar of length L with a hinge in the middle: bow Δ = √(sL/2), F·Δ
= M, M/Mp + F/Np = 1. It holds the same when the bow is pulled straight. q is the shortening that has been
pulled straight so far: the buckling force of a bar that has once been bowed falls to r·Fb. Phenomenological
in the buckling force, its loss and the limit ½k on the drop after buckling (a bar of little imperfection
drops faster or snaps, which a test under displacement control would see as a jump); elastic bending of the
bow is left out, so unloading is as stiff as the straight bar. In each state the force works on what it moves,
so the law is passive for any history.

Source: mechanism after Nonaka, An elastic-plastic analysis of a bar under repeated axial loading, 1973; zones
of the cycle after Ikeda, Mahin & Dermitzakis, Phenomenological modeling of steel braces under cyclic loading,
1984; loss of buckling force after SEAOC 1988, r = 1/(1 + λ/(2·Cc)), Cc = √(2π²E/fy) (all from memory).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import NOT_CONVERGED, OK, compiled, law_kernel
from frame2d.materials.law import Law

#: Steepest drop of the buckling force over the shortening, as a share of k: our own choice.
DROP = 0.5


@compiled
def _bow(a, force, k, s0, low, high):  # type: ignore[no-untyped-def]
    """Root y = √(s/s0) in [low, high] of k(s0·y² − a)·(1 + y) = force, and whether it was found."""
    y = 0.5 * (low + high)
    for _ in range(100):
        spring = k * (s0 * y * y - a)
        residual = spring * (1.0 + y) - force
        if residual > 0.0:
            high = y
        else:
            low = y
        if abs(residual) <= 1e-14 * abs(force) or high - low <= 4e-16 * high:
            return y, True
        slope = 2.0 * k * s0 * y * (1.0 + y) + spring
        y = y - residual / slope if slope > 0.0 else low
        if not low < y < high:
            y = 0.5 * (low + high)
    return y, False


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Elastic trial; then buckle further, or straighten and perhaps yield."""
    k, Fy, Fb, s0, r = p[0], p[1], p[2], p[3], p[4]
    e, s, q = m0[0], m0[1], m0[2]
    F = k * (u - e + s)
    tangent = k
    a = e - u  # shortening at which the force would be zero
    y = math.sqrt(s / s0)
    if F > 0.0 and F * (1.0 + y) > Fy:
        start = s
        if u - e >= Fy / k:
            s = 0.0
            e = u - Fy / k
            F = Fy
            tangent = 0.0
        else:
            y, found = _bow(a, Fy, k, s0, 0.0, y)
            if not found:
                return NOT_CONVERGED
            s = s0 * y * y
            F = Fy / (1.0 + y)
            # dR/ds = −Fy/(2·s0·y·(1 + y)²)
            fall = Fy / (2.0 * s0 * (1.0 + y) ** 2)
            tangent = k * fall / (k * y + fall)
        q += start - s
    elif F < 0.0:
        B = Fb * (r + (1.0 - r) * math.exp(-q / s0))
        yB = Fy / B - 1.0
        sB = s0 * yB * yB
        resistance = min(B, max(Fy / (1.0 + y), B - DROP * k * (s - sB)))
        if F + resistance < 0.0:
            s = a - B / k
            tangent = 0.0
            if s > sB:
                # Resistance is the larger of line and mechanism, and k(s − a) + resistance grows with s: the
                # root for the larger is the smaller of the two roots.
                s = (s - DROP * sB) / (1.0 - DROP)
                tangent = -k * DROP / (1.0 - DROP)
                y, found = _bow(a, -Fy, k, s0, max(y, yB), math.sqrt(a / s0))
                if not found:
                    return NOT_CONVERGED
                if s0 * y * y < s:
                    s = s0 * y * y
                    fall = Fy / (2.0 * s0 * (1.0 + y) ** 2)
                    tangent = -k * fall / (k * y - fall)
            F = -k * (a - s)
    m1[0], m1[1], m1[2] = e, s, q
    out[0] = F
    out[1] = tangent
    out[2] = 0.0
    out[3] = 0.5 * F * F / k
    return OK


@dataclass(frozen=True)
class BucklingBrace(Law):
    """Brace of axial stiffness `k`, tension yield force `Fy`, buckling force `Fb` < Fy, both positive.

    `s0` (m) is the shortening at which the bow resists ½Fy, `reduced` the share r of `Fb` left after the
    first cycles. For a bar of known section use `of_section`.
    """

    k: float
    Fy: float
    Fb: float
    s0: float
    reduced: float = 0.7

    kernel = kernel

    def __post_init__(self) -> None:
        positive("BucklingBrace.k", self.k)
        positive("BucklingBrace.Fy", self.Fy)
        within(
            "BucklingBrace.Fb",
            self.Fb,
            0.0,
            self.Fy,
            open_low=True,
            open_high=True,
            hint="give it positive, below Fy",
        )
        positive("BucklingBrace.s0", self.s0)
        within("BucklingBrace.reduced", self.reduced, 0.0, 1.0, open_low=True, hint="it is a share of Fb")

    @classmethod
    def of_section(
        cls, E: float, A: float, Wpl: float, fy: float, L: float, Fb: float, slenderness: float
    ) -> "BucklingBrace":
        """Brace of length `L` (m) between pins, of area `A` (m²), `fy` and `E` (Pa).

        `Wpl` (m³) is the plastic modulus in the plane of buckling, `Fb` the buckling force (N) by the design
        code, `slenderness` L/i. Raises `InputError`.
        """
        for name, value in (
            ("E", E),
            ("A", A),
            ("Wpl", Wpl),
            ("fy", fy),
            ("L", L),
            ("slenderness", slenderness),
        ):
            positive(f"BucklingBrace.of_section.{name}", value)
        reduced = 1.0 / (1.0 + slenderness / (2.0 * math.sqrt(2.0 * math.pi**2 * E / fy)))
        return cls(k=E * A / L, Fy=A * fy, Fb=Fb, s0=2.0 * (Wpl / A) ** 2 / L, reduced=reduced)

    def initial_memory(self) -> np.ndarray:
        """Plastic elongation, shortening of the bow, shortening pulled straight so far."""
        return np.zeros(3)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "BucklingBrace":
        return cls(k=1e8, Fy=9e5, Fb=5e5, s0=1.5e-3)
