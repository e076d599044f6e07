"""`Building`: plane frames at positions in plan, tied by rigid floors with three freedoms each (pseudo-3D).

The classic idealisation (Chopra, Dynamics of Structures, ch. 9 and 13, from memory; common practice). Its limits:

- floors are rigid in their plane and have no stiffness out of it;
- a plane frame resists in its own plane only, and frames share nothing but the floors' motion: a column that belongs to
  two frames is in each of them, its axial forces are not added, and vertical displacements are not made compatible;
- rotations of floors about the vertical are small; members do not twist;
- floors have no vertical inertia (a plane frame made from the building has: its periods differ by a trifle);
- the ground moves all supports alike, horizontally.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from frame2d.errors import InputError, finite, known, positive, within
from frame2d.model import Frame
from frame2d.model.summary import G

if TYPE_CHECKING:
    from frame2d.reduction.plan import BuildingSystem

DIRECTIONS = ("x", "y")

#: Heights that differ by less are one level, m.
SAME_LEVEL = 1e-6


@dataclass(frozen=True)
class BuildingFloor:
    """A rigid floor: `level` (m), `mass` (kg) with its `centre` in plan (m), `inertia` about it (kg·m²), `weight` (N)."""

    name: str
    level: float
    mass: float
    centre: tuple[float, float]
    inertia: float
    weight: float


@dataclass(frozen=True)
class PlacedFrame:
    """A plane frame in plan: along x at y = `at`, or along y at x = `at`; its own x counts from `start` (m)."""

    name: str
    frame: Frame
    direction: str
    at: float
    start: float = 0.0

    def arm(self, centre: tuple[float, float]) -> float:
        """Displacement along the frame by unit rotation about `centre`: u = ux·cos α + uy·sin α + arm·θ."""
        return -(self.at - centre[1]) if self.direction == "x" else self.at - centre[0]

    def own_name(self, name: str) -> str:
        """Name in the building of a node, member or device of this frame."""
        return f"{self.name}/{name}"


@dataclass
class Building:
    """Floors and placed frames. Masses and the whole weight belong to floors; frames bring no mass of their own.

    Gravity loads that a frame brings (case "gravity") stand on its own columns; what is left of a floor's weight leans
    on the frames. `held` names components of all floors that do not move: ("uy", "rz") makes the building plane.
    """

    name: str = "building"
    floors: dict[str, BuildingFloor] = field(default_factory=dict)
    frames: dict[str, PlacedFrame] = field(default_factory=dict)
    held: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        self.held = tuple(
            known("held component of the floors", part, ("ux", "uy", "rz")) for part in self.held
        )

    def floor(
        self,
        name: str,
        level: float,
        mass: float,
        centre: tuple[float, float] = (0.0, 0.0),
        *,
        size: tuple[float, float] | None = None,
        inertia: float | None = None,
        weight: float | None = None,
    ) -> None:
        """Add a floor of `mass` (kg) at `level` (m) with its centre of mass in plan (m).

        Its rotational inertia about that centre is `inertia` (kg·m²), or m·(a² + b²)/12 of a rectangle of `size` (a, b),
        uniformly loaded. `weight` (N) is the whole gravity load of the floor, m·g unless given.
        """
        if name in self.floors:
            raise InputError(f"floor {name!r} stands already; allowed: each name once")
        positive(f"floor {name!r}: mass", mass, hint="a weight in N is m·g; masses are in kg")
        finite(f"floor {name!r}: level", level)
        place = (finite(f"floor {name!r}: centre", centre[0]), finite(f"floor {name!r}: centre", centre[1]))
        if (size is None) == (inertia is None):
            raise InputError(
                f"floor {name!r} has size {size!r} and inertia {inertia!r}; allowed: one of them. The inertia is about "
                "the centre of mass"
            )
        if size is not None:
            a, b = (positive(f"floor {name!r}: size", side) for side in size)
            inertia = mass * (a * a + b * b) / 12.0
        load = mass * G if weight is None else within(f"floor {name!r}: weight", weight, 0.0, math.inf)
        turning = positive(f"floor {name!r}: inertia", inertia)
        self.floors[name] = BuildingFloor(name, level, mass, place, turning, load)

    def frame(
        self, name: str, frame: Frame, direction: str, at: float | Iterable[float], start: float = 0.0
    ) -> list[str]:
        """Place a frame in `direction` "x" or "y" at the ordinate `at` (m), or at several; returns their names.

        Repeated frames are called "name 1", "name 2", … Raises `InputError` for masses in the frame and for floors that
        the building does not have at that height.
        """
        known(f"direction of frame {name!r}", direction, DIRECTIONS)
        if "/" in name or name.startswith("leaning "):
            raise InputError(
                f"frame is called {name!r}; allowed: names without '/' that do not begin with 'leaning '"
            )
        places = [float(value) for value in at] if isinstance(at, Iterable) else [float(at)]
        names = [name] if not isinstance(at, Iterable) else [f"{name} {k}" for k in range(1, len(places) + 1)]
        self._fits(name, frame)
        for label, place in zip(names, places, strict=True):
            if label in self.frames:
                raise InputError(f"frame {label!r} stands already; allowed: each name once")
            self.frames[label] = PlacedFrame(
                label, frame, direction, finite(f"ordinate of frame {label!r}", place), finite("start", start)
            )
        return names

    def _fits(self, name: str, frame: Frame) -> None:
        heavy = [
            label
            for label, placed in frame.members.items()
            if getattr(placed.member, "mass_per_length", 0.0) > 0.0
        ]
        if frame.masses or heavy:
            raise InputError(
                f"frame {name!r} has mass at {[*frame.masses, *heavy][:3]}; allowed: none in a building, where masses "
                "belong to floors. Likely mistake: the mass would count twice"
            )
        if not frame.floors:
            raise InputError(f"frame {name!r} has no floors; allowed: the building's, {list(self.floors)}")
        for floor, level in frame.levels():
            known(f"floor of frame {name!r}", floor, self.floors)
            expected = self.floors[floor].level
            if abs(level - expected) > SAME_LEVEL:
                raise InputError(
                    f"frame {name!r} has floor {floor!r} at {level:g} m; allowed: {expected:g} m, where the building "
                    "has it"
                )

    def levels(self) -> list[BuildingFloor]:
        """Floors from below."""
        return sorted(self.floors.values(), key=lambda floor: floor.level)

    def along(self, direction: str) -> list[PlacedFrame]:
        """Frames in a direction."""
        known("direction", direction, DIRECTIONS)
        return [placed for placed in self.frames.values() if placed.direction == direction]

    def holding(self, *components: str) -> "Building":
        """The same building with more floor components held, e.g. "rz" to keep it from turning."""
        return replace(self, held=tuple(dict.fromkeys([*self.held, *components])))

    def compile(self) -> "BuildingSystem":
        """All frames, floors and leaning weights as one `System`; raises `InputError` for what cannot stand."""
        from frame2d.reduction.plan import BuildingSystem

        return BuildingSystem(self)

    def summary(self) -> str:
        """Floors and frames as text."""
        lines = [f"{self.name}: {len(self.floors)} floors, {len(self.frames)} plane frames"]
        for floor in self.levels():
            lines.append(
                f"  {floor.name} at {floor.level:g} m: mass {floor.mass / 1e3:,.1f} t at ({floor.centre[0]:g}, "
                f"{floor.centre[1]:g}) m, radius of gyration {math.sqrt(floor.inertia / floor.mass):.2f} m, "
                f"weight {floor.weight / 1e3:,.0f} kN"
            )
        for placed in self.frames.values():
            other = "y" if placed.direction == "x" else "x"
            lines.append(f"  frame {placed.name}: along {placed.direction} at {other} = {placed.at:g} m")
        if self.held:
            lines.append(f"  held on every floor: {', '.join(self.held)}")
        return "\n".join(lines)


def own_weights(frame: Frame, case: str = "gravity") -> dict[str, float]:
    """Weight (N) by floor that a frame's own loads put on its columns; loads below a floor count to it.

    Loads along members count at the nodes that bear them.
    """
    weights = {floor: 0.0 for floor, _ in frame.levels()}
    levels = frame.levels()
    loads: Mapping[str, float] = _node_weights(frame, case)
    for node, weight in loads.items():
        height = frame.nodes[node].y
        if height <= frame.ground() + SAME_LEVEL and node in frame.supports:
            continue
        floor = next((name for name, level in levels if level >= height - SAME_LEVEL), levels[-1][0])
        weights[floor] += weight
    return weights


def _node_weights(frame: Frame, case: str) -> dict[str, float]:
    cases = {load.case for load in frame.node_loads} | {load.case for load in frame.member_loads}
    if case not in cases:
        return {}
    if any(load.case == case for load in frame.member_loads):
        system = frame.compile()
        loads: Any = system.load_all(case)
        return {node: -float(loads[3 * k + 1]) for node, k in system.node_index.items()}
    found: dict[str, float] = {}
    for load in frame.node_loads:
        if load.case == case:
            found[load.node] = found.get(load.node, 0.0) - load.fy
    return found
