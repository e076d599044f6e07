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

from frame2d.bundle import bundle
from frame2d.engine.evaluate import assemble
from frame2d.engine.explicit import EXPLICIT, balance_massive, follow, predict_massive
from frame2d.engine.implicit import ALPHA_F, commit
from frame2d.engine.newton import CONVERGED, NO_ANSWER, NOT_CONVERGED, ROUNDING, residual
from frame2d.engine.plan import ITERATIONS, STEPS
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.engine.splitting import FACTORED
from frame2d.engine.splitting import correct as correct_parts
from frame2d.engine.splitting import predict as predict_parts
from frame2d.kernels import inlined, inner, uncounted

#: Constant-stiffness iterations of the massless freedoms before a full Newton iteration is tried.
PATIENCE = 8


@bundle
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


@inner
def _target(link, q):
    for k in range(link.at.size):
        s = link.at[k]
        for i in range(q.size):
            s += link.rows[k, i] * (q[i] - link.origin[i])
        link.target[k] = s


@inner
def _factor_at_rest(plan, room, weight):
    assemble(plan, room, weight, True)
    factor_tangent(plan, room, room.z)


@inner
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


@inlined
def predict(plan, held, room, motion, op, link, p1, dt, scheme, tolerance, most):
    """Fill `link.target`; returns CONVERGED, or what stopped the computed part. `motion` stays as it was."""
    room.counts[STEPS] += 1
    if op.kind == EXPLICIT:
        status = _predict_explicit(plan, held, room, motion, op, p1, dt, tolerance, most)
    else:
        status = predict_parts(plan, room, motion, link.p0, p1, room.shift, dt, scheme)
    _target(link, room.q)
    return status


@inlined
def correct(plan, room, motion, op, link, force, p1, dt, scheme):
    """Take the measured `force` (f,) at the commanded displacement and commit the step."""
    if op.kind == EXPLICIT:
        _measured(link, force, p1)
        balance_massive(plan, room, motion, op, link.p0, link.p1, dt, scheme)
    else:
        _correct_splitting(plan, room, motion, op, link, force, p1, dt, scheme)
    for i in range(p1.size):
        link.p0[i] = link.p1[i]


@inlined
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
    solve_tangent(plan, room, room.r, room.dx)
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


@inlined
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
        solve_tangent(held, room, room.r, room.dx)
        for i in range(room.q.size):
            room.q[i] += room.dx[i]
        before = norm
        norm = residual(held, room, motion, room.shift, dt, 1.0, cv)
        if not norm <= 0.3 * before:
            break
    return CONVERGED if norm <= max(tolerance, room.note[ROUNDING]) else NOT_CONVERGED


@inlined
def _predict_explicit(plan, held, room, motion, op, p1, dt, tolerance, most):
    cv = predict_massive(plan, held, room, motion, op, p1, dt)
    status = _settle(held, room, motion, dt, cv, tolerance)
    if status == CONVERGED:
        return status
    room.note[FACTORED] = -1.0
    for i in range(motion.q.size):
        if plan.inertial[i] == 0.0:
            room.q[i] = motion.q[i]
    return follow(held, room, motion, room.shift, dt, cv, tolerance, most)


__all__ = ["Link", "correct", "load_of", "predict"]
