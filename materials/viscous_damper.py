"""Linear viscous damper: F = c·v."""

from dataclasses import dataclass
from typing import Any

from frame2d.errors import positive
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """F = c·v."""
    c = p[0]
    out[0] = c * v
    out[1] = 0.0
    out[2] = c
    out[3] = 0.0
    return OK


@dataclass(frozen=True)
class ViscousDamper(Law):
    """Damper of constant `c` (N·s/m or N·m·s/rad)."""

    c: float

    kernel = kernel
    recoverable = "none: all of the work is dissipated"

    def __post_init__(self) -> None:
        positive("ViscousDamper.c", self.c)

    @property
    def stiffness(self) -> float:
        return 0.0

    @classmethod
    def example(cls) -> "ViscousDamper":
        return cls(c=5e5)
