"""Step and loop of the schemes that have an `Operator`: explicit, operator splitting, state space."""

from frame2d.engine.explicit import EXPLICIT, SPLITTING, explicit_step
from frame2d.engine.implicit import COLLAPSED, after_piece, begin_step, passed, piece_of, record
from frame2d.engine.newton import CONVERGED, NOT_CONVERGED
from frame2d.engine.plan import STEPS
from frame2d.engine.splitting import splitting_step
from frame2d.engine.state_space import state_space_step
from frame2d.kernels import uncounted


@uncounted
def step_on(plan, held, room, motion, op, p0, p1, shift0, shift1, dt, scheme, options):
    """One step from loads `p0` to `p1`, halved where it fails; returns the outcome.

    An explicit step is taken once: its matrices belong to one step length, and `frame2d.analysis.operators.Marcher`
    has those of its halves made when they are needed. `options`: tolerance (force), most iterations, deepest halving.
    """
    tolerance, most, deepest = options[0], int(options[1]), int(options[2])
    if op.kind == EXPLICIT:
        return explicit_step(plan, held, room, motion, op, p0, p1, shift1, dt, scheme, tolerance, most)
    done, level = 0, 0
    whole = 1 << deepest  # the step in units of its shortest piece
    while done < whole:
        piece = whole >> level
        piece_of(room, p0, p1, shift0, shift1, done / whole, (done + piece) / whole)
        status = NOT_CONVERGED
        length = dt * piece / whole
        if op.kind == SPLITTING:
            status = splitting_step(
                plan, room, motion, op, room.piece0, room.piece1, room.shift, length, scheme
            )
        else:
            for virgin in range(2):
                if status != CONVERGED and (virgin == 0 or level == deepest):
                    status = state_space_step(
                        plan, room, motion, op, room.piece0, room.piece1, room.shift, length, scheme, tolerance,
                        12 * most if virgin else most, virgin == 1,
                    )  # fmt: skip
        if status != CONVERGED and level == deepest:
            return status
        done, level = after_piece(room, status, done, piece, level)
    return CONVERGED


@uncounted
def march(
    plan, held, room, motion, op, base, patterns, factors, supports, history, dt, first, last, scheme, options, watch,
    limits, log,
):  # fmt: skip
    """Steps `first` to `last` of a history, logged; arguments and answer as of `frame2d.engine.implicit.run`."""
    before = room.counts_before
    for i in range(before.size):
        before[i] = room.counts[i]
    for step in range(first, last):
        begin_step(room, base, patterns, factors, supports, history, step, step == first)
        room.counts[STEPS] += 1
        status = step_on(
            plan,
            held,
            room,
            motion,
            op,
            room.load0,
            room.load1,
            room.shift0,
            room.shift1,
            dt,
            scheme,
            options,
        )
        if status != CONVERGED:
            return step, status
        if entered(room, motion, watch, limits, log, step) != CONVERGED:
            return step + 1, COLLAPSED
    return last, CONVERGED


@uncounted
def entered(room, motion, watch, limits, log, row):
    """Write a row of the log; COLLAPSED where a watched difference of displacements is over its limit."""
    record(motion, room, log, row, room.counts_before)
    return COLLAPSED if passed(motion.q, watch, limits) else CONVERGED
