"""Analyses of a building with torsion: modes, pushing, time history; and `BuildingResponse`, its histories by floor."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from frame2d.analysis import Modes, Outcome, Response, modes, push, time_history
from frame2d.analysis.history import resampled
from frame2d.analysis.response import DeviceLoop
from frame2d.errors import InputError, finite, known, positive
from frame2d.model.frame import NodeLoad
from frame2d.model.state import State
from frame2d.reduction.building import DIRECTIONS, SAME_LEVEL, Building
from frame2d.reduction.plan import BuildingSystem, plan_node

PATTERNS = ("uniform", "triangular", "modal")

#: Displacement component of a floor by direction.
COMPONENT = {"x": "ux", "y": "uy"}


@dataclass(frozen=True)
class BuildingModes:
    """Modes of a building in rising order; columns of `shapes` are mass-normalised, rows floors × (ux, uy, rz)."""

    period: np.ndarray
    #: Floors × 3 × modes: motion of the centres of mass (m, m, rad).
    shapes: np.ndarray
    #: Modes × 2: ΦᵀMι and its square (kg) for ground motion along x and along y.
    participation: np.ndarray
    effective_mass: np.ndarray
    total_mass: float
    #: Modes × 3: share of the modal kinetic energy in ux, uy and rotation; rows sum to 1.
    character: np.ndarray
    floors: tuple[str, ...]
    modes: Modes

    def kind(self, mode: int) -> str:
        """ "x", "y" or "torsion": where most of the kinetic energy is; modes count from 1."""
        return ("x", "y", "torsion")[int(np.argmax(self.character[mode - 1]))]

    def text(self) -> str:
        """Table of periods, kinds, effective masses and kinetic energy shares."""
        lines = ["mode  period (s)  kind     eff. mass x  eff. mass y  kinetic energy in ux, uy, rotation"]
        for k, period in enumerate(self.period):
            share, parts = self.effective_mass[k] / self.total_mass, self.character[k]
            lines.append(
                f"{k + 1:4d}  {period:10.4f}  {self.kind(k + 1):<8} {100 * share[0]:9.2f} %  {100 * share[1]:9.2f} %  "
                + "  ".join(f"{100 * part:6.2f} %" for part in parts)
            )
        return "\n".join(lines)


def building_modes(
    system: BuildingSystem, state: State | None = None, count: int | None = 9
) -> BuildingModes:
    """First `count` modes of a building (None: all), about `state` if given."""
    found = modes(system, state, count)
    floors = system.building.levels()
    rows = np.array(
        [[system.row(plan_node(floor.name), part) for part in ("ux", "uy", "rz")] for floor in floors]
    )
    shapes = rows @ found.shapes
    inertia = np.array([[floor.mass, floor.mass, floor.inertia] for floor in floors])
    energy = np.einsum("fc,fcm->mc", inertia, shapes**2)
    turned = np.array([system.influence(way) for way in ((1.0, 0.0), (0.0, 1.0))])
    participation = found.shapes.T @ turned.T
    return BuildingModes(
        found.period,
        shapes,
        participation,
        participation**2,
        sum(floor.mass for floor in floors),
        energy / energy.sum(axis=1, keepdims=True),
        tuple(floor.name for floor in floors),
        found,
    )


@dataclass(frozen=True)
class BuildingResponse:
    """Histories of a building by floor, by frame and in plan; `response` is what the engine returned.

    Take floor motions and shears from here: to the engine's response "ux" of a frame's node is the motion along that
    frame, whatever its direction. `across` is the ground acceleration along y (m/s²), if there was any.
    """

    building: Building
    response: Response
    across: np.ndarray | None = None

    @property
    def time(self) -> np.ndarray:
        """Times (s), or steps in statics."""
        return self.response.time

    @property
    def state(self) -> State:
        """Final state."""
        return self.response.state

    @property
    def outcome(self) -> Outcome:
        """How it ended."""
        return self.response.outcome

    @property
    def factor(self) -> np.ndarray:
        """Load factor of a push."""
        return self.response.factor

    def centre(self, floor: str) -> np.ndarray:
        """Motion of a floor's centre of mass, steps × (ux, uy, rz), relative to the ground."""
        known("floor", floor, self.building.floors)
        node = plan_node(floor)
        return np.column_stack([self.response.displacement(node, part) for part in ("ux", "uy", "rz")])

    def acceleration(self, floor: str) -> np.ndarray:
        """Absolute acceleration of a floor's centre of mass, steps × (ux, uy), m/s²."""
        known("floor", floor, self.building.floors)
        found = np.column_stack([self.response.acceleration(plan_node(floor), part) for part in ("ux", "uy")])
        if self.across is not None:
            found[: self.across.size, 1] += self.across[: found.shape[0]]
        return found

    def point(self, floor: str, x: float, y: float) -> np.ndarray:
        """Displacement of a point in plan, steps × (ux, uy)."""
        motion, centre = self.centre(floor), self.building.floors[floor].centre
        return np.column_stack(
            [motion[:, 0] - (y - centre[1]) * motion[:, 2], motion[:, 1] + (x - centre[0]) * motion[:, 2]]
        )

    def frame_floor(self, frame: str, floor: str) -> np.ndarray:
        """Displacement of a floor along one frame."""
        placed = self.building.frames[known("frame", frame, self.building.frames)]
        node = placed.frame.floors[known("floor", floor, placed.frame.floors)].nodes[0]
        return self.response.displacement(placed.own_name(node))

    def frame_drifts(self, frame: str) -> dict[str, np.ndarray]:
        """Storey drift ratios of one frame by the floor above."""
        placed = self.building.frames[known("frame", frame, self.building.frames)]
        below, height, found = np.zeros(self.time.size), placed.frame.ground(), {}
        for floor, level in placed.frame.levels():
            here = self.frame_floor(frame, floor)
            if level > height:
                found[floor] = (here - below) / (level - height)
            below, height = here, level
        return found

    def drifts(self, direction: str = "x") -> dict[str, np.ndarray]:
        """Storey drift ratios at the centres of mass by the floor above."""
        column = DIRECTIONS.index(known("direction", direction, DIRECTIONS))
        below, height, found = np.zeros(self.time.size), self.response.system.frame.ground(), {}
        for floor in self.building.levels():
            here = self.centre(floor.name)[:, column]
            if floor.level > height:
                found[floor.name] = (here - below) / (floor.level - height)
            below, height = here, floor.level
        return found

    @cached_property
    def _floor_forces(self) -> dict[str, dict[str, np.ndarray]]:
        """Horizontal force of the floors on each frame (and on the leaning columns), N, by frame and floor."""
        system = self.response.system
        inner: Any = self.response.internal_forces()[:, 0 : 3 * len(system.node_index) : 3]
        levels = self.building.levels()
        found: dict[str, dict[str, np.ndarray]] = {}
        for node, k in system.node_index.items():
            owner = node.split("/")[0] if "/" in node else node.split(" ")[0] + " " + node.split(" ")[1]
            height = system.frame.nodes[node].y
            if owner not in self.building.frames and not owner.startswith("leaning "):
                continue
            if node in system.frame.supports and "ux" in system.frame.supports[node]:
                continue
            floor = next((f.name for f in levels if f.level >= height - SAME_LEVEL), levels[-1].name)
            forces = found.setdefault(owner, {f.name: np.zeros(self.time.size) for f in levels})
            forces[floor] = forces[floor] + inner[:, k]
        return found

    def storey_shears(self, frame: str) -> dict[str, np.ndarray]:
        """Storey shears (N) of one frame by the floor above: sum of what the floors from there up press on it."""
        known("frame", frame, self.building.frames)
        forces = self._floor_forces[frame]
        found: dict[str, np.ndarray] = {}
        total = np.zeros(self.time.size)
        for floor in reversed(self.building.levels()):
            total = total + forces[floor.name]
            found[floor.name] = total
        return dict(reversed(found.items()))

    def frame_shear(self, frame: str) -> np.ndarray:
        """Base shear of one frame, N."""
        return next(iter(self.storey_shears(frame).values()))

    def base_shear(self, direction: str = "x") -> np.ndarray:
        """Base shear of all frames and leaning columns in a direction, N."""
        known("direction", direction, DIRECTIONS)
        total = np.zeros(self.time.size)
        for owner, forces in self._floor_forces.items():
            placed = self.building.frames.get(owner)
            own = placed.direction if placed else owner.split(" ")[1][0]
            if own == direction:
                total = total + sum(forces.values())
        return total

    def laws(self, frame: str | None = None) -> list[str]:
        """Names of everything that has a loop, of one frame or of all; those of leaning columns are left out."""
        owners = [frame] if frame is not None else list(self.building.frames)
        return [name for name in self.response.laws() if name.split("/")[0] in owners and "/" in name]

    def device(self, frame: str, name: str) -> DeviceLoop:
        """Loop of one law of a frame, by its name in that frame."""
        placed = self.building.frames[known("frame", frame, self.building.frames)]
        return self.response.device(placed.own_name(name))

    def energies(self) -> dict[str, np.ndarray]:
        """Energy account (J); the work of both ground components stands under "ground"."""
        found = dict(self.response.energies())
        if self.response.kind == "time history":
            found["ground"], found["applied"] = found["ground"] + found["applied"], 0.0 * found["applied"]
        return found

    def imbalance(self) -> float:
        """Largest energy imbalance over time, divided by the largest input energy."""
        return self.response.imbalance()


def push_building(
    system: BuildingSystem,
    state: State | None = None,
    direction: str = "x",
    pattern: str | Mapping[str, float] = "triangular",
    *,
    target: float,
    eccentricity: float = 0.0,
    steps: int = 100,
    options: Any = None,
) -> BuildingResponse:
    """Push all floors along `direction` until the highest centre of mass has moved by `target` (m).

    `pattern` is "uniform" (by mass), "triangular" (mass × height), "modal" (mass × the mode with the largest effective
    mass in that direction, its motion along it), or {floor: share}; forces sum to 1 N. They act at the centres of mass,
    or `eccentricity` (m) beside them (towards +y for x, towards +x for y). Raises as `frame2d.analysis.push`.
    """
    building, levels = system.building, system.building.levels()
    component = COMPONENT[known("direction", direction, DIRECTIONS)]
    if component in building.held:
        raise InputError(
            f"{component} of every floor is held; allowed: a push along a direction that is free"
        )
    shares = _shares(system, state, direction, pattern)
    arm = finite("eccentricity", eccentricity)
    case = "push of the floors"
    loads = []
    for floor, share in zip(levels, shares, strict=True):
        fx, fy, mz = (share, 0.0, -share * arm) if direction == "x" else (0.0, share, share * arm)
        loads.append(NodeLoad(plan_node(floor.name), fx, fy, mz if "rz" not in building.held else 0.0, case))
    loaded = copy(system)
    loaded.frame = replace(system.frame, node_loads=[*system.frame.node_loads, *loads])
    response = push(
        loaded, state, case, node=plan_node(levels[-1].name), component=component, target=target, steps=steps,
        options=options,
    )  # fmt: skip
    return BuildingResponse(building, response)


def _shares(
    system: BuildingSystem, state: State | None, direction: str, pattern: str | Mapping[str, float]
) -> np.ndarray:
    levels = system.building.levels()
    masses = np.array([floor.mass for floor in levels])
    if isinstance(pattern, Mapping):
        for name in pattern:
            known("floor of the pattern", name, system.building.floors)
        force = np.array([float(pattern.get(floor.name, 0.0)) for floor in levels])
    elif known("pattern", pattern, PATTERNS) == "uniform":
        force = masses
    elif pattern == "triangular":
        force = masses * (np.array([floor.level for floor in levels]) - system.frame.ground())
    else:
        found = building_modes(system, state, None)
        column = DIRECTIONS.index(direction)
        force = masses * found.shapes[:, column, int(np.argmax(found.effective_mass[:, column]))]
    total = float(force.sum())
    if total == 0.0:
        raise InputError(f"the forces of pattern {pattern!r} sum to 0; allowed: a resultant in {direction}")
    return force / total


def building_history(
    system: BuildingSystem,
    x: Any = None,
    y: Any = None,
    state: State | None = None,
    *,
    factor: float = 1.0,
    dt: float | None = None,
    **settings: Any,
) -> BuildingResponse:
    """Motion of a building under ground acceleration along x, along y, or both at once (records with their own steps).

    `factor` scales both. `dt` is the finer of the records' steps unless given; the other settings are those of
    `frame2d.analysis.time_history`. Motion along y enters as the forces −m·a at the centres of mass, which is the same
    thing. `drift_limit` watches both directions at the centres of mass.
    """
    if x is None and y is None:
        raise InputError("no record; allowed: x, y or both")
    step = dt if dt is not None else min(float(record.dt) for record in (x, y) if record is not None)
    positive("dt", step)
    forces, across = {}, None
    if y is not None:
        across = factor * resampled(y.acceleration, float(y.dt), step, f"record {getattr(y, 'name', '')!r}")
        forces = {(plan_node(floor.name), "uy"): -floor.mass * across for floor in system.building.levels()}
    response = time_history(system, x, state, factor=factor, dt=step, forces=forces or None, **settings)
    return BuildingResponse(system.building, response, across)
