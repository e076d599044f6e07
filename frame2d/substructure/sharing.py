"""A state of the whole handed to a part: same displacements, same memories, its own share of the loads."""

from collections.abc import Mapping

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.analysis.settle import settle
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
    motion.m1[:] = motion.m0
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


def has_case(system: System, case: str) -> bool:
    """Whether a frame has loads in a case."""
    frame = system.frame
    return case in {load.case for load in frame.node_loads} | {load.case for load in frame.member_loads}
