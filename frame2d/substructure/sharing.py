"""A state of the whole handed to a part: same displacements, same memories, its own share of the loads."""

from collections.abc import Mapping

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.engine.evaluate import evaluate, gather_forces, symmetric_product
from frame2d.engine.plan import Motion, new_room
from frame2d.errors import InputError
from frame2d.model.state import State
from frame2d.model.system import System


def share_state(
    system: System, whole: System, state: State, expand: csr_matrix, names: Mapping[str, str]
) -> State:
    """State of a part whose freedoms move as `expand` picks them out of the whole's and whose laws remember the same.

    `names` are those of the part's nodes in the whole.

    Load cases that stay on act with the part's own share. Raises `InputError` where loads or support displacements of
    the whole cannot be told apart.
    """
    motion = system.rest().motion
    source = state.motion
    for name in ("q", "v", "a", "dq"):
        getattr(motion, name)[:] = expand @ getattr(source, name)
    where = {(place.member, place.part.role): place for place in whole.parts}
    for place in system.parts:
        other = where.get((place.member, place.part.role))
        if other is None:
            continue
        here, there = system.memory_at[place.number], whole.memory_at[other.number]
        size = place.part.memory.size
        motion.m0[here : here + size] = source.m0[there : there + size]
        motion.work[place.number] = source.work[other.number]
    supports = np.zeros(system.held.size)
    held = {int(freedom): k for k, freedom in enumerate(whole.held)}
    nodes = list(system.node_index)
    for k, freedom in enumerate(system.held):
        number = 3 * whole.node_index[names[nodes[freedom // 3]]] + freedom % 3
        supports[k] = state.supports[held[int(number)]]
    settle(system, motion, supports)
    load = np.zeros(system.count)
    cases = {}
    for case, factor in state.cases.items():
        if has_case(system, case):
            load += factor * system.load_vector(case)
            cases[case] = factor
    full = sum((f * whole.load_vector(case) for case, f in state.cases.items()), np.zeros(whole.count))
    if not np.allclose(full, state.load, atol=1e-9 * (1.0 + np.abs(state.load).max(initial=0.0))):
        raise InputError(
            "the state carries loads that belong to no load case; allowed: load cases alone, which are shared by name"
        )
    return State(motion, state.time, load, supports, 0.0, state.replaced, cases)


def settle(system: System, m: Motion, supports: np.ndarray) -> None:
    """Internal forces of a motion at its displacements, in place."""
    plan = system.plan
    room = new_room(plan)
    room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ supports
    failed = evaluate(plan, room, m.q, m.v, room.shift, m.m0, m.m1, 0.0, 0.0)
    if failed >= 0:
        raise InputError(f"member {system.parts[failed].member!r} has no answer at the shared displacement")
    symmetric_product(plan.a_start, plan.a_row, plan.stiffness, m.q, m.f)
    gather_forces(plan, room.fe, m.f)
    m.d0[:], m.f0[:], m.stored[:] = room.d, room.fe, room.e
    m.m1[:] = m.m0


def has_case(system: System, case: str) -> bool:
    """Whether a frame has loads in a case."""
    frame = system.frame
    return case in {load.case for load in frame.node_loads} | {load.case for load in frame.member_loads}
