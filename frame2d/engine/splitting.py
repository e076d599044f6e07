"""One step of operator splitting: one evaluation at an explicit predictor, one linear correction.

    r' = f(ũ) + K_I·(u' − ũ)

with ũ the Newmark predictor of the freedoms with mass and the last increment repeated for those without, and K_I the
stiffness that the operator was built with. Everything else is the balance of Hilber, Hughes & Taylor. The parts keep
the memory of ũ and report the corrected force: that is the force the frame is in balance with.
Source: Nakashima, Kato & Takaoka 1990; with α: Combescure & Pegon 1997.
"""

import numpy as np

from frame2d.engine.evaluate import assemble
from frame2d.engine.implicit import ALPHA_F, begin, commit
from frame2d.engine.newton import CONVERGED, NO_ANSWER, residual
from frame2d.engine.plan import ITERATIONS
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.kernels import inner, uncounted

#: Entry of `Room.note`: step length for which the factor in the room holds.
FACTORED = 43


@uncounted
def predict(plan, room, motion, p0, p1, shift, dt, scheme):
    """Evaluate the parts at ũ; `room.r` is then the load that the correction has to balance."""
    weight, cv = begin(plan, room, motion, p0, p1, dt, scheme)
    for i in range(motion.q.size):
        if plan.inertial[i] > 0.0:
            room.q[i] = room.qp[i]
    if np.isfinite(residual(plan, room, motion, shift, dt, weight, cv)):
        return CONVERGED
    return NO_ANSWER


@inner
def splitting_step(plan, room, motion, op, p0, p1, shift, dt, scheme):
    """One step; commits and returns CONVERGED, or leaves `motion` as it was."""
    if predict(plan, room, motion, p0, p1, shift, dt, scheme) != CONVERGED:
        return NO_ANSWER
    if room.note[FACTORED] != dt:
        assemble(plan, room, 1.0 - scheme[ALPHA_F], True)
        factor_tangent(plan, room, room.z)
        room.note[FACTORED] = dt
    room.counts[ITERATIONS] += 1
    solve_tangent(plan, room, room.r, room.dx)
    for i in range(motion.q.size):
        room.q[i] += room.dx[i]
    correct(plan, room, op)
    commit(plan, room, motion, p0, p1, dt, scheme)
    return CONVERGED


@inner
def correct(plan, room, op):
    """Add K_I·(u' − ũ) to the force of every part, with its elastic energy."""
    for i in range(plan.g_start.size - 1):
        s = 0.0
        for t in range(plan.g_start[i], plan.g_start[i + 1]):
            s += plan.g_val[t] * room.dx[plan.g_col[t]]
        room.w[i] = s
    for part in range(plan.address.size):
        first, width = plan.d_at[part], plan.width[part]
        for a in range(width):
            force = 0.0
            for b in range(width):
                force += op.ke[plan.k_at[part] + a * width + b] * room.w[first + b]
            room.e[part] += (room.fe[first + a] + 0.5 * force) * room.w[first + a]
            room.fe[first + a] += force
        for a in range(width):
            room.d[first + a] += room.w[first + a]
