"""Elastic contact on one side: nothing until a clearance is used up, then a linear spring.

    compression:  F = k·(u + c) for u < −c,    tension:  F = k·(u − c) for u > c,    F = 0 otherwise

There is no damping on closing. Source: common practice (penalty contact), no single source.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import known, positive, within
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Spring on the overlap beyond the clearance."""
    k, c, sign = p[0], p[1], p[2]
    overlap = sign * u - c
    if overlap < 0.0:
        overlap = 0.0
    out[0] = sign * k * overlap
    out[1] = k if overlap > 0.0 else 0.0
    out[2] = 0.0
    out[3] = 0.5 * k * overlap * overlap
    return OK


@dataclass(frozen=True)
class Contact(Law):
    """Spring of stiffness `k` on one `side` ("compression" or "tension") after a `clearance` (m)."""

    k: float
    clearance: float = 0.0
    side: str = "compression"

    kernel = kernel
    recoverable = "½k(overlap)²: all of it"

    def __post_init__(self) -> None:
        positive("Contact.k", self.k)
        within(
            "Contact.clearance",
            self.clearance,
            0.0,
            np.inf,
            hint="for an initial overlap add an initial force instead",
        )
        known("Contact.side", self.side, ("compression", "tension"))

    def parameters(self) -> np.ndarray:
        """Stiffness, clearance, sign of the deformation that closes."""
        return np.array([self.k, self.clearance, 1.0 if self.side == "tension" else -1.0])

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "Contact":
        return cls(k=1e8, clearance=0.002)
