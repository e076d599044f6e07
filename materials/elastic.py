"""Linear elastic law: F = k·u (Hooke)."""

from dataclasses import dataclass
from typing import Any

from frame2d.errors import positive
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """F = k·u."""
    k = p[0]
    out[0] = k * u
    out[1] = k
    out[2] = 0.0
    out[3] = 0.5 * k * u * u
    return OK


@dataclass(frozen=True)
class Elastic(Law):
    """Linear spring of stiffness `k` (N/m or N·m/rad)."""

    k: float

    kernel = kernel
    recoverable = "½ku²: all of it"

    def __post_init__(self) -> None:
        positive("Elastic.k", self.k)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "Elastic":
        return cls(k=1e7)
