"""Tested part given by a frame, in this process: the interface is moved, the inside finds its equilibrium.

Exact: all laws and members with their geometry, by the engine's Newton iteration to 1e-10 of the forces; devices can be
replaced between tests. Left out: the part's own inertia and damping and all effects of rate, which a slow test
computes (declare them with `declared`).
"""

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.sparse.linalg import splu

from frame2d.analysis.damping import StiffnessMass
from frame2d.analysis.operators import Virgin
from frame2d.analysis.static import STATIC
from frame2d.engine.implicit import advance
from frame2d.engine.newton import CONVERGED
from frame2d.engine.plan import new_room
from frame2d.errors import Frame2dError, InputError
from frame2d.hybrid.computed import Declared
from frame2d.hybrid.part_state import at_rest, part_state
from frame2d.hybrid.specimen import Command, Reading, Specimen
from frame2d.model.frame import Frame
from frame2d.model.state import State, begin_of
from frame2d.model.system import System
from frame2d.substructure import Split

_TOLERANCE = 1e-10


def held_at(frame: Frame, interface: Sequence[tuple[str, str]]) -> Frame:
    """The tested frame with the interface components supported, so that they can be moved; `frame` is not changed."""
    held = deepcopy(frame)
    for node, component in interface:
        before = held.supports.get(node, ())
        if component in before:
            raise InputError(f"{component} of node {node!r} is supported already; allowed: free components")
        held.support(node, (*before, component))
    return held


def computed_state(split: Split, state: State) -> State:
    """State of the computed part where the whole frame is in `state`, at rest or moving.

    Its load is its own share less the tested part's force, by the model of the tested part in that state. At a cut that
    releases freedoms the force there is lost, and the state is out of balance by it (`balanced` holds it instead).
    """
    shares = split.share(state)
    force = FrameSpecimen.of(split, state).force_at_start - split.pick_tested @ shares["tested"].load
    mine = shares["computed"]
    return replace(mine, load=mine.load - split.pick_computed.T @ force)


class FrameSpecimen(Specimen):
    """The tested `system`, whose supports ``interface`` [(node, component), …] are moved; a `Specimen`.

    `directions` (freedoms, supports): one row an interface freedom, if a freedom moves several components (an actuator
    along a brace: cos and sin); None: each component is a freedom. Displacements and forces count from `state`, with
    the channels zeroed there. `held_at` makes a frame whose interface is supported.
    """

    replayable = True

    def __init__(
        self,
        system: System,
        interface: Sequence[tuple[str, str]],
        directions: Any = None,
        state: State | None = None,
    ) -> None:
        count = len(interface)
        rows = np.eye(count) if directions is None else np.atleast_2d(np.asarray(directions, dtype=float))
        if rows.shape[1] != count or not np.isfinite(rows).all():
            raise InputError(f"directions have shape {rows.shape}; allowed: (freedoms, {count})")
        super().__init__(len(rows))
        self.system, self.interface = system, [tuple(place) for place in interface]
        self.numbers = [system.support_number(node, component) for node, component in interface]
        #: Displacements of all supports by interface freedoms, (supports, freedoms).
        self.moves = np.zeros((system.held.size, self.freedoms))
        self.moves[self.numbers] = rows.T
        self._coupling = system.support_coupling()
        self._end_stiffness = np.asarray(
            (system.supported.T @ system.whole["stiffness"] @ system.supported).todense()
        )
        self.begin = begin_of(system, state)
        self._begin_from(self.begin)

    @classmethod
    def of(cls, split: Split, state: State | None = None, directions: Any = None) -> "FrameSpecimen":
        """Tested part of a `split`, its interface held, at the displacement of the whole frame's `state`."""
        system = held_at(split.tested, split.interface).compile()
        begin = (
            None if state is None else part_state(split.tested_system, split.share(state)["tested"], system)
        )
        return cls(system, split.interface, directions, begin)

    def _begin_from(self, state: State) -> None:
        system = self.system
        self.motion = state.copy_motion()
        self.motion.v[:] = 0.0
        self.motion.dq[:] = 0.0
        self._origin, self.supports = state.supports.copy(), state.supports.copy()
        self._load = state.load.copy()
        at_rest(system, self.motion, self.supports)
        self._room = new_room(system.plan)
        self.force_at_start = np.zeros(self.freedoms)
        self._peak = system.force_scale(self._load) if np.any(self._load) else 0.0
        self._displacement = np.zeros(self.freedoms)
        self.force_at_start = self._force()

    def _force(self) -> np.ndarray:
        """Force on the interface freedoms, from the members' ends at the supports."""
        width = self.system.gather_all.shape[0]
        back = self.system.imposed_parts.T @ self.motion.f0[:width]
        back = back + self._coupling.T @ self.motion.q + self._end_stiffness @ self.supports
        return np.asarray(self.moves.T @ back)

    def apply(self, command: Command) -> Reading:
        system, room = self.system, self._room
        target = np.array(command.displacement, dtype=np.float64)
        supports = self._origin + self.moves @ target
        p0, p1 = self._load - self._coupling @ self.supports, self._load - self._coupling @ supports
        shift0, shift1 = np.zeros(room.shift.size), np.zeros(room.shift.size)
        shift0[:-1], shift1[:-1] = system.imposed_parts @ self.supports, system.imposed_parts @ supports
        self._peak = max(
            self._peak, system.force_scale(p1) if np.any(p1) else 0.0, float(np.abs(self.motion.f0).max())
        )
        reference = max(self._peak, system.rounding / _TOLERANCE)
        options = np.array([_TOLERANCE * reference, 20.0, 8.0])
        status = advance(system.plan, room, self.motion, p0, p1, shift0, shift1, 1.0, STATIC, options)
        if status != CONVERGED:
            raise Frame2dError(
                f"the tested part has no equilibrium at interface displacement {target.tolist()}: it failed, or a law "
                "ended"
            )
        self.supports, self._displacement = supports, target
        self.last_sequence = command.sequence
        return self.read()

    def read(self) -> Reading:
        return Reading(self._displacement.copy(), self._force() - self.force_at_start)

    def state(self) -> State:
        """State of the tested part now: `replace_devices` of its system takes it, and gives one to begin from."""
        motion = self.motion._replace(**{k: array.copy() for k, array in self.motion._asdict().items()})
        return State(
            motion, self.begin.time, self._load.copy(), self.supports.copy(), self.begin.released, self.begin.replaced,
            dict(self.begin.cases),
        )  # fmt: skip

    def replace(self, devices: Sequence[str]) -> Reading:
        """New devices, free of stress where the specimen stands now; the reading after the rest has settled.

        The interface stays where it is and the channels keep their zero.
        """
        new = self.system.replace_devices(self.state(), list(devices))
        zero, origin, moved = self.force_at_start, self._origin, self._displacement
        self._begin_from(new)
        self.force_at_start, self._origin, self._displacement = zero, origin, moved
        self.begin = new
        return self.apply(Command(self.last_sequence, moved, 1.0))

    # What is declared of it

    def follow(self, stiffness: Any = None) -> np.ndarray:
        """Displacements of the free freedoms by unit interface displacements, the virgin part in equilibrium."""
        virgin = Virgin(self.system)
        whole = virgin.whole if stiffness is None else stiffness
        coupled = (self._coupling + self._virgin_coupling(virgin)) @ self.moves
        return (
            np.asarray(-splu(whole.tocsc()).solve(coupled))
            if self.system.count
            else np.zeros((0, self.freedoms))
        )

    def _virgin_blocks(self, virgin: Virgin) -> tuple[np.ndarray, np.ndarray]:
        gather, imposed = self.system.gather_all @ self.system.free, self.system.imposed_parts
        across, ends = np.zeros((self.system.count, self.system.held.size)), self._end_stiffness.copy()
        for place in self.system.parts:
            first, width = self.system.plan.k_at[place.number], place.last - place.first
            k = virgin.ke[first : first + width**2].reshape(width, width)
            rows, own = gather[place.first : place.last], imposed[place.first : place.last]
            across += rows.T @ (k @ own)
            ends += own.T @ k @ own
        return across, ends

    def _virgin_coupling(self, virgin: Virgin) -> np.ndarray:
        return self._virgin_blocks(virgin)[0]

    @property
    def stiffness(self) -> np.ndarray:
        """Largest known stiffness on the interface freedoms: virgin, laws with slack and pinching closed."""
        virgin = Virgin(self.system)
        across, ends = self._virgin_blocks(virgin)
        coupled = (self._coupling + across) @ self.moves
        return np.asarray(self.moves.T @ ends @ self.moves + coupled.T @ self.follow())

    def declared(
        self, margin: float = 0.0, damping: StiffnessMass | np.ndarray | None = None, felt: bool = False
    ) -> Declared:
        """What a solver needs: operator (1 + `margin`) times the largest known stiffness, mass and damping.

        Mass and damping of the part's inside follow its static shape (Guyan 1965): exact for mass at the interface
        alone. `damping`: coefficients of the part's own, or a matrix on the interface freedoms.
        """
        stiffness = self.stiffness
        spread = self.system.free @ self.follow() + self.system.supported @ self.moves

        def share(matrix: Any) -> np.ndarray | None:
            own = np.asarray(spread.T @ (matrix @ spread))
            return own if own.any() else None

        whole = self.system.whole
        own = (
            share(damping.a0 * whole["mass"] + damping.a1 * whole["damped"])
            if isinstance(damping, StiffnessMass)
            else damping
        )
        return Declared((1.0 + margin) * stiffness, stiffness, share(whole["mass"]), own, felt)

    def describe(self) -> dict[str, Any]:
        return {
            "specimen": "FrameSpecimen",
            "frame": self.system.frame.name,
            "interface": [list(place) for place in self.interface],
            "freedoms": self.freedoms,
        }


__all__ = ["FrameSpecimen", "computed_state", "held_at"]
