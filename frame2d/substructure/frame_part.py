"""`FramePart`: a nonlinear part with its own scheme and step, and how one of its steps is tried under multipliers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.analysis.history import resampled
from frame2d.analysis.operators import Marcher, marcher
from frame2d.analysis.outcome import Outcome, describe_failure
from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import Options, finish
from frame2d.analysis.schemes import (
    FirstOrderAlpha,
    GeneralizedAlpha,
    OperatorSplitting,
    Scheme,
    chung_hulbert,
)
from frame2d.analysis.settle import settle
from frame2d.engine.implicit import advance
from frame2d.engine.newton import CONVERGED
from frame2d.engine.plan import Motion, Room, copy_motion, new_room
from frame2d.errors import InputError, positive
from frame2d.model.state import begin_of
from frame2d.substructure.joint import Trial

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System


@dataclass(frozen=True)
class FramePart:
    """A part of a coupled run: `system` with the signed rows B of its `interface` (ties × free freedoms).

    The ties demand Σ B·v = 0 over all parts; the multipliers Λ (N, N·m) act as +Bᵀ·Λ on each. `damping` is a matrix on
    the free freedoms or an object with ``matrix(system, state)``; `record`, `factor`, `forces` ({(node, component): N
    or N·m at every own step}), `initial_velocity` and `initial_displacement` are those of `time_history`.
    """

    name: str
    system: "System"
    interface: csr_matrix
    dt: float
    scheme: Scheme = field(default_factory=chung_hulbert)
    damping: Any = None
    state: "State | None" = None
    record: Any = None
    factor: float = 1.0
    forces: Mapping[tuple[str, str], np.ndarray] = field(default_factory=dict)
    initial_velocity: Mapping[tuple[str, str], float] = field(default_factory=dict)
    initial_displacement: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        positive(f"dt of part {self.name!r}", self.dt)
        if self.interface.shape[1] != self.system.count:
            raise InputError(
                f"interface of part {self.name!r} has {self.interface.shape[1]} columns; allowed: "
                f"{self.system.count}, its free freedoms"
            )

    def moving(self, steps: int) -> "MovingFrame":
        """The part ready for `steps` of its own steps."""
        return MovingFrame(self, steps)


class Snap(NamedTuple):
    """A part at one instant: motion, and the rate of displacement of the state-space scheme."""

    motion: Motion
    carry: np.ndarray


class Way(NamedTuple):
    """What steps of one length need: scratch space, and the operator of schemes that have one."""

    room: Room
    marcher: Marcher | None


class MovingFrame:
    """A `FramePart` under way. `step` tries; nothing is kept but what the caller puts away."""

    def __init__(self, part: FramePart, steps: int) -> None:
        self.part, self.system, self.dt, self.steps = part, part.system, part.dt, steps
        self.B = csr_matrix(part.interface)
        self.rows = self.B.toarray()
        self.linear = not part.system.parts
        system = part.system
        self.begin_state = begin_of(system, part.state)
        self.damping = damping_matrix(part)
        self.inertial = system.plan.inertial.copy()
        self.patterns, self.factors, self.ground = self._loads()
        supports = self.begin_state.supports
        self.base = self.begin_state.load - system.support_coupling() @ supports
        self.shift = np.zeros(new_room(system.plan).shift.size)
        self.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ supports
        self.plan = system.with_damping(self.damping)
        self.ways: dict[float, Way] = {}
        self.options = np.zeros(3)

    def _loads(self) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
        part, rows = self.part, self.steps + 1
        patterns, factors, ground = [], [], None
        if part.record is not None:
            values = resampled(part.record.acceleration, float(part.record.dt), part.dt, "the record")
            ground = fitted(part.factor * values, rows)
            patterns.append(-self.system.influence())
            factors.append(ground)
        for (node, component), values in part.forces.items():
            patterns.append(self.system.row(node, component))
            factors.append(fitted(resampled(values, part.dt, part.dt, f"force on {node!r}"), rows))
        shapes = np.array(patterns).reshape(-1, self.system.count)
        return shapes, (np.column_stack(factors) if factors else np.zeros((rows, 0))), ground

    def prepare(self, tolerance: float, options: Options) -> None:
        """Take the force tolerance (N) and the numbers of tries."""
        self.options = np.array([tolerance, options.most_iterations, options.deepest_halving])

    def reference(self) -> float:
        """Largest force that acts, moments over the mean member length."""
        peak = np.abs(self.factors).max(axis=0, initial=0.0) @ np.abs(self.patterns)
        return self.system.force_scale(np.abs(self.base) + peak + np.abs(self.begin_state.motion.f))

    def row_scale(self) -> np.ndarray:
        """Scale of a multiplier in each tie: 1, or 1/length for moments; 0 where the part takes no part."""
        return np.asarray(abs(self.B).sign().multiply(self.system.plan.scale).max(axis=1).todense()).ravel()

    def mark_inertial(self, rows: np.ndarray) -> None:
        """Treat the freedoms of these ties as having mass, because another part's have; `rows` is a mask."""
        touched = np.unique(self.B[np.flatnonzero(rows)].indices)
        light = touched[self.inertial[touched] == 0.0]
        if light.size and not isinstance(
            self.part.scheme, GeneralizedAlpha | OperatorSplitting | FirstOrderAlpha
        ):
            raise InputError(
                f"part {self.part.name!r} has no mass at {self.system.freedom_label(int(self.system.leads[light[0]]))}, "
                f"which {self.part.scheme.name} cannot step; allowed: a share of the interface's mass (tested_share), "
                "or an implicit scheme"
            )
        self.inertial[touched] = 1.0
        self.plan = self.plan._replace(inertial=self.inertial)

    def start(self) -> tuple[Snap, np.ndarray]:
        """Snap before the accelerations are known, and the unbalanced force p − C·v − f of all free freedoms."""
        system, part = self.system, self.part
        motion = self.begin_state.copy_motion()
        motion.account[:] = 0.0
        motion.work[:] = 0.0
        if part.state is None:
            motion.v[:] = 0.0
        for (node, component), value in part.initial_velocity.items():
            motion.v[system.free_number(node, component)] = value
        for (node, component), value in part.initial_displacement.items():
            motion.q[system.free_number(node, component)] = value
        settle(system, motion, self.begin_state.supports)
        motion.m1[:] = motion.m0
        load = self.load(0)
        return Snap(motion, motion.v.copy()), load - motion.f - np.asarray(self.damping @ motion.v).ravel()

    def started(self, snap: Snap, acceleration: np.ndarray) -> Snap:
        """Snap to step from, with its accelerations and the memories of its scheme."""
        snap.motion.a[:] = acceleration
        way = self.way(self.dt)
        motion = snap.motion if way.marcher is None else way.marcher.begin(snap.motion)
        return Snap(motion, motion.v.copy())

    def way(self, length: float) -> Way:
        """Scratch space and operator for steps of one length."""
        if length not in self.ways:
            ready = None
            if not isinstance(self.part.scheme, GeneralizedAlpha):
                ready = marcher(self.part.scheme, self.system, self.damping, length)
                if isinstance(self.part.scheme, OperatorSplitting):
                    ready.plan = ready.plan._replace(inertial=self.inertial)
            plan = self.plan if ready is None else ready.plan
            self.ways[length] = Way(new_room(plan), ready)
        return self.ways[length]

    def load(self, row: int) -> np.ndarray:
        """External load at one of the part's own steps, free freedoms."""
        return np.asarray(self.base + self.factors[row] @ self.patterns)

    def step(self, snap: Snap, first: int, last: int, lam0: np.ndarray, lam1: np.ndarray) -> Snap | None:
        """From own step `first` to `last` under multipliers `lam0` to `lam1`; None where no equilibrium is found."""
        length = self.dt * (last - first)
        way = self.way(length)
        motion = copy_motion(snap.motion)
        p0, p1 = self.load(first) + lam0 @ self.rows, self.load(last) + lam1 @ self.rows
        rest = p0, p1, self.shift, self.shift, length, self.part.scheme.array(), self.options
        if way.marcher is None:
            status = advance(self.plan, way.room, motion, *rest)
            return Snap(motion, snap.carry) if status == CONVERGED else None
        carry = way.marcher.operator.carry
        carry[:] = snap.carry
        status = way.marcher.step(way.room, motion, *rest)
        return Snap(motion, carry.copy()) if status == CONVERGED else None

    def open(self, snap: Snap, first: int, last: int, lam0: np.ndarray) -> Trial | None:
        """The step from own instant `first` to `last` as a trial for `solve_jointly`; None for other schemes."""
        scheme = self.part.scheme
        if not isinstance(scheme, GeneralizedAlpha | FirstOrderAlpha):
            return None
        length = self.dt * (last - first)
        loads = self.load(first) + lam0 @ self.rows, self.load(last)
        room, ready = self.way(length)
        plan, operator = self.plan, None
        if ready is not None:
            plan, operator = ready.plan if ready.rates is None else ready.rates.plan, ready.operator
            operator.carry[:] = snap.carry
        return Trial(plan, room, snap.motion, self.rows, loads, self.shift, length, scheme.array(), operator)

    def failure(self, snap: Snap, when: str) -> str:
        """Where the last step found no equilibrium."""
        room = next(iter(self.ways.values())).room
        return f"part {self.part.name!r}: {describe_failure(self.system, room, snap.motion, when)}"

    def velocity(self, snap: Snap) -> np.ndarray:
        """B·v."""
        return np.asarray(self.rows @ snap.motion.v)

    def displacement(self, snap: Snap) -> np.ndarray:
        """B·u."""
        return np.asarray(self.rows @ snap.motion.q)

    def mass(self) -> csr_matrix:
        """Mass of the free freedoms."""
        return csr_matrix(self.system.mass)

    def result(self, snaps: list[Snap], multipliers: np.ndarray) -> Response:
        """Histories of the part at its own steps; the multipliers are applied loads."""
        rows = len(snaps)
        log = new_log(self.system, rows)
        for row, snap in enumerate(snaps):
            log.put(row, snap.motion)
        last = snaps[-1].motion
        way = self.way(self.dt)
        motion = last if way.marcher is None else way.marcher.end(last)
        patterns = np.vstack([self.patterns, self.rows])
        extra = {
            "ground": None if self.ground is None else self.ground[:rows],
            "influence": self.system.influence(),
            "patterns": patterns,
            "factors": np.column_stack([self.factors[:rows], multipliers[:rows]]),
            "base": self.begin_state.load,
            "scheme": self.part.scheme.name,
            "dt": self.dt,
            "damping": self.damping,
            "drift_limit": None,
        }
        supports = np.tile(self.begin_state.supports, (rows, 1))
        time = self.begin_state.time + self.dt * np.arange(rows)
        return finish(
            self.system, self.begin_state, motion, way.room, log, rows, Outcome.COMPLETED, "time history", time,
            self.begin_state.load, supports, extra, self.plan,
        )  # fmt: skip


def damping_matrix(part: FramePart) -> Any:
    """Damping of a part on its free freedoms."""
    if part.damping is None:
        return part.system.mass * 0.0
    if hasattr(part.damping, "matrix"):
        return part.damping.matrix(part.system, part.state)
    return part.damping


def fitted(values: np.ndarray, rows: int) -> np.ndarray:
    """A history cut or padded with zeros to `rows`."""
    return np.concatenate([values[:rows], np.zeros(max(0, rows - values.size))])
