"""Step and loop of the schemes that have an `Operator`: explicit, operator splitting, state space."""

import numpy as np

from frame2d.engine.explicit import EXPLICIT, SPLITTING, explicit_step
from frame2d.engine.implicit import COLLAPSED, load_at, shift_at
from frame2d.engine.newton import CONVERGED
from frame2d.engine.plan import EVALUATIONS, FACTORISATIONS, HALVINGS, ITERATIONS, NEGATIVE, STEPS
from frame2d.engine.splitting import splitting_step
from frame2d.engine.state_space import state_space_step
from frame2d.kernels import compiled


@compiled
def step_on(plan, held, room, motion, op, p0, p1, shift0, shift1, dt, scheme, options):
    """One step from loads `p0` to `p1`; returns the outcome. Only the state-space scheme can halve its step.

    The matrices of the other schemes belong to one step length. `options`: tolerance (force), most iterations,
    deepest halving.
    """
    tolerance, most, deepest = options[0], int(options[1]), int(options[2])
    room.counts[STEPS] += 1
    if op.kind == EXPLICIT:
        return explicit_step(plan, held, room, motion, op, p0, p1, shift1, dt, scheme, tolerance, most)
    if op.kind == SPLITTING:
        return splitting_step(plan, room, motion, op, p0, p1, shift1, dt, scheme)
    n = p0.size
    done, level = 0, 0
    whole = 1 << deepest  # the step in units of its shortest piece
    from_load, to_load = p0.copy(), np.empty(n)
    status = CONVERGED
    while done < whole:
        piece = whole >> level
        share = (done + piece) / whole
        for i in range(n):
            to_load[i] = p0[i] + share * (p1[i] - p0[i])
        for i in range(room.shift.size):
            room.shift[i] = shift0[i] + share * (shift1[i] - shift0[i])
        length = dt * piece / whole
        for virgin in range(2):
            if virgin == 0 or level == deepest:
                status = state_space_step(
                    plan, room, motion, op, from_load, to_load, room.shift, length, scheme, tolerance,
                    12 * most if virgin else most, virgin == 1,
                )  # fmt: skip
                if status == CONVERGED:
                    break
        if status == CONVERGED:
            done += piece
            from_load[:] = to_load
            if level > 0 and done % (piece * 2) == 0:
                level -= 1
        elif level < deepest:
            level += 1
            room.counts[HALVINGS] += 1
        else:
            return status
    return CONVERGED


@compiled
def march(
    plan, held, room, motion, op, base, patterns, factors, supports, history, dt, first, last, scheme, options, watch,
    limits, log,
):  # fmt: skip
    """Steps `first` to `last` of a history, logged; arguments and answer as of `frame2d.engine.implicit.run`."""
    n = motion.q.size
    p0, p1 = np.empty(n), np.empty(n)
    shift0, shift1 = np.zeros(room.shift.size), np.zeros(room.shift.size)
    load_at(base, patterns, factors, first - 1, p0)
    shift_at(supports, history, first - 1, shift0)
    log_q, log_v, log_a, log_f, log_work, log_stored, log_account, log_counts = log
    before = np.zeros(room.counts.size, dtype=np.int64)
    for step in range(first, last):
        load_at(base, patterns, factors, step, p1)
        shift_at(supports, history, step, shift1)
        before[:] = room.counts
        status = step_on(plan, held, room, motion, op, p0, p1, shift0, shift1, dt, scheme, options)
        if status != CONVERGED:
            return step, status
        log_q[step] = motion.q
        log_v[step] = motion.v
        log_a[step] = motion.a
        log_f[step] = motion.f0
        log_work[step] = motion.work
        log_stored[step] = motion.stored
        log_account[step] = motion.account
        log_counts[step, 0] = room.counts[ITERATIONS] - before[ITERATIONS]
        log_counts[step, 1] = room.counts[FACTORISATIONS] - before[FACTORISATIONS]
        log_counts[step, 2] = room.counts[EVALUATIONS] - before[EVALUATIONS]
        log_counts[step, 3] = room.counts[HALVINGS] - before[HALVINGS]
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
