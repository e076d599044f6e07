"""One step of the first-order generalized-alpha method for Y = {u, v, s}.

    u̇ = v,    M·v̇ = p − C·v − r(u, s),    ṡ = g(u, v, s)
    Y' = Y + Δt·[(1−γ)·Ẏ + γ·Ẏ'],    Ẏ at n+αm = g(Y at n+αf),    x(n+α) = (1−α)·x(n) + α·x(n+1)

Source: Jansen, Whiting & Hulbert 2000. u̇ and v are two variables that agree only at n+αm and n+αf. Newton runs in
u' alone: v' and v̇' are linear in it, and the states s of laws in rate form are eliminated by the parts' kernel
(`frame2d.elements.rate_spring`). Internal forces are weighted between their values at n and n+1.
"""

from frame2d.engine.evaluate import gather_forces, place_constant, symmetric_product
from frame2d.engine.implicit import ALPHA_F, ALPHA_M, GAMMA, commit
from frame2d.engine.newton import CONVERGED, equilibrate
from frame2d.engine.plan import ALGORITHM, DAMPED
from frame2d.kernels import inner, uncounted


@uncounted
def begin_state_space(plan, room, motion, op, p0, p1, dt, scheme):
    """What a step starts with, in the room; returns αf, which weighs the new values here, and ∂v'/∂u'."""
    n = motion.q.size
    alpha_m, alpha_f, gamma = scheme[ALPHA_M], scheme[ALPHA_F], scheme[GAMMA]
    rate = op.carry
    # Derivatives with respect to u': v(n+αf), v', v̇'.
    cu = alpha_m / (gamma * dt)
    cv = cu / alpha_f
    ca = cv / (gamma * dt)
    if room.note[0] != dt or room.note[1] != op.kind:
        for t in range(plan.stiffness.size):
            room.effective[t] = (
                alpha_f * plan.stiffness[t] + cu * plan.damping[t] + alpha_m * ca * plan.mass[t]
            )
        place_constant(plan, room)
        room.note[0], room.note[1] = dt, op.kind
    for i in range(n):
        middle = rate[i] * (1.0 - alpha_m / gamma)
        room.qp[i] = motion.q[i]
        room.vp[i] = motion.v[i] + (middle - motion.v[i]) / alpha_f
        change = (room.vp[i] - motion.v[i]) / (gamma * dt) - motion.a[i] / gamma
        room.x[i] = alpha_m * ca * motion.q[i] - motion.a[i] - alpha_m * change
        room.y[i] = cu * motion.q[i] - middle
        if plan.inertial[i] > 0.0:
            room.q[i] = motion.q[i] + dt * rate[i] + 0.5 * dt * dt * motion.a[i]
        else:
            room.q[i] = motion.q[i] + motion.dq[i]
    symmetric_product(plan.m_start, plan.m_row, plan.m_val, room.x, room.g)
    symmetric_product(plan.c_start, plan.c_row, plan.c_val, room.y, room.z)
    for i in range(n):
        room.g[i] += room.z[i] + alpha_f * p1[i] + (1.0 - alpha_f) * (p0[i] - motion.f[i])
    return alpha_f, cv


@uncounted
def commit_state_space(plan, room, motion, op, p0, p1, dt, scheme):
    """Accept the trial: new motion, rates, memories, energies of the scheme."""
    n = motion.q.size
    alpha_m, alpha_f, gamma = scheme[ALPHA_M], scheme[ALPHA_F], scheme[GAMMA]
    rate = op.carry
    cv = alpha_m / (gamma * dt) / alpha_f
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, room.q, room.y)
    gather_forces(plan, room.fe, room.y)
    # dx: Δu, r: Δv, vp: mean v, x: v̇(n+αm); then v, v̇ and u̇ become the new ones.
    for i in range(n):
        new_v = room.vp[i] + cv * (room.q[i] - room.qp[i])
        room.dx[i] = room.q[i] - motion.q[i]
        room.r[i] = new_v - motion.v[i]
        room.vp[i] = 0.5 * (new_v + motion.v[i])
        change = 0.0
        if plan.inertial[i] > 0.0:
            change = room.r[i] / (gamma * dt) - motion.a[i] / gamma
        room.x[i] = motion.a[i] + alpha_m * change
        motion.a[i] += change
        motion.v[i] = new_v
        rate[i] = (1.0 - 1.0 / gamma) * rate[i] + room.dx[i] / (gamma * dt)
    # Energy: αf·B' + (1−αf)·B = M·v̇(n+αm) with B = p − f − C·v, so that Δu·½(B + B') = Δu·M·v̇(n+αm) +
    # (½ − αf)·Δu·ΔB; what of it is not the change v̄·M·Δv of the kinetic energy is the algorithm's.
    algorithm = 0.0
    symmetric_product(plan.m_start, plan.m_row, plan.m_val, room.dx, room.g)
    for i in range(n):
        algorithm += room.g[i] * room.x[i]
    symmetric_product(plan.m_start, plan.m_row, plan.m_val, room.vp, room.g)
    for i in range(n):
        algorithm -= room.g[i] * room.r[i]
    damped = 0.0
    symmetric_product(plan.c_start, plan.c_row, plan.c_val, room.dx, room.g)
    for i in range(n):
        damped += room.g[i] * room.vp[i]
        change = room.dx[i] * (p1[i] - p0[i] - room.y[i] + motion.f[i]) - room.g[i] * room.r[i]
        algorithm += (0.5 - alpha_f) * change
    motion.account[DAMPED] += damped
    motion.account[ALGORITHM] += algorithm
    commit(plan, room, motion, p0, p1, dt, op.still)


@inner
def state_space_step(plan, room, motion, op, p0, p1, shift, dt, scheme, tolerance, most, virgin):
    """One step; commits and returns CONVERGED, or leaves `motion` as it was."""
    weight, cv = begin_state_space(plan, room, motion, op, p0, p1, dt, scheme)
    status = equilibrate(plan, room, motion, shift, dt, weight, cv, tolerance, most, virgin)
    if status != CONVERGED:
        return status
    commit_state_space(plan, room, motion, op, p0, p1, dt, scheme)
    return CONVERGED
