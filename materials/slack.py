"""Two-sided slack, as of a bolt in an oversized hole: an inner law acts once the clearance is used up.

The inner deformation d follows u − c while the contact pushes forward (F > 0) and u + c while it pushes back
(F < 0). When the inner law has unloaded to F = 0, d stays where it is until the whole clearance 2c has been
crossed. So an inner law that yields moves the slack along with its plastic deformation, and a linear one
gives the plain two-sided gap.

Source: slip of a bolt between the walls of its hole, common practice, no source.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, positive
from frame2d.kernels import NOT_CONVERGED, OK, at, call_law, law_kernel
from frame2d.materials.law import Law

#: Memory before the inner memory: contact (−1, 0, 1), inner deformation, and what the inner kernel returns.
_HEAD = 6


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Try the contact that is possible; without one unload the inner law to zero force and leave it there."""
    c, inner, own = p[0], p[1], at(p, 2)
    contact, d0 = m0[0], m0[1]
    inner0, inner1, answer = at(m0, _HEAD), at(m1, _HEAD), at(m1, 2)
    if contact > 0.0 or u - c > d0:
        status = call_law(inner, own, inner0, u - c, v, dt, answer, inner1)
        if status != OK:
            return status
        if answer[0] > 0.0:
            m1[0], m1[1] = 1.0, u - c
            out[0], out[1], out[2], out[3] = answer[0], answer[1], answer[2], answer[3]
            return OK
    if contact < 0.0 or u + c < d0:
        status = call_law(inner, own, inner0, u + c, v, dt, answer, inner1)
        if status != OK:
            return status
        if answer[0] < 0.0:
            m1[0], m1[1] = -1.0, u + c
            out[0], out[1], out[2], out[3] = answer[0], answer[1], answer[2], answer[3]
            return OK
    d = d0
    status = call_law(inner, own, inner0, d, 0.0, dt, answer, inner1)
    if status != OK:
        return status
    if contact != 0.0:
        # The step left the contact: the inner law unloads to F = 0 between d0 and the wall that moved away.
        tolerance = 1e-12 * abs(answer[0])
        near, far = d0, (max(u - c, -1e300) if contact > 0.0 else u + c)
        for i in range(200):
            if abs(answer[0]) <= tolerance or abs(near - far) <= 4e-16 * (abs(near) + abs(far)):
                break
            if answer[0] * contact > 0.0:
                near = d
            else:
                far = d
            guess = d - answer[0] / answer[1] if answer[1] > 0.0 else far
            d = guess if min(near, far) < guess < max(near, far) and i % 4 != 3 else 0.5 * (near + far)
            status = call_law(inner, own, inner0, d, 0.0, dt, answer, inner1)
            if status != OK:
                return status
        else:
            return NOT_CONVERGED
    m1[0], m1[1] = 0.0, d
    out[0], out[1], out[2], out[3] = 0.0, 0.0, 0.0, answer[3]
    return OK


@dataclass(frozen=True)
class Slack(Law):
    """`inner` law behind a `clearance` (m) either side: the hole is 2·clearance wider than the bolt.

    While the bolt is free the inner law is at rest; a damper inside meets the full rate at the moment of
    contact.
    """

    inner: Law
    clearance: float

    kernel = kernel
    recoverable = "that of the inner law"

    def __post_init__(self) -> None:
        if not isinstance(self.inner, Law):
            raise InputError(
                f"Slack.inner is {self.inner!r}; allowed: a law. Likely mistake: a stiffness; use Elastic(k)"
            )
        positive("Slack.clearance", self.clearance, hint="without clearance use the inner law itself")

    def parameters(self) -> np.ndarray:
        """Clearance, address of the inner kernel, its parameters."""
        return np.concatenate([[self.clearance, float(self.inner.kernel.address)], self.inner.parameters()])

    def initial_memory(self) -> np.ndarray:
        """Contact, inner deformation, scratch, inner memory."""
        return np.concatenate([np.zeros(_HEAD), self.inner.initial_memory()])

    def memories(self, memory: np.ndarray) -> tuple[np.ndarray, ...]:
        """View of the memory of the inner law."""
        return (memory[_HEAD:],)

    @property
    def stiffness(self) -> float:
        return self.inner.stiffness

    @classmethod
    def example(cls) -> "Slack":
        from frame2d.materials.bilinear import Bilinear

        return cls(inner=Bilinear(k=1e7, Fy=1e5, b=0.05), clearance=0.002)
