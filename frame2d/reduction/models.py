"""What a fidelity table compares: models that name floors and devices alike, whatever they are made of.

A model gives its modes at the floors, a push curve and histories under a record. `FrameModel` is a plane frame (also a
test model or a stick), `BuildingModel` one frame as it stands in its building, with torsion.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple, Protocol

import numpy as np

from frame2d.analysis import (
    AnalysisError,
    Outcome,
    Rayleigh,
    Response,
    StiffnessMass,
    gravity,
    modes,
    push,
    time_history,
)
from frame2d.analysis.damping import rayleigh_coefficients
from frame2d.errors import InputError, known
from frame2d.model import Frame
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.reduction.building import Building
from frame2d.reduction.plan import BuildingSystem
from frame2d.reduction.torsion import BuildingResponse, building_history, building_modes, push_building

#: Default of the trade for bare steel frames (common practice, no source).
DAMPING = Rayleigh(0.03, (1, 3))


class Shapes(NamedTuple):
    """Periods (s), shapes at the floors (floors × modes) and effective mass shares along the model's direction."""

    period: np.ndarray
    shape: np.ndarray
    effective: np.ndarray


class Curve(NamedTuple):
    """Push curve: displacement of the highest floor (m), base shear (N)."""

    displacement: np.ndarray
    shear: np.ndarray


class Loop(NamedTuple):
    """Deformation (m, rad), force (N, N·m), and energy dissipated so far (J)."""

    deformation: np.ndarray
    force: np.ndarray
    dissipated: np.ndarray


@dataclass(frozen=True)
class Run:
    """Histories of one model under one record, at a constant step `dt` (s)."""

    dt: float
    floors: dict[str, np.ndarray]
    shear: np.ndarray
    devices: dict[str, Loop]
    #: Energy (J) dissipated so far by all devices of a storey, by the floor above.
    storeys: dict[str, np.ndarray]
    outcome: Outcome
    imbalance: float


class Model(Protocol):
    """A model that a fidelity table can take."""

    @property
    def name(self) -> str: ...

    def levels(self) -> dict[str, float]:
        """Heights of the floors (m) from below."""
        ...

    def modes(self, count: int) -> Shapes: ...

    def push(self, pattern: Mapping[str, float], target: float, steps: int) -> Curve: ...

    def run(self, record: Any, factor: float, dt: float | None) -> Run: ...


def triangular(model: Model) -> dict[str, float]:
    """Lateral forces by floor that grow with height, as shares of their sum."""
    levels = model.levels()
    total = sum(levels.values())
    return {floor: level / total for floor, level in levels.items()}


@dataclass(frozen=True)
class FrameModel:
    """A plane frame under its gravity loads, with `damping`; `storey_of` names a device's floor where geometry lies.

    A device belongs to the storey below the lowest floor that its higher end reaches.
    """

    name: str
    frame: Frame
    damping: Any = DAMPING
    drift_limit: float | None = None
    storey_of: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def system(self) -> System:
        """The compiled frame."""
        return self.frame.compile()

    @cached_property
    def state(self) -> State:
        """The frame under gravity, or at rest where it has no gravity case."""
        return _standing(self.system)

    def levels(self) -> dict[str, float]:
        """Heights of the floors (m) from below."""
        return dict(self.frame.levels())

    def modes(self, count: int) -> Shapes:
        """Modes about the state under gravity."""
        found = modes(self.system, self.state, count)
        rows = np.array([_floor_row(self.system, floor) for floor in self.levels()])
        return Shapes(found.period, rows @ found.shapes, found.effective_mass / found.total_mass)

    def push(self, pattern: Mapping[str, float], target: float, steps: int) -> Curve:
        """Push under gravity until the highest floor has moved by `target` (m)."""
        top = self.frame.levels()[-1][0]
        try:
            response = push(
                self.system,
                self.state,
                pattern,
                node=self.frame.floors[top].nodes[0],
                target=target,
                steps=steps,
            )
        except AnalysisError as error:
            response = error.response
        here = response.floor(top)
        return Curve(here - here[0], response.factor)

    def response(self, record: Any, factor: float = 1.0, dt: float | None = None) -> Response:
        """Time history under gravity; one that finds no equilibrium ends there."""
        try:
            return time_history(
                self.system, record, self.state, factor=factor, dt=dt, damping=self.damping,
                drift_limit=self.drift_limit,
            )  # fmt: skip
        except AnalysisError as error:
            return error.response

    def run(self, record: Any, factor: float = 1.0, dt: float | None = None) -> Run:
        """Histories under a record."""
        response = self.response(record, factor, dt)
        devices = [name for name in response.laws() if self.frame.members[name.split(": ")[0]].device]
        loops = _loops(response, {name: name for name in devices})
        return Run(
            float(response.time[1] - response.time[0]),
            {floor: response.floor(floor) for floor in self.levels()},
            response.base_shear(),
            loops,
            _by_storey(self.frame, loops, self.storey_of),
            response.outcome,
            response.imbalance(),
        )


@dataclass(frozen=True)
class BuildingModel:
    """One `frame` as it stands in its building, which twists; ground motion along the frame.

    Mode numbers of a `Rayleigh` count the modes that move mass along the frame. `share` is the part of the leaning columns' shear that
    is counted with this frame, as in its plane reduction.
    """

    name: str
    building: Building
    frame: str
    share: float
    damping: Any = DAMPING
    drift_limit: float | None = None

    def __post_init__(self) -> None:
        known("frame", self.frame, self.building.frames)

    @property
    def direction(self) -> str:
        """Direction of the frame."""
        return self.building.frames[self.frame].direction

    @cached_property
    def system(self) -> BuildingSystem:
        """The compiled building."""
        return self.building.compile()

    @cached_property
    def state(self) -> State:
        """The building under gravity."""
        return _standing(self.system)

    @cached_property
    def damped(self) -> Any:
        """Damping as the engine takes it."""
        if not isinstance(self.damping, Rayleigh):
            return self.damping
        own = self._own_modes(max(self.damping.modes))
        i, j = (2.0 * np.pi / own.period[number - 1] for number in self.damping.modes)
        return StiffnessMass(*rayleigh_coefficients(self.damping.ratio, i, self.damping.ratio, j))

    def levels(self) -> dict[str, float]:
        """Heights of the frame's floors (m) from below."""
        return dict(self.building.frames[self.frame].frame.levels())

    def modes(self, count: int) -> Shapes:
        """The `count` modes that move most mass along the frame, and those below them that move 1 % of it, about gravity."""
        return self._own_modes(count)

    def _own_modes(self, count: int) -> Shapes:
        found = building_modes(self.system, self.state, None)
        column = "xy".index(self.direction)
        share = found.effective_mass[:, column] / found.total_mass
        placed = self.building.frames[self.frame]
        rows = np.array(
            [
                self.system.row(placed.own_name(placed.frame.floors[floor].nodes[0]), "ux")
                for floor in self.levels()
            ]
        )
        heaviest = np.argsort(-share, kind="stable")[:count]
        coupled = [k for k in range(int(heaviest.max()) + 1) if share[k] > 0.01 or k in heaviest]
        return Shapes(found.period[coupled], (rows @ found.modes.shapes)[:, coupled], share[coupled])

    def push(self, pattern: Mapping[str, float], target: float, steps: int) -> Curve:
        """Push all floors through their centres of mass until the frame's highest floor has moved by `target` (m)."""
        top = list(self.levels())[-1]
        # The frame moves less or more than the centre of mass: go a little further and cut.
        response = push_building(
            self.system, self.state, self.direction, pattern, target=1.3 * target, steps=round(1.3 * steps)
        )
        here = response.frame_floor(self.frame, top)
        moved = here - here[0]
        within = np.abs(moved) <= abs(target) * (1.0 + 1e-9)
        return Curve(moved[within], self._shear(response)[within])

    def _shear(self, response: BuildingResponse) -> np.ndarray:
        own = [response.frame_shear(placed.name) for placed in self.building.along(self.direction)]
        leaning = response.base_shear(self.direction) - np.sum(own, axis=0)
        return np.asarray(response.frame_shear(self.frame) + self.share * leaning)

    def run(self, record: Any, factor: float = 1.0, dt: float | None = None) -> Run:
        """Histories under a record along the frame."""
        along = {"x": record} if self.direction == "x" else {"y": record}
        try:
            response = building_history(
                self.system, state=self.state, factor=factor, dt=dt, damping=self.damped,
                drift_limit=self.drift_limit, **along,
            )  # fmt: skip
        except AnalysisError as error:
            response = BuildingResponse(self.building, error.response)
        placed = self.building.frames[self.frame]
        prefix = placed.own_name("")
        devices = {
            name.removeprefix(prefix): name
            for name in response.laws(self.frame)
            if placed.frame.members[name.removeprefix(prefix).split(": ")[0]].device
        }
        loops = _loops(response.response, devices)
        return Run(
            float(response.time[1] - response.time[0]),
            {floor: response.frame_floor(self.frame, floor) for floor in self.levels()},
            self._shear(response),
            loops,
            _by_storey(placed.frame, loops, {}),
            response.outcome,
            response.imbalance(),
        )


def _standing(system: System) -> State:
    cases = {load.case for load in system.frame.node_loads} | {
        load.case for load in system.frame.member_loads
    }
    return gravity(system).state if "gravity" in cases else system.rest()


def _floor_row(system: System, floor: str) -> np.ndarray:
    nodes = system.frame.floors[floor].nodes
    return np.asarray(np.mean([system.row(node, "ux") for node in nodes], axis=0))


def _loops(response: Response, names: Mapping[str, str]) -> dict[str, Loop]:
    found = {}
    for label, name in names.items():
        loop = response.device(name)
        lost = loop.work - loop.recoverable
        found[label] = Loop(loop.deformation, loop.force, lost - lost[0])
    return found


def _by_storey(frame: Frame, loops: Mapping[str, Loop], given: Mapping[str, str]) -> dict[str, np.ndarray]:
    levels: Sequence[tuple[str, float]] = frame.levels()
    if not levels:
        raise InputError(f"frame {frame.name!r} has no floors; allowed: frame.floor(…) for each level")
    found: dict[str, np.ndarray] = {}
    for name, loop in loops.items():
        member = frame.members[name.split(": ")[0]]
        high = max(frame.nodes[member.i].y, frame.nodes[member.j].y)
        floor = next((label for label, level in levels if level >= high - 1e-6), levels[-1][0])
        floor = given.get(member.name, floor)
        found[floor] = found.get(floor, 0.0) + loop.dissipated
    return found
