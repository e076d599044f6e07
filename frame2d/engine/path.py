"""Statics along a path where the load factor is unknown: displacement and arc-length control, past peaks.

One linear condition closes the system: b·q = target. Displacement control has b = a unit vector (Batoz & Dhatt 1979);
arc length has the tangent of the last step, so that the condition is the plane normal to the predictor (Riks 1979).

With `held` ≥ 0 the matrix that is factored is K + σ·e·eᵀ, e the led freedom: it stays regular at a limit load and on the
plateau of a mechanism, where K is not. e·Δq = μ is then a second unknown beside the change of the load factor, and the
negative pivots of K follow from those of the factored matrix (Haynsworth, inertia of a partitioned matrix, 1968).
"""

import numpy as np

from frame2d.engine.evaluate import assemble
from frame2d.engine.implicit import commit
from frame2d.engine.newton import CONVERGED, NO_ANSWER, NOT_CONVERGED, residual
from frame2d.engine.plan import ITERATIONS, NEGATIVE, SEARCHES
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.kernels import compiled

#: Ways to iterate to equilibrium: Newton's whole steps; steps shortened by the work of the residual, or by its norm; the
#: initial stiffness, factored once.
NEWTON, BY_WORK, BY_NORM, INITIAL = 0, 1, 2, 3
#: Iterations with the initial stiffness over those that Newton is given.
PATIENCE = 12


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
    negative = factor_tangent(plan, room, room.z)
    solve_tangent(plan, room, pattern, out)
    return negative


@compiled
def unbalanced(plan, room, motion, base, pattern, lam, shift):
    """Residual at `room.q` and the load factor; returns its scaled norm."""
    for i in range(room.q.size):
        room.g[i] = base[i] + lam * pattern[i]
    return residual(plan, room, motion, shift, 0.0, 1.0, 0.0)


@compiled
def lead_to(
    plan, room, motion, base, pattern, b, target, start_factor, held, sigma, shift, tolerance, most, way
):
    """Iterate `room.q` and λ to equilibrium with b·q = target, without committing; returns outcome and λ.

    `way` BY_WORK shortens the step where the work of the residual along it has not fallen. That work is the slope of a
    potential when b is parallel to the pattern: hardening laws then converge from anywhere. BY_NORM shortens it where
    the residual itself has not fallen, which a short enough Newton step makes it do for any b (Armijo 1966, from memory).
    """
    n = motion.q.size
    along, hold, from_q = np.empty(n), np.zeros(n), np.empty(n)
    negative, factored = 0, False
    for i in range(n):
        room.qp[i] = motion.q[i]
        room.vp[i] = 0.0
    lam = start_factor
    norm = unbalanced(plan, room, motion, base, pattern, lam, shift)
    for iteration in range(most):
        room.note[4 + iteration % 32] = norm
        room.note[3] = iteration
        if not np.isfinite(norm):
            return NO_ANSWER, lam
        gap = target
        reach = abs(target)
        for i in range(n):
            gap -= b[i] * room.q[i]
            reach += abs(b[i] * room.q[i])
        closed = abs(gap) <= 1e-10 * reach + 1e-14
        if norm <= tolerance and closed:
            return CONVERGED, lam
        room.counts[ITERATIONS] += 1
        if not factored:
            assemble(plan, room, 1.0, way == INITIAL)
            if held >= 0:
                room.values[plan.start[held]] += sigma
                for i in range(n):
                    room.x[i] = 0.0
                room.x[held] = 1.0
            factor_tangent(plan, room, room.z)
            factored = way == INITIAL
            solve_tangent(plan, room, pattern, along)
            if held >= 0:
                solve_tangent(plan, room, room.x, hold)
            negative = room.counts[NEGATIVE]
        solve_tangent(plan, room, room.r, room.dx)
        mu, own = 0.0, 0.0
        from_r, from_p, from_e = 0.0, 0.0, 0.0
        for i in range(n):
            from_r += b[i] * room.dx[i]
            from_p += b[i] * along[i]
        if held >= 0:
            own = sigma * hold[held] - 1.0
            for i in range(n):
                from_e += sigma * b[i] * hold[i]
            room.counts[NEGATIVE] = negative + (1 if own > 0.0 else 0)
            bottom = along[held] * from_e - own * from_p
            if bottom == 0.0:
                return NOT_CONVERGED, lam
            change = (-room.dx[held] * from_e - own * (gap - from_r)) / bottom
            mu = (along[held] * (gap - from_r) + from_p * room.dx[held]) / bottom
        else:
            if from_p == 0.0:
                return NOT_CONVERGED, lam
            change = (gap - from_r) / from_p
        s0 = 0.0
        for i in range(n):
            room.dx[i] += change * along[i] + sigma * mu * hold[i]
            s0 += room.dx[i] * room.r[i]
            from_q[i] = room.q[i]
            room.q[i] += room.dx[i]
        before, from_lam = norm, lam
        lam += change
        norm = unbalanced(plan, room, motion, base, pattern, lam, shift)
        if way == BY_NORM and closed:
            eta = 1.0
            for _ in range(12):
                if norm <= (1.0 - 0.1 * eta) * before:
                    break
                eta *= 0.5
                room.counts[SEARCHES] += 1
                lam = from_lam + eta * change
                for i in range(n):
                    room.q[i] = from_q[i] + eta * room.dx[i]
                norm = unbalanced(plan, room, motion, base, pattern, lam, shift)
        if not (way == BY_WORK and closed) or norm <= 0.5 * before:
            continue
        # Regula falsi on the work of the residual along the step (as in `frame2d.engine.newton`).
        low, s_low, high, s_high, eta = 0.0, s0, 1.0, s0, 1.0
        bracketed = False
        for _ in range(40):
            if np.isfinite(norm):
                s = 0.0
                for i in range(n):
                    s += room.dx[i] * room.r[i]
                if abs(s) <= 0.02 * abs(s0):
                    break
                if s * s0 < 0.0:
                    if bracketed and s_high * s > 0.0:
                        s_low *= 0.5
                    high, s_high, bracketed = eta, s, True
                elif eta >= 1.0:
                    break
                else:
                    low, s_low = eta, s
                    s_high *= 0.5
            else:
                high, bracketed = eta, False
            if bracketed:
                eta = low + (high - low) * min(max(s_low / (s_low - s_high), 0.01), 0.99)
            else:
                eta = 0.5 * (low + high)
            room.counts[SEARCHES] += 1
            lam = from_lam + eta * change
            for i in range(n):
                room.q[i] = from_q[i] + eta * room.dx[i]
            norm = unbalanced(plan, room, motion, base, pattern, lam, shift)
    return NOT_CONVERGED, lam


@compiled
def accept(plan, room, motion, base, pattern, before, lam, scheme):
    """Commit the trial that `lead_to` found at load factor `lam`, coming from `before`."""
    n = motion.q.size
    old, new = np.empty(n), np.empty(n)
    for i in range(n):
        old[i] = base[i] + before * pattern[i]
        new[i] = base[i] + lam * pattern[i]
    commit(plan, room, motion, old, new, 1.0, scheme)
