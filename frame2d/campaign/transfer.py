"""Carry a `State` between systems that share nodes: a frame, and the same frame without some of its devices."""

from dataclasses import replace

import numpy as np

from frame2d.analysis.settle import settle
from frame2d.engine.plan import Motion
from frame2d.errors import InputError, known
from frame2d.model.frame import Frame
from frame2d.model.state import State
from frame2d.model.system import System


def without(frame: Frame, names: list[str]) -> Frame:
    """The frame with the named devices taken out; raises `InputError` for devices that carry loads along them."""
    gone = {known("device", name, frame.devices()) for name in names}
    loaded = sorted({load.member for load in frame.member_loads if load.member in gone})
    if loaded:
        raise InputError(
            f"device {loaded[0]!r} carries a load along it; allowed: devices without. Move the load to the nodes "
            "before the device is taken out"
        )
    members = {name: placed for name, placed in frame.members.items() if name not in gone}
    return Frame(
        f"{frame.name} without {', '.join(names)}",
        frame.nodes, frame.supports, members, frame.masses, list(frame.node_loads), list(frame.member_loads),
        frame.floors, frame.ties, frame.bodies,
    )  # fmt: skip


def displacements(system: System, state: State) -> np.ndarray:
    """Displacements of all freedoms (m, rad)."""
    return np.asarray(system.free @ state.motion.q + system.supported @ state.supports)


def member_forces(system: System, state: State, name: str) -> np.ndarray:
    """Forces of a member on its own freedoms (global axes), N and N·m."""
    pieces, own = system.pieces[name], system.freedoms_of[name]
    forces = pieces.stiffness @ displacements(system, state)[own]
    for place in system.parts:
        if place.member == name:
            forces = forces + place.part.transform.T @ state.motion.f0[place.first : place.last]
    return np.asarray(forces)


def moved_to(system: System, state: State, target: System) -> State:
    """`state` of `system` on `target`, at rest: shared members keep their memories, new ones are virgin.

    Inner freedoms of members that `system` lacks are zero. Loads are those of the state's load cases, supports keep
    their displacements. Raises `InputError` where other loads stand on the frame.
    """
    check_loads(system, state)
    u = displacements(system, state)
    nodes = 3 * len(system.node_index)
    full = np.zeros(target.size)
    full[:nodes] = u[:nodes]
    for name, own in target.freedoms_of.items():
        if name in system.freedoms_of:
            full[own[6:]] = u[system.freedoms_of[name][6:]]
    motion = target.rest().copy_motion()
    motion.q[:] = full[target.leads]
    old = {(place.member, place.part.role): place for place in system.parts}
    for place in target.parts:
        key = (place.member, place.part.role)
        if key in old:
            there, here = target.memory_at[place.number], system.memory_at[old[key].number]
            size = place.part.memory.size
            motion.m0[there : there + size] = state.motion.m0[here : here + size]
    before = dict(zip(system.held.tolist(), state.supports.tolist(), strict=True))
    supports = np.array([before.get(freedom, 0.0) for freedom in target.held.tolist()])
    load = np.zeros(target.count)
    for case, factor in state.cases.items():
        if factor != 0.0:
            load += factor * target.load_vector(case)
    return settled(target, replace(state, motion=motion, load=load, supports=supports))


def check_loads(system: System, state: State) -> None:
    """Raise `InputError` unless the load that stays on is the sum of the load cases that stay on."""
    named = sum(
        (f * system.load_vector(case) for case, f in state.cases.items() if f), np.zeros(system.count)
    )
    scale = float(np.abs(state.load).max(initial=0.0))
    if np.abs(state.load - named).max(initial=0.0) > 1e-9 * scale:
        raise InputError(
            "loads stand on the frame that belong to no load case; allowed: load cases only. Likely mistake: "
            "devices replaced while a push still holds the frame"
        )


def settled(system: System, state: State) -> State:
    """The same state with forces, deformations and recoverable energies that belong to its displacements."""
    motion = state.copy_motion()
    settle(system, motion, state.supports)
    motion.m1[:] = motion.m0
    return replace(state, motion=motion)


def at_rest(state: State) -> State:
    """The state without velocities, accelerations and accounts."""
    motion: Motion = state.copy_motion()
    for array in (motion.v, motion.a, motion.dq, motion.account, motion.work):
        array[:] = 0.0
    return replace(state, motion=motion)
