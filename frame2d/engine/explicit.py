"""One step of the explicit schemes: dense matrices on the freedoms with mass, static equilibrium of all others.

    u' = u + Δt·B₁·v + Δt²·B₂·a,    v' = v + Δt·(G₀·a + G₁·a'),    w = v − Δt·L·a
    M₁·a' + M₀·a + C·[(1−αf)·w' + αf·w] + (1−αf)·f' + αf·f = (1−αf)·p' + αf·p

solved with A₁ = M₁ + (1−αf)·Δt·C·(G₁ − L). `frame2d.analysis.schemes` gives the matrices of central difference, Chang (2002) and
Kolay & Ricles (2014). A freedom without mass would make any explicit scheme unstable, so it follows by Newton
iteration with all massive freedoms held where the predictor put them; its velocity is the second-order backward
difference. Parts see the massive freedoms move at v + Δt·(G₀ + G₁)·a.
"""

from typing import NamedTuple

import numpy as np

from frame2d.bundle import bundle
from frame2d.engine.evaluate import gather_forces, place_constant, symmetric_product
from frame2d.engine.implicit import ALPHA_F, commit
from frame2d.engine.newton import CONVERGED, equilibrate
from frame2d.engine.plan import ALGORITHM, DAMPED
from frame2d.kernels import inner, uncounted

#: Values of `Operator.kind`.
EXPLICIT, SPLITTING, STATE_SPACE = 2, 3, 4


@bundle
class Operator(NamedTuple):
    """What a scheme keeps for one frame and one step length, besides the plan. `carry` and `work` are written."""

    kind: int
    #: Free freedoms with mass; then dense matrices on them.
    massive: np.ndarray
    b1: np.ndarray
    b2: np.ndarray
    g0: np.ndarray
    g1: np.ndarray
    lag: np.ndarray
    a1_inverse: np.ndarray
    #: M₁ and M₀.
    inertia1: np.ndarray
    inertia0: np.ndarray
    mass: np.ndarray
    damping: np.ndarray
    #: Tangents of the parts that the operator was built with.
    ke: np.ndarray
    #: Rate of displacement of the state-space scheme, by free freedoms.
    carry: np.ndarray
    work: np.ndarray
    #: Scheme array of statics, by which `commit` books parts alone.
    still: np.ndarray


@uncounted
def dense_product(matrix, x, y):
    """y = A·x."""
    for i in range(y.size):
        s = 0.0
        for j in range(x.size):
            s += matrix[i, j] * x[j]
        y[i] = s


@uncounted
def predict_massive(plan, held, room, motion, op, p1, dt):
    """Move the freedoms with mass, and prepare the balance of the others in `held`; returns ∂v'/∂u' of these.

    Left in `op.work` for `balance_massive`: a, v, G₀·a, Δu and w.
    """
    n = motion.q.size
    index = op.massive
    a, v, x, y, z = op.work[0], op.work[1], op.work[2], op.work[3], op.work[4]
    du, right, w = op.work[6], op.work[7], op.work[8]
    if room.note[0] != dt or room.note[1] != op.kind:
        for t in range(room.effective.size):
            room.effective[t] = held.stiffness[t]
        place_constant(held, room)
        room.note[0], room.note[1] = dt, op.kind
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
    return 1.5 / dt


@inner
def follow(held, room, motion, shift, dt, cv, tolerance, most):
    """Newton iteration of the freedoms without mass, then with the virgin stiffness; returns the outcome."""
    status = CONVERGED
    for virgin in range(2):
        status = equilibrate(
            held, room, motion, shift, dt, 1.0, cv, tolerance, 12 * most if virgin else most, virgin == 1
        )
        if status == CONVERGED:
            break
        for i in range(motion.q.size):
            if held.inertial[i] == 0.0:
                room.q[i] = motion.q[i]
    return status


@inner
def balance_massive(plan, room, motion, op, p0, p1, dt, scheme):
    """Accelerations of the freedoms with mass at the new displacements, energies of the scheme; commits."""
    n = motion.q.size
    index = op.massive
    alpha_f = scheme[ALPHA_F]
    new = 1.0 - alpha_f
    a, v, x, y, z = op.work[0], op.work[1], op.work[2], op.work[3], op.work[4]
    a1, du, right, w, w1 = op.work[5], op.work[6], op.work[7], op.work[8], op.work[9]
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, room.q, room.y)
    gather_forces(plan, room.fe, room.y)
    for k in range(index.size):
        x[k] = new * (v[k] + dt * z[k]) + alpha_f * w[k]
    dense_product(op.damping, x, y)
    dense_product(op.inertia0, a, x)
    for k in range(index.size):
        i = index[k]
        right[k] = new * (p1[i] - room.y[i]) + alpha_f * (p0[i] - motion.f[i]) - x[k] - y[k]
    dense_product(op.a1_inverse, right, a1)
    # Energy: M·â = (1−αf)·B' + αf·B with B = p − f − C·w, so that Δu·½(B + B') = Δu·M·â + (αf − ½)·Δu·ΔB; what of
    # it is not the change v̄·M·Δv of the kinetic energy is the algorithm's.
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
        change = p1[i] - p0[i] - room.y[i] + motion.f[i] - y[k]
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
    commit(plan, room, motion, p0, p1, dt, op.still)


@inner
def explicit_step(plan, held, room, motion, op, p0, p1, shift, dt, scheme, tolerance, most):
    """One step; commits and returns CONVERGED, or leaves `motion` as it was. `held`: plan of massless freedoms."""
    cv = predict_massive(plan, held, room, motion, op, p1, dt)
    status = follow(held, room, motion, shift, dt, cv, tolerance, most)
    if status == CONVERGED:
        balance_massive(plan, room, motion, op, p0, p1, dt, scheme)
    return status
