"""A law of one's own, written in a script: a ring spring that is stiffer on loading than on unloading.

It runs at the speed of the laws that come with the library, and can be saved and loaded by name. The device and its
numbers are invented; the rule (friction proportional to the spring's own force) is common practice, no source.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import positive, within
from frame2d.kernels import OK, law_kernel
from frame2d.materials import Law, register
from frame2d.materials.drive import drive


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Force between k·u (unloading) and (1 + 2r)·k·u (loading), moving between them with a steep slope."""
    k, share, steep = p[0], p[1], p[2]
    low, high = k * u, (1.0 + 2.0 * share) * k * u
    if u < 0.0:
        low, high = high, low
    F = m0[0] + steep * k * (u - m0[1])
    slope = steep * k
    if high < F:
        F, slope = high, k * (1.0 + 2.0 * share) if u >= 0.0 else k
    elif low > F:
        F, slope = low, k if u >= 0.0 else k * (1.0 + 2.0 * share)
    m1[0], m1[1] = F, u
    out[0], out[1], out[2] = F, slope, 0.0
    out[3] = 0.5 * k * u * u
    return OK


@register
@dataclass(frozen=True)
class RingSpring(Law):
    """Self-centring spring of stiffness `k` with friction `share` r of its force; `steep` is the changeover slope."""

    k: float
    share: float = 0.3
    steep: float = 20.0

    kernel = kernel
    recoverable = "½ku², what the spring returns against its own friction"

    def __post_init__(self) -> None:
        positive("RingSpring.k", self.k)
        within("RingSpring.share", self.share, 0.0, 2.0)
        within("RingSpring.steep", self.steep, 5.0, 1e6)

    def initial_memory(self) -> np.ndarray:
        """Force and deformation."""
        return np.zeros(2)

    @property
    def stiffness(self) -> float:
        return self.steep * self.k

    @classmethod
    def example(cls) -> "RingSpring":
        return cls(k=1e6)


def run(points: int = 2000) -> float:
    """Work of one closed cycle, J."""
    u = 0.02 * np.sin(np.linspace(0.0, 2.0 * np.pi, points))
    return float(drive(RingSpring.example(), u).work[-1])


if __name__ == "__main__":
    print(f"one cycle of ±20 mm dissipates {run():.1f} J")
