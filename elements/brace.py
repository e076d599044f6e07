"""Brace: a pin-ended member with one law on its elongation, in linear, P-Delta or corotational geometry."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.elements.member import GEOMETRIES, Part, Pieces, described
from frame2d.elements.spring import spring_part
from frame2d.errors import InputError, known, within
from frame2d.kernels import OUT_OF_RANGE, at, call_law, member_kernel
from frame2d.materials.law import Law


@member_kernel
def bar(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Bar on four displacements; p = L, cos, sin, exact (1) or second-order (0), law address, law parameters."""
    L, cx, cy = p[0], p[1], p[2]
    du, dv = d[2] - d[0], d[3] - d[1]
    if p[3] > 0.0:
        x, y = L * cx + du, L * cy + dv
        length = math.sqrt(x * x + y * y)
        if length < 1e-6 * L:
            return OUT_OF_RANGE
        rx, ry = x / length, y / length
        zx, zy = -ry, rx
        stretch = (2.0 * L * (cx * du + cy * dv) + du * du + dv * dv) / (length + L)
    else:
        length = L
        psi = (cx * dv - cy * du) / L
        zx, zy = -cy, cx
        rx, ry = cx + psi * zx, cy + psi * zy
        stretch = cx * du + cy * dv + 0.5 * psi * psi * L
    rate = rx * (w[2] - w[0]) + ry * (w[3] - w[1])
    m1[0] = m0[0]
    status = call_law(p[4], at(p, 5), at(m0, 1), stretch - m0[0], rate, dt, at(scratch, 0), at(m1, 1))
    N, stiff = scratch[0], scratch[1] + c * scratch[2]
    f[0], f[1], f[2], f[3] = -N * rx, -N * ry, N * rx, N * ry
    kxx = stiff * rx * rx + N / length * zx * zx
    kxy = stiff * rx * ry + N / length * zx * zy
    kyy = stiff * ry * ry + N / length * zy * zy
    k[0], k[1], k[2], k[3] = kxx, kxy, -kxx, -kxy
    k[4], k[5], k[6], k[7] = kxy, kyy, -kxy, -kyy
    k[8], k[9], k[10], k[11] = -kxx, -kxy, kxx, kxy
    k[12], k[13], k[14], k[15] = -kxy, -kyy, kxy, kyy
    e[0] = scratch[3]
    return status


@dataclass(frozen=True)
class Brace:
    """Pin-ended member whose axial force follows `law` (N against m of elongation).

    `mass_per_length` (kg/m) is lumped half at each end. `geometry`: "linear", "p-delta" or "corotational".
    """

    law: Law
    mass_per_length: float = 0.0
    geometry: str = "linear"

    def __post_init__(self) -> None:
        if not isinstance(self.law, Law):
            raise InputError(
                f"Brace.law is {self.law!r}; allowed: a law. Likely mistake: a stiffness, use Elastic(k)"
            )
        within("Brace.mass_per_length", self.mass_per_length, 0.0, 1e9, hint="kg/m, not N/m")
        known("Brace.geometry", self.geometry, GEOMETRIES)

    def laws(self) -> dict[str, Law]:
        """The axial law."""
        return {"axial": self.law}

    def describe(self) -> dict[str, Any]:
        """Plain data."""
        return described(self)

    def pieces(self, xi: float, yi: float, xj: float, yj: float) -> Pieces:
        """One part: the law on the elongation."""
        L = math.hypot(xj - xi, yj - yi)
        if L <= 0.0:
            raise InputError(
                "a Brace has length 0; allowed: above 0. Likely mistake: both nodes at one point"
            )
        c, s = (xj - xi) / L, (yj - yi) / L
        half = 0.5 * self.mass_per_length * L
        pieces = Pieces(mass=np.diag([half, half, 0, half, half, 0]))
        if self.geometry == "linear":
            pieces.parts.append(spring_part(self.law, np.array([-c, -s, 0, c, s, 0]), "axial"))
        else:
            exact = 1.0 if self.geometry == "corotational" else 0.0
            parameters = np.concatenate(
                [[L, c, s, exact, float(self.law.kernel.address)], self.law.parameters()]
            )
            memory = np.concatenate([[0.0], self.law.initial_memory()])
            transform = np.zeros((4, 6))
            transform[[0, 1, 2, 3], [0, 1, 3, 4]] = 1.0
            pieces.parts.append(Part(bar, parameters, memory, transform, "axial", self.law))
        return pieces
