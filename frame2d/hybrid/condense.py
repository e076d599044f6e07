"""Tested frame part as a `Network`, so that it runs inside the simulated rig at the controller's rate.

| exact | condensed to the starting state |
| --- | --- |
| every law on one deformation, with its memory: hinges, pins, braces, links | members with second-order terms: their tangent, so that the axial force of the start stays |
| linear members; freedoms without a law are eliminated (static condensation) | the shortening of a leaning member is left out |

A part with a law on two forces (axial force and moment) cannot be condensed: use `FrameSpecimen`. The network has no
mass; forces and displacements count from the starting state, channels zeroed.
"""

import numpy as np

from frame2d.elements.brace import bar
from frame2d.elements.spring import spring
from frame2d.engine.evaluate import evaluate
from frame2d.engine.plan import new_room
from frame2d.errors import InputError
from frame2d.hybrid.frame_specimen import FrameSpecimen
from frame2d.hybrid.network import Network
from frame2d.materials.law import Law


def condensed_network(specimen: FrameSpecimen) -> Network:
    """Network of the tested part of `specimen` in its starting state; raises `InputError` for laws on two forces."""
    system, state = specimen.system, specimen.begin
    f, n = specimen.freedoms, system.count
    motion, room = state.copy_motion(), new_room(system.plan)
    room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ state.supports
    evaluate(system.plan, room, motion.q, np.zeros(n), room.shift, motion.m0, motion.m1, 0.0, 0.0)
    # All freedoms: interface first, then the free ones inside.
    linear = np.zeros((f + n, f + n))
    coupling = system.support_coupling() @ specimen.moves
    linear[f:, f:] = system.stiffness.toarray()
    linear[f:, :f], linear[:f, f:] = coupling, coupling.T
    ends = np.asarray((system.supported.T @ system.whole["stiffness"] @ system.supported).todense())
    linear[:f, :f] = specimen.moves.T @ ends @ specimen.moves
    gather = np.hstack([system.imposed_parts @ specimen.moves, (system.gather_all @ system.free).toarray()])
    springs: list[tuple[Law, np.ndarray]] = []
    offsets: list[float] = []
    memories: list[np.ndarray] = []
    forces: list[float] = []
    for place in system.parts:
        part, width = place.part, place.last - place.first
        rows = gather[place.first : place.last]
        first = int(system.memory_at[place.number])
        memory = motion.m0[first : first + part.memory.size]
        entry = int(system.plan.k_at[place.number])
        tangent = room.ke[entry : entry + width**2].reshape(width, width)
        if part.law is None:
            linear += rows.T @ tangent @ rows
            continue
        if part.kernel is spring:
            row, force = rows[0], float(room.fe[place.first])
            stretch = float(room.d[place.first])
        elif part.kernel is bar:
            row, force, stretch, turning = _bar(part.parameters, rows, room, place.first)
            linear += turning
        else:
            raise InputError(
                f"member {place.member!r} has a law on axial force and moment ({part.role}), which has no place in the "
                "simulated rig; allowed: laws on one deformation, or FrameSpecimen"
            )
        springs.append((part.law, row))
        offsets.append(stretch - float(memory[0]))
        memories.append(memory[1:].copy())
        forces.append(force)
    touched = np.zeros(f + n, dtype=bool)
    touched[:f] = True
    for _, row in springs:
        touched |= row != 0.0
    kept, gone = np.flatnonzero(touched), np.flatnonzero(~touched)
    small = linear[np.ix_(kept, kept)]
    if gone.size:
        small = small - linear[np.ix_(kept, gone)] @ np.linalg.solve(
            linear[np.ix_(gone, gone)], linear[np.ix_(gone, kept)]
        )
    constant = -sum(
        (force * row[kept] for force, (_, row) in zip(forces, springs, strict=True)), np.zeros(kept.size)
    )
    if not np.any(small):
        small = np.zeros((0, 0))
    return Network(
        [(law, row[kept].tolist()) for law, row in springs],
        f,
        kept.size - f,
        small,
        constant,
        offsets,
        memories,
    )


def _bar(p, rows, room, first):  # type: ignore[no-untyped-def]
    """Row of the elongation, axial force, elongation, and the second-order stiffness of a bar at the start."""
    L, c, s, exact = p[:4]
    d = room.d[first : first + 4]
    x, y = L * c + d[2] - d[0], L * s + d[3] - d[1]
    length = float(np.hypot(x, y))
    if exact > 0.0:
        rx, ry, stretch = x / length, y / length, length - L
    else:
        psi = (c * (d[3] - d[1]) - s * (d[2] - d[0])) / L
        rx, ry, length = c - psi * s, s + psi * c, L
        stretch = c * (d[2] - d[0]) + s * (d[3] - d[1]) + 0.5 * psi**2 * L
    along = np.array([-rx, -ry, rx, ry]) @ rows
    fx, fy = room.fe[first + 2], room.fe[first + 3]
    force = float((fx * rx + fy * ry) / (rx * rx + ry * ry))
    z = np.array([-ry, rx]) if exact > 0.0 else np.array([-s, c])
    across = np.concatenate([-z, z]) @ rows
    return along, force, float(stretch), force / length * np.outer(across, across)


__all__ = ["condensed_network"]
