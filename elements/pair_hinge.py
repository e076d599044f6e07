"""A hinge of axial force and moment as a part: two deformations (elongation, rotation), two forces."""

from typing import Any

import numpy as np

from frame2d.elements.member import Part
from frame2d.kernels import at, member_kernel
from frame2d.materials.pair import call_pair
from frame2d.materials.pair_hinge import PairHinge


@member_kernel
def pair_hinge(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Forces of the pair law p[0] at d − m0[0:2], where m0[0:2] are the stress-free deformations."""
    m1[0], m1[1] = m0[0], m0[1]
    scratch[0], scratch[1] = d[0] - m0[0], d[1] - m0[1]
    status = call_pair(p[0], at(p, 1), at(m0, 2), at(scratch, 0), at(scratch, 2), at(m1, 2))
    f[0], f[1] = scratch[2], scratch[3]
    k[0], k[1], k[2], k[3] = scratch[4], scratch[5], scratch[6], scratch[7]
    e[0] = scratch[8]
    return status


def pair_part(hinge: PairHinge, rows: np.ndarray, role: str) -> Part:
    """Part of one `hinge` on (elongation, rotation) = rows · freedoms."""
    parameters = np.concatenate([[float(hinge.kernel.address)], hinge.parameters()])
    memory = np.concatenate([np.zeros(2), hinge.initial_memory()])
    return Part(pair_hinge, parameters, memory, rows, role, hinge)
