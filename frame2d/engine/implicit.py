"""One step of the generalized-alpha family, with step halving, and the loop over a whole history.

    M·a(n+1−αm) + C·v(n+1−αf) + f(n+1−αf) = p(n+1−αf),   x(n+1−α) = (1−α)·x(n+1) + α·x(n)
    u' = u + Δt·v + Δt²·[(½−β)a + βa'],   v' = v + Δt·[(1−γ)a + γa']

Source: Chung & Hulbert 1993; Newmark 1959, Hilber, Hughes & Taylor 1977 and Wood, Bossak & Zienkiewicz 1980 are special
cases. With αm = αf = 0 and no mass or damping the same step is static equilibrium under p(n+1).

Freedoms without mass keep a = 0 and the velocity relation v' = v + γ/(βΔt)·(u' − u − Δt·v).
"""

import numpy as np

from frame2d.engine.evaluate import gather_forces, place_constant, symmetric_product
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
from frame2d.kernels import inlined, inner, uncounted

#: Entries of the scheme array: the four parameters and 1 for dynamics, 0 for statics.
ALPHA_M, ALPHA_F, GAMMA, BETA, DYNAMIC = 0, 1, 2, 3, 4

COLLAPSED = 3


@uncounted
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
    place_constant(plan, room)
    room.note[0] = dt
    room.note[1] = scheme[DYNAMIC]


@uncounted
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


@inlined
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


@uncounted
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
        first = np.uint64(plan.d_at[part])
        for i in range(first, first + np.uint64(plan.width[part])):
            work += 0.5 * (room.fe[i] + motion.f0[i]) * (room.d[i] - motion.d0[i])
            motion.d0[i] = room.d[i]
            motion.f0[i] = room.fe[i]
        motion.work[part] += work
        motion.stored[part] = room.e[part]
    for i in range(motion.m0.size):
        motion.m0[i] = motion.m1[i]


@uncounted
def piece_of(room, p0, p1, shift0, shift1, begin, end):
    """Loads and imposed deformations of the parts at the shares `begin` and `end` of a step, to the room."""
    for i in range(p0.size):
        room.piece0[i] = (1.0 - begin) * p0[i] + begin * p1[i]
        room.piece1[i] = (1.0 - end) * p0[i] + end * p1[i]
    for i in range(shift0.size):
        room.shift[i] = (1.0 - end) * shift0[i] + end * shift1[i]


@uncounted
def advance(plan, room, motion, p0, p1, shift0, shift1, dt, scheme, options):
    """One step, halved where Newton fails, then with the virgin stiffness; returns the outcome.

    `options`: tolerance (force), most iterations, deepest halving.
    """
    tolerance, most, deepest = options[0], int(options[1]), int(options[2])
    room.counts[STEPS] += 1
    done, level = 0, 0
    whole = 1 << deepest  # the step in units of its shortest piece
    while done < whole:
        piece = whole >> level
        piece_of(room, p0, p1, shift0, shift1, done / whole, (done + piece) / whole)
        status = NOT_CONVERGED
        for virgin in range(2):
            if status != CONVERGED and (virgin == 0 or level == deepest):
                status = substep(
                    plan, room, motion, room.piece0, room.piece1, room.shift, dt * piece / whole, scheme,
                    tolerance, 12 * most if virgin else most, virgin == 1,
                )  # fmt: skip
        if status != CONVERGED and level == deepest:
            return status
        done, level = after_piece(room, status, done, piece, level)
    return CONVERGED


@uncounted
def after_piece(room, status, done, piece, level):
    """How much of a halved step is done after a `piece` of it, and at which halving it goes on."""
    if status != CONVERGED:
        room.counts[HALVINGS] += 1
        return done, level + 1
    done += piece
    # Back to the longer piece as soon as one would begin here.
    return done, level - 1 if level > 0 and done % (piece * 2) == 0 else level


@inner
def load_at(base, patterns, factors, row, out):
    """out = base + Σ factor·pattern."""
    for i in range(out.size):
        out[i] = base[i]
    for k in range(patterns.shape[0]):
        factor = factors[row, k]
        if factor != 0.0:
            for i in range(out.size):
                out[i] += factor * patterns[k, i]


@inner
def shift_at(supports, history, row, out):
    """out = deformation of the parts due to the imposed support displacements of one row."""
    for i in range(out.size):
        out[i] = 0.0
    for k in range(supports.shape[1]):
        s = history[row, k]
        if s != 0.0:
            for i in range(supports.shape[0]):
                out[i] += supports[i, k] * s


@uncounted
def begin_step(room, base, patterns, factors, supports, history, row, fresh):
    """Loads and imposed deformations of the step to `row`; those before are the last step's, or `fresh` ones."""
    if fresh:
        load_at(base, patterns, factors, row - 1, room.load0)
        shift_at(supports, history, row - 1, room.shift0)
    else:
        for i in range(room.load0.size):
            room.load0[i] = room.load1[i]
        for i in range(room.shift0.size):
            room.shift0[i] = room.shift1[i]
    load_at(base, patterns, factors, row, room.load1)
    shift_at(supports, history, row, room.shift1)


@uncounted
def copy_row(values, to, row):
    """to[row] = values."""
    for i in range(values.size):
        to[row, i] = values[i]


@uncounted
def record(motion, room, log, row, before):
    """Write a row of the log; `before` holds the counts at the last row, and is brought up to date."""
    log_q, log_v, log_a, log_f, log_work, log_stored, log_account, log_counts = log
    copy_row(motion.q, log_q, row)
    copy_row(motion.v, log_v, row)
    copy_row(motion.a, log_a, row)
    copy_row(motion.f0, log_f, row)
    copy_row(motion.work, log_work, row)
    copy_row(motion.stored, log_stored, row)
    copy_row(motion.account, log_account, row)
    column = 0
    for count in (ITERATIONS, FACTORISATIONS, EVALUATIONS, HALVINGS):
        log_counts[row, column] = room.counts[count] - before[count]
        before[count] = room.counts[count]
        column += 1
    log_counts[row, column] = room.counts[NEGATIVE]


@uncounted
def passed(q, watch, limits):
    """Whether a watched difference of displacements is over its limit."""
    for i in range(watch.shape[0]):
        drift = q[watch[i, 0]]
        if watch[i, 1] >= 0:
            drift -= q[watch[i, 1]]
        if abs(drift) > limits[i]:
            return True
    return False


@uncounted
def run(
    plan, room, motion, base, patterns, factors, supports, history, dt, first, last, scheme, options, watch, limits,
    log,
):  # fmt: skip
    """Steps `first` to `last` of a history, logged; returns how many were completed and the outcome.

    `watch` holds rows (upper freedom, lower freedom or −1) whose difference may not exceed `limits`; `log` is a tuple
    of arrays: q, v, a, part forces, part work, part stored, account, work counts.
    """
    before = room.counts_before
    for i in range(before.size):
        before[i] = room.counts[i]
    for step in range(first, last):
        begin_step(room, base, patterns, factors, supports, history, step, step == first)
        status = advance(
            plan, room, motion, room.load0, room.load1, room.shift0, room.shift1, dt, scheme, options
        )
        if status != CONVERGED:
            return step, status
        record(motion, room, log, step, before)
        if passed(motion.q, watch, limits):
            return step + 1, COLLAPSED
    return last, CONVERGED


__all__ = ["COLLAPSED", "NOT_CONVERGED", "advance", "run"]
