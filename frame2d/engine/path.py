"""Statics along a path where the load factor is unknown: displacement and arc-length control, past peaks.

One linear condition closes the system: b·q + c·λ = target. Displacement control has b = a unit vector, c = 0 (Batoz &
Dhatt 1979); arc length has the tangent of the last step, so that the condition is the plane normal to the predictor
(Riks 1979). Each iteration solves twice with the same factor.
"""

import numpy as np

from frame2d.engine.evaluate import assemble
from frame2d.engine.implicit import commit
from frame2d.engine.newton import CONVERGED, NO_ANSWER, NOT_CONVERGED, residual
from frame2d.engine.plan import ITERATIONS
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.kernels import compiled


@compiled
def tangent_direction(plan, room, motion, pattern, shift, out):
    """out = K⁻¹·pattern at the committed state; returns the negative pivots, or −1 where a part has no answer."""
    n = motion.q.size
    for i in range(n):
        room.q[i] = motion.q[i]
        room.qp[i] = motion.q[i]
        room.vp[i] = 0.0
        room.g[i] = 0.0
    if not np.isfinite(residual(plan, room, motion, shift, 0.0, 1.0, 0.0)):
        return -1
    assemble(plan, room, 1.0, False)
    negative = factor_tangent(plan, room)
    solve_tangent(plan, room, pattern, out)
    return negative


@compiled
def controlled_step(
    plan,
    room,
    motion,
    base,
    pattern,
    factor,
    b,
    c,
    target,
    start,
    start_factor,
    shift,
    scheme,
    tolerance,
    most,
):
    """From the guess `start`, `start_factor` iterate to equilibrium with b·q + c·λ = target; returns outcome and λ."""
    n = motion.q.size
    along = np.empty(n)
    for i in range(n):
        room.q[i] = start[i]
        room.qp[i] = motion.q[i]
        room.vp[i] = 0.0
    lam = start_factor
    for iteration in range(most):
        for i in range(n):
            room.g[i] = base[i] + lam * pattern[i]
        norm = residual(plan, room, motion, shift, 0.0, 1.0, 0.0)
        room.note[4 + iteration % 32] = norm
        room.note[3] = iteration
        if not np.isfinite(norm):
            return NO_ANSWER, lam
        gap = target - c * lam
        reach = abs(target)
        for i in range(n):
            gap -= b[i] * room.q[i]
            reach += abs(b[i] * room.q[i])
        if norm <= tolerance and abs(gap) <= 1e-10 * reach + 1e-14:
            for i in range(n):
                along[i] = base[i] + factor * pattern[i]
                room.x[i] = base[i] + lam * pattern[i]
            commit(plan, room, motion, along, room.x, 1.0, scheme)
            return CONVERGED, lam
        assemble(plan, room, 1.0, False)
        factor_tangent(plan, room)
        room.counts[ITERATIONS] += 1
        solve_tangent(plan, room, room.r, room.dx)
        solve_tangent(plan, room, pattern, along)
        bottom = c
        for i in range(n):
            gap -= b[i] * room.dx[i]
            bottom += b[i] * along[i]
        if bottom == 0.0:
            return NOT_CONVERGED, lam
        change = gap / bottom
        lam += change
        for i in range(n):
            room.q[i] += room.dx[i] + change * along[i]
    return NOT_CONVERGED, lam
