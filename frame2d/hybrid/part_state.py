"""States in which a test begins: a part of a divided frame at the displacement of the whole.

The load of such a state is whatever keeps the part in equilibrium there, so that it holds the other part's force as
well (and what a released freedom of the cut carried); a test then counts the changes of that force.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from frame2d.analysis.settle import settle
from frame2d.engine.plan import Motion
from frame2d.errors import InputError
from frame2d.model.state import State
from frame2d.model.system import System


def part_state(whole: System, state: State, part: System, names: Mapping[str, str] | None = None) -> State:
    """`state` of `whole` on `part`, whose nodes and members bear the same names; at rest, at the same displacement.

    `names` gives the name in the whole of nodes that bear another one in the part. Members keep their memories. Raises `InputError` for nodes or members that the whole does not have.
    """
    other = names or {}

    def there(name: str) -> str:
        return other.get(name, name)

    for kind, wanted, known in (
        ("node", [there(name) for name in part.node_index], whole.node_index),
        ("member", part.pieces, whole.pieces),
    ):
        unknown = [name for name in wanted if name not in known]
        if unknown:
            raise InputError(
                f"{kind} {unknown[0]!r} of the part is not in the whole frame; allowed: parts that keep its names"
            )
    u = np.asarray(whole.free @ state.motion.q + whole.supported @ state.supports)
    full = np.zeros(part.size)
    for name, number in part.node_index.items():
        first = 3 * whole.node_index[there(name)]
        full[3 * number : 3 * number + 3] = u[first : first + 3]
    for name, own in part.freedoms_of.items():
        full[own[6:]] = u[whole.freedoms_of[name][6:]]
    begin = part.rest()
    motion = begin.motion
    motion.q[:] = full[part.leads]
    supports = full[part.held]
    old = {(place.member, place.part.role): place for place in whole.parts}
    for place in part.parts:
        source = old[(place.member, place.part.role)]
        here, begin_at, size = (
            part.memory_at[place.number],
            whole.memory_at[source.number],
            place.part.memory.size,
        )
        motion.m0[here : here + size] = state.motion.m0[begin_at : begin_at + size]
    motion.m1[:] = motion.m0
    begin = replace(begin, supports=supports, time=state.time, replaced=state.replaced)
    return balanced(part, replace(begin, motion=motion))


def balanced(system: System, state: State) -> State:
    """`state` at rest, with the load that keeps it in equilibrium instead of its own."""
    motion = state.copy_motion()
    motion.v[:] = 0.0
    motion.a[:] = 0.0
    at_rest(system, motion, state.supports)
    load = motion.f + system.support_coupling() @ state.supports
    return replace(state, motion=motion, load=load, cases={})


def at_rest(system: System, motion: Motion, supports: np.ndarray) -> None:
    """Forces and deformations of a motion at its displacements; the laws remember what they did."""
    settle(system, motion, supports)
    motion.m1[:] = motion.m0


__all__ = ["at_rest", "balanced", "part_state"]
