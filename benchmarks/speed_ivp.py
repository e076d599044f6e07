"""The speed frame by scipy's `solve_ivp`: the equations of motion in first order, compiled, with their exact Jacobian.

State: displacements q of all free freedoms, velocities v of those with mass, hysteretic z of the hinges. Freedoms without
mass are damped by the members' stiffness, which gives their velocity: C_rr·q̇_r = −f_r − C_rm·v. The ground acceleration
is linear between samples. The columns' forces come from the engine's own kernel; the hinges follow Bouc-Wen's rate
equation.
"""

import time
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from frame2d.engine.evaluate import evaluate, gather_forces, symmetric_product
from frame2d.engine.plan import new_room
from frame2d.kernels import compiled


class TooSlow(Exception):
    """The solver has taken more processor time than it may."""


@compiled
def rate(
    plan, room, hinge, law, massive, massless, c_mm, c_mr, c_rm, c_rr_inverse, inverse_mass, y, load, out
):
    """out = dy/dt; `hinge` are the places of the hinges among the deformations, `law` = 1/uy, a·k, (1−a)·Fy, β, γ."""
    n, m, r = room.q.size, massive.size, massless.size
    q, v, z = y[:n], y[n : n + m], y[n + m :]
    evaluate(plan, room, q, q, room.shift, plan.parameters, room.scratch[800:], 0.0, 0.0)
    for h in range(hinge.size):
        room.fe[hinge[h]] = law[1] * room.d[hinge[h]] + law[2] * z[h]
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, q, room.y)
    gather_forces(plan, room.fe, room.y)
    own = room.r
    for i in range(r):
        s = room.y[massless[i]]
        for j in range(m):
            s += c_rm[i, j] * v[j]
        own[i] = s
    for i in range(r):
        s = 0.0
        for j in range(r):
            s += c_rr_inverse[i, j] * own[j]
        out[massless[i]] = -s
    for i in range(m):
        s = load[massive[i]] - room.y[massive[i]]
        for j in range(m):
            s -= c_mm[i, j] * v[j]
        for j in range(r):
            s -= c_mr[i, j] * out[massless[j]]
        out[massive[i]] = v[i]
        out[n + i] = inverse_mass[i] * s
    for h in range(hinge.size):
        turn = 0.0
        for t in range(plan.g_start[hinge[h]], plan.g_start[hinge[h] + 1]):
            turn += plan.g_val[t] * out[plan.g_col[t]]
        sign = 1.0 if turn * z[h] > 0.0 else -1.0
        out[n + m + h] = law[0] * turn * (1.0 - z[h] * z[h] * (law[4] + law[3] * sign))


class Problem:
    """The speed frame under one motion, from its standing state, as y' = F(t, y)."""

    def __init__(self, system: Any, standing: Any, damping: Any, record: Any) -> None:
        self.system, self.record = system, record
        places = system.parts
        hinges = [place for place in places if place.part.law is not None]
        rest = np.array([place.number for place in places if place.part.law is None])
        plan = system.plan
        self.plan = plan._replace(
            address=plan.address[rest], p_at=plan.p_at[rest], m_at=plan.m_at[rest] * 0, d_at=plan.d_at[rest],
            k_at=plan.k_at[rest], width=plan.width[rest],
        )  # fmt: skip
        self.room = new_room(plan)
        law = hinges[0].part.law
        self.hinge = np.array([place.first for place in hinges])
        self.law = np.array([law.k / law.Fy, law.a * law.k, (1.0 - law.a) * law.Fy, law.beta, law._gamma])
        C = damping.toarray()
        self.massive = np.flatnonzero(plan.inertial > 0.0)
        self.massless = np.flatnonzero(plan.inertial == 0.0)
        m, r = np.ix_(self.massive, self.massive), np.ix_(self.massless, self.massless)
        self.c_mm, self.c_rr_inverse = np.ascontiguousarray(C[m]), np.linalg.inv(C[r])
        self.c_mr = np.ascontiguousarray(C[np.ix_(self.massive, self.massless)])
        self.c_rm = np.ascontiguousarray(self.c_mr.T)
        self.inverse_mass = 1.0 / system.mass.diagonal()[self.massive]
        self.gather = (system.gather_all @ system.free).toarray()[self.hinge]
        self.shape, self.base = -system.influence(), standing.load
        self.time = record.dt * np.arange(record.acceleration.size)
        memory = standing.motion.m0
        z = np.array([memory[system.memory_at[place.number] + 1] for place in hinges])
        self.start = np.concatenate([standing.motion.q, np.zeros(self.massive.size), z])
        self.out = np.zeros_like(self.start)
        self.limit = np.inf

    def __call__(self, t: float, y: np.ndarray) -> np.ndarray:
        """F(t, y)."""
        if time.thread_time() > self.limit:
            raise TooSlow
        position = t / self.record.dt
        k = min(int(position), self.time.size - 2)
        a = self.record.acceleration
        ground = a[k] + (position - k) * (a[k + 1] - a[k])
        rate(
            self.plan, self.room, self.hinge, self.law, self.massive, self.massless, self.c_mm, self.c_mr, self.c_rm,
            self.c_rr_inverse, self.inverse_mass, np.ascontiguousarray(y), self.base + ground * self.shape, self.out,
        )  # fmt: skip
        return self.out.copy()

    def jacobian(self, t: float, y: np.ndarray) -> np.ndarray:
        """∂F/∂y, dense."""
        n, m, hinges = self.system.count, self.massive.size, self.hinge.size
        slope = self(t, y)
        z, turn = y[n + m :], self.gather @ slope[:n]
        plan = self.system.plan
        values = np.zeros(plan.row.size)
        values[plan.a_place] = plan.stiffness
        np.add.at(values, plan.t_place, plan.t_weight * self.room.ke[plan.t_entry])
        columns = np.repeat(np.arange(n), np.diff(plan.start.astype(np.int64)))
        tangent = np.zeros((n, n))
        tangent[plan.row, columns] = values
        tangent[columns, plan.row] = values
        tangent += self.law[1] * self.gather.T @ self.gather
        force = np.hstack([tangent, np.zeros((n, m)), self.law[2] * self.gather.T])
        J = np.zeros((y.size, y.size))
        through_v = np.zeros((self.massless.size, y.size))
        through_v[:, n : n + m] = self.c_rm
        J[self.massless] = -self.c_rr_inverse @ (force[self.massless] + through_v)
        J[self.massive, n + np.arange(m)] = 1.0
        damped = np.zeros((m, y.size))
        damped[:, n : n + m] = self.c_mm
        J[n : n + m] = -self.inverse_mass[:, None] * (
            force[self.massive] + damped + self.c_mr @ J[self.massless]
        )
        side = self.law[4] + self.law[3] * np.where(turn * z > 0.0, 1.0, -1.0)
        J[n + m :] = self.law[0] * (1.0 - z * z * side)[:, None] * (self.gather @ J[:n])
        J[n + m + np.arange(hinges), n + m + np.arange(hinges)] -= 2.0 * self.law[0] * turn * z * side
        return J

    def solve(self, method: str, rtol: float, limit: float = np.inf) -> tuple[np.ndarray, float]:
        """Displacements (step × freedom) at the samples of the motion, and processor seconds; raises `TooSlow`."""
        n, m = self.system.count, self.massive.size
        # A tolerance for each kind: centimetres, centimetres a second, the yield rotation's share.
        atol = rtol * np.concatenate([np.full(n, 0.01), np.full(m, 0.1), np.full(self.hinge.size, 1.0)])
        begin = time.thread_time()
        self.limit = begin + limit
        found = solve_ivp(
            self, (0.0, self.time[-1]), self.start, method, self.time, rtol=rtol, atol=atol, jac=self.jacobian
        )
        if not found.success:
            raise RuntimeError(found.message)
        return found.y[:n].T, time.thread_time() - begin
