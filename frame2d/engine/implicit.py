"""One step of the generalized-alpha family, with step halving, and the loop over a whole history.

    M·a(n+1−αm) + C·v(n+1−αf) + f(n+1−αf) = p(n+1−αf),   x(n+1−α) = (1−α)·x(n+1) + α·x(n)
    u' = u + Δt·v + Δt²·[(½−β)a + βa'],   v' = v + Δt·[(1−γ)a + γa']

Source: Chung & Hulbert 1993; Newmark 1959, Hilber, Hughes & Taylor 1977 and Wood, Bossak & Zienkiewicz 1980 are special
cases. With αm = αf = 0 and no mass or damping the same step is static equilibrium under p(n+1).

Freedoms without mass keep a = 0 and the velocity relation v' = v + γ/(βΔt)·(u' − u − Δt·v).
"""

import numpy as np

from frame2d.engine.evaluate import gather_forces, symmetric_product
from frame2d.engine.newton import CONVERGED, NOT_CONVERGED, equilibrate
from frame2d.engine.plan import (
    ALGORITHM,
    DAMPED,
    EVALUATIONS,
    FACTORISATIONS,
    HALVINGS,
    ITERATIONS,
    NEGATIVE,
    STEPS,
    TIME,
)
from frame2d.kernels import compiled

#: Entries of the scheme array: the four parameters and 1 for dynamics, 0 for statics.
ALPHA_M, ALPHA_F, GAMMA, BETA, DYNAMIC = 0, 1, 2, 3, 4

COLLAPSED = 3


@compiled
def prepare(plan, room, scheme, dt):
    """Effective constant matrix for this step length (kept until the step changes)."""
    if room.note[0] == dt and room.note[1] == scheme[DYNAMIC]:
        return
    weight = 1.0 - scheme[ALPHA_F]
    for t in range(plan.stiffness.size):
        room.effective[t] = weight * plan.stiffness[t]
    if scheme[DYNAMIC] > 0.0:
        cv = scheme[GAMMA] / (scheme[BETA] * dt)
        ca = (1.0 - scheme[ALPHA_M]) / (scheme[BETA] * dt * dt)
        for t in range(plan.stiffness.size):
            room.effective[t] += weight * cv * plan.damping[t] + ca * plan.mass[t]
    room.note[0] = dt
    room.note[1] = scheme[DYNAMIC]


@compiled
def begin(plan, room, motion, p0, p1, dt, scheme):
    """What a step of length `dt` from loads `p0` to `p1` starts with, in the room; returns w and ∂v'/∂u' of the step."""
    n = motion.q.size
    dynamic = scheme[DYNAMIC] > 0.0
    alpha_m, alpha_f, gamma, beta = scheme[ALPHA_M], scheme[ALPHA_F], scheme[GAMMA], scheme[BETA]
    weight = 1.0 - alpha_f
    prepare(plan, room, scheme, dt)
    cv = 0.0
    if dynamic:
        cv = gamma / (beta * dt)
        ca = 1.0 / (beta * dt * dt)
        # x: what the mass, y: what the damping multiplies besides the unknown.
        for i in range(n):
            if plan.inertial[i] > 0.0:
                room.qp[i] = motion.q[i] + dt * motion.v[i] + dt * dt * (0.5 - beta) * motion.a[i]
                room.vp[i] = motion.v[i] + dt * (1.0 - gamma) * motion.a[i]
                room.q[i] = room.qp[i] + beta * dt * dt * motion.a[i]
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
    else:
        for i in range(n):
            room.qp[i] = motion.q[i]
            room.vp[i] = 0.0
            room.q[i] = motion.q[i]
            room.g[i] = weight * p1[i] + alpha_f * (p0[i] - motion.f[i])
    return weight, cv


@compiled
def substep(plan, room, motion, p0, p1, shift, dt, scheme, tolerance, most, virgin):
    """One step of length `dt` from loads `p0` to `p1`; commits and returns CONVERGED, or leaves `motion` as it was."""
    dynamic = scheme[DYNAMIC] > 0.0
    weight, cv = begin(plan, room, motion, p0, p1, dt, scheme)
    status = equilibrate(
        plan, room, motion, shift, dt if dynamic else 0.0, weight, cv, tolerance, most, virgin
    )
    if status != CONVERGED:
        return status
    commit(plan, room, motion, p0, p1, dt, scheme)
    return CONVERGED


@compiled
def commit(plan, room, motion, p0, p1, dt, scheme):
    """Accept the trial: new motion, memories, work of every part, energies of the scheme."""
    n = motion.q.size
    dynamic = scheme[DYNAMIC] > 0.0
    # Internal force at the new displacement.
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, room.q, room.y)
    gather_forces(plan, room.fe, room.y)
    if dynamic:
        alpha_m, alpha_f, gamma, beta = scheme[ALPHA_M], scheme[ALPHA_F], scheme[GAMMA], scheme[BETA]
        cv = gamma / (beta * dt)
        # dx: Δu, x: Δa, r: Δv, after which v and a are the new ones.
        mean_damping = 0.0
        for i in range(n):
            new_v = room.vp[i] + cv * (room.q[i] - room.qp[i])
            new_a = (room.q[i] - room.qp[i]) / (beta * dt * dt) if plan.inertial[i] > 0.0 else 0.0
            room.dx[i] = room.q[i] - motion.q[i]
            room.x[i] = new_a - motion.a[i]
            room.r[i] = new_v - motion.v[i]
            room.qp[i] = 0.5 * (new_v + motion.v[i])
            room.vp[i] = 0.5 * (new_a + motion.a[i])
            motion.v[i] = new_v
            motion.a[i] = new_a
        # The identity of the scheme (derivation in the manual): multiply the balance by Δu and the Newmark relations
        # by the mass; what is neither kinetic, internal, viscous nor load is the algorithm's.
        symmetric_product(plan.m_start, plan.m_row, plan.m_val, room.x, room.g)
        algorithm = 0.0
        lag = dt * dt * (beta - 0.5 * gamma)
        for i in range(n):
            algorithm += room.g[i] * (
                (1.0 - alpha_m - gamma) * room.dx[i] + lag * room.vp[i] + lag * (gamma - 0.5) * room.x[i]
            )
        symmetric_product(plan.c_start, plan.c_row, plan.c_val, room.dx, room.g)
        for i in range(n):
            mean_damping += room.qp[i] * room.g[i]
            algorithm += (0.5 - alpha_f) * (
                room.r[i] * room.g[i] + room.dx[i] * (room.y[i] - motion.f[i] - p1[i] + p0[i])
            )
        motion.account[DAMPED] += mean_damping
        motion.account[ALGORITHM] += algorithm
    for i in range(n):
        motion.dq[i] = room.q[i] - motion.q[i]
        motion.q[i] = room.q[i]
        motion.f[i] = room.y[i]
    motion.account[TIME] += dt
    for part in range(plan.address.size):
        work = 0.0
        for i in range(plan.d_at[part], plan.d_at[part] + plan.width[part]):
            work += 0.5 * (room.fe[i] + motion.f0[i]) * (room.d[i] - motion.d0[i])
            motion.d0[i] = room.d[i]
            motion.f0[i] = room.fe[i]
        motion.work[part] += work
        motion.stored[part] = room.e[part]
    motion.m0[:] = motion.m1


@compiled
def advance(plan, room, motion, p0, p1, shift0, shift1, dt, scheme, options):
    """One step, halved where Newton fails, then with the virgin stiffness; returns the outcome.

    `options`: tolerance (force), most iterations, deepest halving.
    """
    tolerance = options[0]
    most = int(options[1])
    deepest = int(options[2])
    n = p0.size
    room.counts[STEPS] += 1
    status = substep(plan, room, motion, p0, p1, shift1, dt, scheme, tolerance, most, False)
    if status == CONVERGED:
        return status
    level = 1
    done = 0  # in units of 2**-deepest of the step
    whole = 1 << deepest
    from_load = p0.copy()
    to_load = np.empty(n)
    while done < whole:
        piece = whole >> level
        share = (done + piece) / whole
        for i in range(n):
            to_load[i] = p0[i] + share * (p1[i] - p0[i])
        for i in range(room.shift.size):
            room.shift[i] = shift0[i] + share * (shift1[i] - shift0[i])
        length = dt * piece / whole
        status = substep(
            plan, room, motion, from_load, to_load, room.shift, length, scheme, tolerance, most, False
        )
        if status != CONVERGED and level == deepest:
            status = substep(
                plan, room, motion, from_load, to_load, room.shift, length, scheme, tolerance, 12 * most, True
            )
        if status == CONVERGED:
            done += piece
            from_load[:] = to_load
            if level > 1 and done % (piece * 2) == 0:
                level -= 1
        elif level < deepest:
            level += 1
            room.counts[HALVINGS] += 1
        else:
            return status
    return CONVERGED


@compiled
def load_at(base, patterns, factors, row, out):
    """out = base + Σ factor·pattern."""
    for i in range(out.size):
        out[i] = base[i]
    for k in range(patterns.shape[0]):
        factor = factors[row, k]
        if factor != 0.0:
            for i in range(out.size):
                out[i] += factor * patterns[k, i]


@compiled
def shift_at(supports, history, row, out):
    """out = deformation of the parts due to the imposed support displacements of one row."""
    for i in range(out.size):
        out[i] = 0.0
    for k in range(supports.shape[1]):
        s = history[row, k]
        if s != 0.0:
            for i in range(supports.shape[0]):
                out[i] += supports[i, k] * s


@compiled
def run(
    plan,
    room,
    motion,
    base,
    patterns,
    factors,
    supports,
    history,
    dt,
    first,
    last,
    scheme,
    options,
    watch,
    limits,
    log,
):
    """Steps `first` to `last` of a history, logged; returns how many were completed and the outcome.

    `watch` holds rows (upper freedom, lower freedom or −1) whose difference may not exceed `limits`; `log` is a tuple
    of arrays: q, v, a, part forces, part work, part stored, account, work counts.
    """
    n = motion.q.size
    p0, p1 = np.empty(n), np.empty(n)
    shift0, shift1 = np.zeros(room.shift.size), np.zeros(room.shift.size)
    load_at(base, patterns, factors, first - 1, p0)
    shift_at(supports, history, first - 1, shift0)
    log_q, log_v, log_a, log_f, log_work, log_stored, log_account, log_counts = log
    for step in range(first, last):
        load_at(base, patterns, factors, step, p1)
        shift_at(supports, history, step, shift1)
        iterations, factorisations = room.counts[ITERATIONS], room.counts[FACTORISATIONS]
        evaluations, halvings = room.counts[EVALUATIONS], room.counts[HALVINGS]
        status = advance(plan, room, motion, p0, p1, shift0, shift1, dt, scheme, options)
        if status != CONVERGED:
            return step, status
        log_q[step] = motion.q
        log_v[step] = motion.v
        log_a[step] = motion.a
        log_f[step] = motion.f0
        log_work[step] = motion.work
        log_stored[step] = motion.stored
        log_account[step] = motion.account
        log_counts[step, 0] = room.counts[ITERATIONS] - iterations
        log_counts[step, 1] = room.counts[FACTORISATIONS] - factorisations
        log_counts[step, 2] = room.counts[EVALUATIONS] - evaluations
        log_counts[step, 3] = room.counts[HALVINGS] - halvings
        log_counts[step, 4] = room.counts[NEGATIVE]
        for i in range(watch.shape[0]):
            drift = motion.q[watch[i, 0]]
            if watch[i, 1] >= 0:
                drift -= motion.q[watch[i, 1]]
            if abs(drift) > limits[i]:
                return step + 1, COLLAPSED
        p0, p1 = p1, p0
        shift0, shift1 = shift1, shift0
    return last, CONVERGED


__all__ = ["COLLAPSED", "NOT_CONVERGED", "advance", "run"]
