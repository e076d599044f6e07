"""Internal forces and tangent of the parts at a trial displacement."""

import numpy as np

from frame2d.engine.factor import ONE, symmetric_product
from frame2d.kernels import at, call_member, uncounted

#: Entry of `Room.note`: the weight with which the tangent's unsymmetric share counts.
TWIST = 42

__all__ = ["assemble", "evaluate", "gather_forces", "symmetric_product"]


@uncounted
def evaluate(plan, room, q, v, shift, m0, m1, dt, c):
    """Call every part's kernel at displacement `q`, velocity `v`; returns -1, or the part that had no answer."""
    d, w = room.d, room.w
    moving = dt > 0.0
    for i in range(np.uint64(plan.g_start.size - 1)):
        s = shift[i]
        rate = 0.0
        for t in range(np.uint64(plan.g_start[i]), np.uint64(plan.g_start[i + ONE])):
            s += plan.g_val[t] * q[plan.g_col[t]]
            rate += plan.g_val[t] * v[plan.g_col[t]]
        d[i] = s
        w[i] = rate if moving else 0.0
    for part in range(plan.address.size):
        here = plan.d_at[part]
        status = call_member(
            plan.address[part],
            at(plan.parameters, plan.p_at[part]),
            at(m0, plan.m_at[part]),
            at(d, here),
            at(w, here),
            dt,
            c,
            at(room.scratch, 0),
            at(room.fe, here),
            at(room.ke, plan.k_at[part]),
            at(room.e, part),
            at(m1, plan.m_at[part]),
        )
        if status != 0:
            return part
    return -1


@uncounted
def gathered(plan, fe, i):
    """Force of the parts on the free freedom `i`."""
    s = 0.0
    for t in range(np.uint64(plan.s_start[i]), np.uint64(plan.s_start[i + ONE])):
        s += plan.s_val[t] * fe[plan.s_col[t]]
    return s


@uncounted
def gather_forces(plan, fe, out):
    """out += Gᵀ·fe: forces of the parts on the free freedoms."""
    for i in range(np.uint64(out.size)):
        out[i] += gathered(plan, fe, i)


@uncounted
def assemble(plan, room, weight, virgin):
    """Tangent in the factor's pattern: effective constant matrix plus `weight` times the parts (or virgin parts)."""
    values = room.values
    room.note[TWIST] = 0.0 if virgin else weight
    if virgin:
        for place in range(np.uint64(values.size)):
            values[place] = room.constant[place] + weight * plan.virgin[place]
    else:
        for place in range(np.uint64(values.size)):
            values[place] = room.constant[place]
        for t in range(np.uint64(plan.t_place.size)):
            values[plan.t_place[t]] += weight * plan.t_weight[t] * room.ke[plan.t_entry[t]]


@uncounted
def place_constant(plan, room):
    """The effective constant matrix, just made, in the factor's pattern as well."""
    for place in range(np.uint64(room.constant.size)):
        room.constant[place] = 0.0
    for t in range(np.uint64(plan.a_place.size)):
        room.constant[plan.a_place[t]] = room.effective[t]
