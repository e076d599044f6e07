"""A step of operator splitting, linearly implicit or explicit schemes in two halves, around a measured force.

`predict` finds the displacement that is commanded and evaluates the computed part there, so that a step which the
computed part cannot answer is never commanded; `correct` takes the measured force and commits. Equations: those of
`frame2d.engine.splitting` and `frame2d.engine.explicit`, where a measured force t(d) at d = L·q is one more load,

    p̃ = p − Lᵀ·t,   t' = t(L·ũ) + K_t·L·(u' − ũ)  (splitting),   t' = t(L·u')  (explicit),

with K_t the specimen's share of the operator. The explicit massless freedoms are iterated with the factor of the virgin
frame, made once; a full Newton iteration follows only where that does not converge.
"""

from typing import NamedTuple

import numpy as np

from frame2d.engine.evaluate import assemble, gather_forces, symmetric_product
from frame2d.engine.explicit import EXPLICIT, dense_product
from frame2d.engine.implicit import ALPHA_F, ALPHA_M, BETA, GAMMA, commit, prepare
from frame2d.engine.newton import CONVERGED, NO_ANSWER, NOT_CONVERGED, ROUNDING, equilibrate, residual
from frame2d.engine.plan import ALGORITHM, DAMPED, ITERATIONS, STEPS
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.engine.splitting import FACTORED
from frame2d.engine.splitting import correct as correct_parts
from frame2d.kernels import uncounted

#: Constant-stiffness iterations of the massless freedoms before a full Newton iteration is tried.
PATIENCE = 8


class Link(NamedTuple):
    """The interface as compiled code sees it; f interface freedoms, n free freedoms."""

    #: d = rows · (q − origin) + at.
    rows: np.ndarray  # (f, n)
    origin: np.ndarray  # (n,)
    at: np.ndarray  # (f,)
    #: The specimen's share of the operator.
    operator: np.ndarray  # (f, f)
    #: Force that counts as none: the reading at the start.
    zero: np.ndarray  # (f,)
    #: Written: displacement to command, measured force carried to the end of the step.
    target: np.ndarray  # (f,)
    force: np.ndarray  # (f,)
    moved: np.ndarray  # (f,)
    #: Written: load with the measured force at the start and at the end of the step.
    p0: np.ndarray  # (n,)
    p1: np.ndarray  # (n,)


@uncounted
def load_of(base, influence, ground, out):
    """out = base + ground·influence."""
    for i in range(out.size):
        out[i] = base[i] + ground * influence[i]


@uncounted
def _target(link, q):
    for k in range(link.at.size):
        s = link.at[k]
        for i in range(q.size):
            s += link.rows[k, i] * (q[i] - link.origin[i])
        link.target[k] = s


# The engine's inlined functions, each compiled here once.


@uncounted
def _factor_at_rest(plan, room, weight):
    assemble(plan, room, weight, True)
    factor_tangent(plan, room)


@uncounted
def _solve(plan, room):
    solve_tangent(plan, room, room.r, room.dx)


@uncounted
def _forces(plan, room):
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, room.q, room.y)
    gather_forces(plan, room.fe, room.y)


@uncounted
def _newton(held, room, motion, dt, cv, tolerance, most, virgin):
    return equilibrate(held, room, motion, room.shift, dt, 1.0, cv, tolerance, most, virgin)


@uncounted
def _measured(link, force, p1):
    """Load p̃ at the end of the step, the force carried along L·(u' − ũ) in `link.moved`."""
    for k in range(force.size):
        s = force[k]
        for j in range(force.size):
            s += link.operator[k, j] * link.moved[j]
        link.force[k] = s
    for i in range(p1.size):
        s = p1[i]
        for k in range(force.size):
            s -= link.rows[k, i] * (link.force[k] - link.zero[k])
        link.p1[i] = s


@uncounted
def predict(plan, held, room, motion, op, link, p1, dt, scheme, tolerance, most):
    """Fill `link.target`; returns CONVERGED, or what stopped the computed part. `motion` stays as it was."""
    room.counts[STEPS] += 1
    if op.kind == EXPLICIT:
        status = _predict_explicit(plan, held, room, motion, op, p1, dt, tolerance, most)
    else:
        status = _predict_splitting(plan, room, motion, link.p0, p1, dt, scheme)
    _target(link, room.q)
    return status


@uncounted
def correct(plan, room, motion, op, link, force, p1, dt, scheme):
    """Take the measured `force` (f,) at the commanded displacement and commit the step."""
    if op.kind == EXPLICIT:
        _correct_explicit(plan, room, motion, op, link, force, p1, dt, scheme)
    else:
        _correct_splitting(plan, room, motion, op, link, force, p1, dt, scheme)
    for i in range(p1.size):
        link.p0[i] = link.p1[i]


@uncounted
def _predict_splitting(plan, room, motion, p0, p1, dt, scheme):
    n = motion.q.size
    alpha_m, alpha_f, gamma, beta = scheme[ALPHA_M], scheme[ALPHA_F], scheme[GAMMA], scheme[BETA]
    weight = 1.0 - alpha_f
    prepare(plan, room, scheme, dt)
    cv = gamma / (beta * dt)
    ca = 1.0 / (beta * dt * dt)
    for i in range(n):
        if plan.inertial[i] > 0.0:
            room.qp[i] = motion.q[i] + dt * motion.v[i] + dt * dt * (0.5 - beta) * motion.a[i]
            room.vp[i] = motion.v[i] + dt * (1.0 - gamma) * motion.a[i]
            room.q[i] = room.qp[i]
        else:
            room.qp[i] = motion.q[i] + dt * motion.v[i]
            room.vp[i] = motion.v[i]
            room.q[i] = motion.q[i] + motion.dq[i]
        room.x[i] = (1.0 - alpha_m) * ca * room.qp[i] - alpha_m * motion.a[i]
        room.y[i] = weight * (cv * room.qp[i] - room.vp[i]) - alpha_f * motion.v[i]
    symmetric_product(plan.m_start, plan.m_row, plan.m_val, room.x, room.g)
    symmetric_product(plan.c_start, plan.c_row, plan.c_val, room.y, room.z)
    for i in range(n):
        room.g[i] += room.z[i] + weight * p1[i] + alpha_f * (p0[i] - motion.f[i])
    if not np.isfinite(residual(plan, room, motion, room.shift, dt, weight, cv)):
        return NO_ANSWER
    return CONVERGED


@uncounted
def _correct_splitting(plan, room, motion, op, link, force, p1, dt, scheme):
    weight = 1.0 - scheme[ALPHA_F]
    f = force.size
    for i in range(p1.size):
        s = 0.0
        for k in range(f):
            s += link.rows[k, i] * (force[k] - link.zero[k])
        room.r[i] -= weight * s
    if room.note[FACTORED] != dt:
        _factor_at_rest(plan, room, weight)
        room.note[FACTORED] = dt
    room.counts[ITERATIONS] += 1
    _solve(plan, room)
    for k in range(f):
        s = 0.0
        for i in range(p1.size):
            s += link.rows[k, i] * room.dx[i]
        link.moved[k] = s
    for i in range(p1.size):
        room.q[i] += room.dx[i]
    correct_parts(plan, room, op)
    _measured(link, force, p1)
    commit(plan, room, motion, link.p0, link.p1, dt, scheme)


@uncounted
def _settle(held, room, motion, dt, cv, tolerance):
    """Constant-stiffness iteration of the massless freedoms with the factor made once."""
    norm = residual(held, room, motion, room.shift, dt, 1.0, cv)
    if not np.isfinite(norm):
        return NO_ANSWER
    if room.note[FACTORED] != dt:
        _factor_at_rest(held, room, 1.0)
        room.note[FACTORED] = dt
    for _ in range(PATIENCE):
        if norm <= max(tolerance, room.note[ROUNDING]):
            return CONVERGED
        room.counts[ITERATIONS] += 1
        _solve(held, room)
        for i in range(room.q.size):
            room.q[i] += room.dx[i]
        before = norm
        norm = residual(held, room, motion, room.shift, dt, 1.0, cv)
        if not norm <= 0.3 * before:
            break
    return CONVERGED if norm <= max(tolerance, room.note[ROUNDING]) else NOT_CONVERGED


@uncounted
def _predict_explicit(plan, held, room, motion, op, p1, dt, tolerance, most):
    n = motion.q.size
    index = op.massive
    a, v, x, y, z = op.work[0], op.work[1], op.work[2], op.work[3], op.work[4]
    du, right, w = op.work[6], op.work[7], op.work[8]
    if room.note[0] != dt or room.note[1] != op.kind:
        for t in range(room.effective.size):
            room.effective[t] = held.stiffness[t]
        room.note[0], room.note[1] = dt, op.kind
    cv = 1.5 / dt
    for i in range(n):
        room.qp[i] = motion.q[i]
        room.vp[i] = -0.5 * motion.dq[i] / dt
        room.q[i] = motion.q[i] + motion.dq[i]
        room.x[i] = 0.0
    for k in range(index.size):
        a[k] = motion.a[index[k]]
        v[k] = motion.v[index[k]]
    dense_product(op.b1, v, x)
    dense_product(op.b2, a, y)
    dense_product(op.g0, a, z)
    dense_product(op.g1, a, right)
    dense_product(op.lag, a, w)
    for k in range(index.size):
        i = index[k]
        du[k] = dt * x[k] + dt * dt * y[k]
        room.q[i] = motion.q[i] + du[k]
        room.qp[i] = room.q[i]
        room.vp[i] = v[k] + dt * (z[k] + right[k])
        w[k] = v[k] - dt * w[k]
        room.x[i] = room.q[i]
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, room.x, room.g)
    for i in range(n):
        room.g[i] = room.q[i] if plan.inertial[i] > 0.0 else p1[i] - room.g[i]
    status = _settle(held, room, motion, dt, cv, tolerance)
    if status == CONVERGED:
        return status
    room.note[FACTORED] = -1.0
    for virgin in range(2):
        for i in range(n):
            if plan.inertial[i] == 0.0:
                room.q[i] = motion.q[i]
        status = _newton(held, room, motion, dt, cv, tolerance, 12 * most if virgin else most, virgin == 1)
        if status == CONVERGED:
            break
    return status


@uncounted
def _correct_explicit(plan, room, motion, op, link, force, p1, dt, scheme):
    n = motion.q.size
    index = op.massive
    alpha_f = scheme[ALPHA_F]
    new = 1.0 - alpha_f
    a, v, x, y, z = op.work[0], op.work[1], op.work[2], op.work[3], op.work[4]
    a1, du, right, w, w1 = op.work[5], op.work[6], op.work[7], op.work[8], op.work[9]
    _measured(link, force, p1)
    p0, load = link.p0, link.p1
    _forces(plan, room)
    for k in range(index.size):
        x[k] = new * (v[k] + dt * z[k]) + alpha_f * w[k]
    dense_product(op.damping, x, y)
    dense_product(op.inertia0, a, x)
    for k in range(index.size):
        i = index[k]
        right[k] = new * (load[i] - room.y[i]) + alpha_f * (p0[i] - motion.f[i]) - x[k] - y[k]
    dense_product(op.a1_inverse, right, a1)
    # Energies as in `frame2d.engine.explicit.explicit_step`.
    algorithm = 0.0
    dense_product(op.inertia1, a1, y)
    for k in range(index.size):
        algorithm += du[k] * (x[k] + y[k])
    dense_product(op.g1, a1, right)
    dense_product(op.lag, a1, w1)
    for k in range(index.size):
        right[k] = dt * (z[k] + right[k])
        w1[k] = v[k] + right[k] - dt * w1[k]
        z[k] = w1[k] - w[k]
    dense_product(op.mass, right, x)
    dense_product(op.damping, z, y)
    for k in range(index.size):
        i = index[k]
        algorithm -= (v[k] + 0.5 * right[k]) * x[k]
        change = load[i] - p0[i] - room.y[i] + motion.f[i] - y[k]
        algorithm += (alpha_f - 0.5) * du[k] * change
        z[k] = 0.5 * (w[k] + w1[k])
    dense_product(op.damping, z, y)
    damped = 0.0
    for k in range(index.size):
        damped += du[k] * y[k]
    motion.account[DAMPED] += damped
    motion.account[ALGORITHM] += algorithm
    cv = 1.5 / dt
    for i in range(n):
        if plan.inertial[i] == 0.0:
            motion.v[i] = room.vp[i] + cv * (room.q[i] - room.qp[i])
    for k in range(index.size):
        motion.v[index[k]] = v[k] + right[k]
        motion.a[index[k]] = a1[k]
    commit(plan, room, motion, p0, load, dt, op.still)


__all__ = ["Link", "correct", "load_of", "predict"]
