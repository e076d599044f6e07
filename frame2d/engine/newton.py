"""Newton iteration to equilibrium with line search.

The residual is r(q) = g − E·q − w·Gᵀ·f(q): E gathers all that is linear (stiffness of linear members, mass and damping
with the scheme's factors), w weights the parts' forces in time. Line search on the work of the residual along the
step: Crisfield, Non-linear Finite Element Analysis of Solids and Structures 1, 1991, ch. 9 (from memory).
"""

import numpy as np

from frame2d.engine.evaluate import assemble, evaluate, gathered, symmetric_product
from frame2d.engine.factor import solve_forward
from frame2d.engine.plan import EVALUATIONS, ITERATIONS, SEARCHES
from frame2d.engine.solve import end_solve, factor_tangent, pattern_of
from frame2d.kernels import inner, uncounted

CONVERGED, NOT_CONVERGED, NO_ANSWER = 0, 1, 2
#: Entry of `Room.note`: what rounding leaves of the residual's largest term.
ROUNDING = 41


@uncounted
def residual(plan, room, motion, shift, dt, weight, cv):
    """Residual at `room.q`; returns its scaled norm, or infinity where a part has no answer."""
    n = room.q.size
    for i in range(n):
        room.v[i] = room.vp[i] + cv * (room.q[i] - room.qp[i])
    failed = evaluate(plan, room, room.q, room.v, shift, motion.m0, motion.m1, dt, cv)
    room.counts[EVALUATIONS] += 1
    if failed >= 0:
        room.note[2] = failed
        return np.inf
    symmetric_product(plan.a_start, plan.a_row, room.effective, room.q, room.z)
    norm = 0.0
    largest = 0.0
    for i in range(np.uint64(n)):
        largest = max(largest, abs(room.z[i]) * plan.scale[i])
        ri = room.g[i] - room.z[i] - weight * gathered(plan, room.fe, i)
        room.r[i] = ri
        size = abs(ri) * plan.scale[i]
        if not size <= norm:
            norm = size
    # What rounding leaves of terms this large is no imbalance.
    room.note[ROUNDING] = 1e-15 * largest
    return norm


@uncounted
def equilibrate(plan, room, motion, shift, dt, weight, cv, tolerance, most, virgin):
    """Iterate `room.q` to a scaled residual below `tolerance` in at most `most` iterations; returns the outcome."""
    n = room.q.size
    factored = False
    before, s0 = 0.0, 0.0
    for iteration in range(most + 1):
        norm = residual(plan, room, motion, shift, dt, weight, cv)
        if iteration > 0 and not norm <= 0.9 * before:
            norm = search(plan, room, motion, shift, dt, weight, cv, s0, norm, before)
        if not np.isfinite(norm):
            return NO_ANSWER
        room.note[4 + iteration % 32] = norm
        if norm <= max(tolerance, room.note[ROUNDING]):
            return CONVERGED
        if iteration == most:
            break
        room.note[3] = iteration
        room.counts[ITERATIONS] += 1
        for i in range(n):
            room.dx[i] = room.r[i]
        if virgin and factored:
            solve_forward(pattern_of(plan), room.lower, room.dx)
        else:
            assemble(plan, room, weight, virgin)
            factor_tangent(plan, room, room.dx)
            factored = True
        end_solve(plan, room, room.r, room.dx)
        before = norm
        s0 = 0.0
        for i in range(n):
            s0 += room.dx[i] * room.r[i]
            room.x[i] = room.q[i]
            room.q[i] += room.dx[i]
    return NOT_CONVERGED


@inner
def search(plan, room, motion, shift, dt, weight, cv, s0, norm, before):
    """Keep the whole step, or find a length in (0, 1) where the residual's work along it has fallen; returns the norm."""
    n = room.q.size
    s1 = 0.0
    if np.isfinite(norm):
        for i in range(n):
            s1 += room.dx[i] * room.r[i]
        if abs(s1) <= 0.8 * abs(s0) or (s1 * s0 > 0.0 and norm < 4.0 * before):
            return norm
    low, s_low = 0.0, s0
    high, s_high = 1.0, s1
    bracketed = np.isfinite(norm) and s0 * s1 < 0.0
    eta = 1.0
    for _ in range(12):
        if bracketed:
            eta = low + (high - low) * s_low / (s_low - s_high)
            span = high - low
            eta = min(max(eta, low + 0.05 * span), high - 0.05 * span)
        else:
            eta *= 0.5
        for i in range(n):
            room.q[i] = room.x[i] + eta * room.dx[i]
        norm = residual(plan, room, motion, shift, dt, weight, cv)
        room.counts[SEARCHES] += 1
        if not np.isfinite(norm):
            high, bracketed = eta, False
            continue
        s = 0.0
        for i in range(n):
            s += room.dx[i] * room.r[i]
        if abs(s) <= 0.5 * abs(s0) or norm <= 0.7 * before:
            return norm
        if s * s_low > 0.0:
            low, s_low = eta, s
            if bracketed:
                s_high *= 0.5
            else:
                return norm
        else:
            if bracketed:
                s_low *= 0.5
            high, s_high, bracketed = eta, s, True
    return norm
