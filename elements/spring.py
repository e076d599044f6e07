"""One law on one deformation: the part that hinges, links and braces are made of."""

from typing import Any

import numpy as np

from frame2d.elements.member import Part
from frame2d.kernels import at, call_law, member_kernel
from frame2d.materials.law import Law


@member_kernel
def spring(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Force of the law p[0] at deformation d − m0[0], where m0[0] is the stress-free deformation."""
    m1[0] = m0[0]
    status = call_law(p[0], at(p, 1), at(m0, 1), d[0] - m0[0], w[0], dt, at(scratch, 0), at(m1, 1))
    f[0] = scratch[0]
    k[0] = scratch[1] + c * scratch[2]
    e[0] = scratch[3]
    return status


def spring_part(law: Law, row: np.ndarray, role: str) -> Part:
    """Part of one `law` on the deformation ``row · freedoms``."""
    parameters = np.concatenate([[float(law.kernel.address)], law.parameters()])
    memory = np.concatenate([[0.0], law.initial_memory()])
    return Part(spring, parameters, memory, np.atleast_2d(row), role, law)
