"""`Response` of the whole frame from a hybrid test: both parts put together again, so that tests chain like analyses.

The computed part is as the solver stepped it. The tested part is its model, moved as the specimen was measured to move:
what no channel measured (memories, forces inside) is the model's, and so is its share of the state from which the next
test begins. What was measured stays in the test's `Outcome` and journal.
"""

from typing import Any

import numpy as np
from scipy.sparse import csr_matrix, vstack
from scipy.sparse.linalg import splu

from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import finish
from frame2d.errors import InputError
from frame2d.hybrid.frame_solver import FrameSolver
from frame2d.hybrid.frame_specimen import FrameSpecimen
from frame2d.hybrid.part_state import at_rest
from frame2d.hybrid.specimen import Command
from frame2d.model.state import State


def whole_response(
    solver: FrameSolver, displacement: np.ndarray, state: State, directions: Any = None
) -> Response:
    """Histories and final state of the undivided frame after a test of `solver`, made for a `Split`.

    `displacement` (steps, freedoms): measured, from the start of the test; `state`: of the whole frame, where it began;
    `directions` as given to the solver. Raises `InputError` for a solver without a split or without its history.
    """
    split, done = solver.split, len(displacement)
    if split is None or not solver.keeps or done != solver.step:
        raise InputError(
            f"the solver has {solver.step} steps{'' if solver.keeps else ' without history'} and the reading {done}; "
            "allowed: a solver of a Split with history, and as many readings as steps"
        )
    whole, computed = split.whole_system, split.computed_system
    specimen = FrameSpecimen.of(split, state, directions)
    held, tested = specimen.system, split.tested_system
    log = new_log(whole, done + 1)
    inside = np.zeros((done + 1, tested.count))
    places = {(place.member, place.part.role): place for place in held.parts}
    own = [
        (place, places[key]) for place in whole.parts if (key := (place.member, place.part.role)) in places
    ]
    for row in range(done + 1):
        if row:
            specimen.apply(Command(row, displacement[row - 1], 1.0))
        now = specimen.motion
        inside[row] = (held.free @ now.q + held.supported @ specimen.supports)[tested.leads]
        for place, there in own:
            log.force[row, place.first : place.last] = now.f0[there.first : there.last]
            log.work[row, place.number] = now.work[there.number]
            log.stored[row, place.number] = now.stored[there.number]
    # Every freedom of the whole is one of a part's; where both have it they agree to the tracking error.
    computed_picks, tested_picks = split.expand("computed"), split.expand("tested")
    only = np.asarray(abs(computed_picks).sum(axis=0)).ravel() == 0.0
    weights = csr_matrix(
        np.diag(np.asarray(abs(tested_picks[:, only]).sum(axis=1)).ravel() > 0.0).astype(float)
    )
    picks = csr_matrix(vstack([computed_picks, weights @ tested_picks]))
    join = splu((picks.T @ picks).tocsc())
    rates = np.gradient(inside, solver.dt, axis=0) if done else np.zeros_like(inside)
    seconds = np.gradient(rates, solver.dt, axis=0) if done else rates
    for name, mine in (("q", inside), ("v", rates), ("a", seconds)):
        both = np.hstack([getattr(solver.log, name)[: done + 1], mine @ weights.T])
        getattr(log, name)[:] = join.solve(picks.T @ both.T).T
    ours = {(place.member, place.part.role): place for place in computed.parts}
    shared = [(place, ours[key]) for place in whole.parts if (key := (place.member, place.part.role)) in ours]
    for place, there in shared:
        log.force[:, place.first : place.last] = solver.log.force[: done + 1, there.first : there.last]
        log.work[:, place.number] = solver.log.work[: done + 1, there.number]
        log.stored[:, place.number] = solver.log.stored[: done + 1, there.number]
    log.account[:] = solver.log.account[: done + 1]

    motion = state.copy_motion()
    motion.q[:], motion.v[:], motion.a[:] = log.q[-1], log.v[-1], log.a[-1]
    motion.dq[:] = log.q[-1] - log.q[-2] if done else 0.0
    for pairs, system, source in ((own, held, specimen.motion), (shared, computed, solver.motion)):
        for place, there in pairs:
            here, first, size = (
                whole.memory_at[place.number],
                system.memory_at[there.number],
                place.part.memory.size,
            )
            motion.m0[here : here + size] = source.m0[first : first + size]
    at_rest(whole, motion, state.supports)
    motion.work[:], motion.account[:] = log.work[-1], log.account[-1]
    ground = solver.ground[: done + 1]
    extra = {
        "ground": ground, "influence": whole.influence(), "patterns": -whole.influence()[None], "factors": ground[:, None],
        "base": state.load - whole.support_coupling() @ state.supports, "scheme": str(solver.scheme), "dt": solver.dt,
        "damping": None, "drift_limit": None,
    }  # fmt: skip
    supports = np.tile(state.supports, (done + 1, 1))
    time = state.time + solver.dt * np.arange(done + 1)
    ending = solver.response().outcome
    return finish(
        whole, state, motion, solver.room, log, done + 1, ending, "time history", time, state.load, supports, extra,
        whole.plan,
    )  # fmt: skip


__all__ = ["whole_response"]
