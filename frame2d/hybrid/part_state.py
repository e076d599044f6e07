"""States in which a test begins: a part of a divided frame at the displacement of the whole.

The load of such a state is whatever keeps the part in equilibrium there, so that it holds the other part's force as
well (and what a released freedom of the cut carried); a test then counts the changes of that force.
"""

from dataclasses import replace

import numpy as np

from frame2d.engine.evaluate import evaluate, gather_forces, symmetric_product
from frame2d.engine.plan import new_room
from frame2d.errors import InputError
from frame2d.model.state import State
from frame2d.model.system import System


def part_state(whole: System, state: State, part: System) -> State:
    """`state` of `whole` on `part`, whose nodes and members bear the same names; at rest, at the same displacement.

    Members keep their memories. Raises `InputError` for nodes or members that the whole does not have.
    """
    for kind, names, known in (
        ("node", part.node_index, whole.node_index),
        ("member", part.pieces, whole.pieces),
    ):
        unknown = [name for name in names if name not in known]
        if unknown:
            raise InputError(
                f"{kind} {unknown[0]!r} of the part is not in the whole frame; allowed: parts that keep its names"
            )
    u = np.asarray(whole.free @ state.motion.q + whole.supported @ state.supports)
    full = np.zeros(part.size)
    for name, number in part.node_index.items():
        there = 3 * whole.node_index[name]
        full[3 * number : 3 * number + 3] = u[there : there + 3]
    for name, own in part.freedoms_of.items():
        full[own[6:]] = u[whole.freedoms_of[name][6:]]
    begin = part.rest()
    motion = begin.motion
    motion.q[:] = full[part.leads]
    supports = full[part.held]
    old = {(place.member, place.part.role): place for place in whole.parts}
    for place in part.parts:
        source = old[(place.member, place.part.role)]
        here, there, size = (
            part.memory_at[place.number],
            whole.memory_at[source.number],
            place.part.memory.size,
        )
        motion.m0[here : here + size] = state.motion.m0[there : there + size]
    motion.m1[:] = motion.m0
    begin = replace(begin, supports=supports, time=state.time, replaced=state.replaced)
    return balanced(part, replace(begin, motion=motion))


def balanced(system: System, state: State) -> State:
    """`state` at rest, with the load that keeps it in equilibrium instead of its own."""
    motion = state.copy_motion()
    motion.v[:] = 0.0
    motion.a[:] = 0.0
    load = at_rest(system, motion, state.supports) + system.support_coupling() @ state.supports
    return replace(state, motion=motion, load=load, cases={})


def at_rest(system: System, motion, supports: np.ndarray) -> np.ndarray:  # type: ignore[no-untyped-def]
    """Force of the parts and linear members on the free freedoms; fills the motion's forces and deformations."""
    plan, room = system.plan, new_room(system.plan)
    room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ supports
    failed = evaluate(plan, room, motion.q, motion.v, room.shift, motion.m0, motion.m1, 0.0, 0.0)
    if failed >= 0:
        raise InputError(f"member {system.parts[failed].member!r} has no answer at the starting displacement")
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, motion.q, motion.f)
    gather_forces(plan, room.fe, motion.f)
    motion.d0[:] = room.d
    motion.f0[:] = room.fe
    motion.stored[:] = room.e
    motion.m1[:] = motion.m0
    return motion.f.copy()


__all__ = ["at_rest", "balanced", "part_state"]
