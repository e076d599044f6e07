"""A building as one `System`: frames side by side, one node a floor that bears its motion in plan, leaning weights.

The node of a floor stands for (ux, uy, rz) of the floor's centre of mass in plan; the floor nodes of every frame follow
it: u = ux·cos α + uy·sin α + arm·θ.
"""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.elements import Brace
from frame2d.errors import InputError, known
from frame2d.materials import Elastic
from frame2d.model import Frame
from frame2d.model.frame import Floor, MemberLoad, NodeLoad, Placed
from frame2d.model.storeys import DriftWatch
from frame2d.model.system import System
from frame2d.reduction.building import own_weights

if TYPE_CHECKING:
    from frame2d.reduction.building import Building, BuildingFloor, PlacedFrame

#: Axial stiffness of leaning columns, N/m (stiff beside a steel column; common practice).
LEANING_STIFFNESS = 1e10

#: Leaning weight below this share of a floor's weight is rounding.
NO_WEIGHT = 1e-9


def plan_node(floor: str) -> str:
    """Name of the node that bears a floor's motion in plan."""
    return f"{floor} in plan"


class BuildingSystem(System):
    """A `System` whose floors are those of a building. Drift limits watch both directions at the centres of mass."""

    def __init__(self, building: "Building") -> None:
        self.building = building
        super().__init__(assembled(building))

    def drift_watch(self, limit: float, mean: bool = True) -> DriftWatch:
        """Watch on ux and uy of every floor that may move, for the drift ratio `limit`; floors have one node."""
        rows = []
        for component in ("ux", "uy"):
            if component in self.building.held:
                continue
            below, height = np.zeros(self.count), self.frame.ground()
            for floor in self.building.levels():
                here = self.row(plan_node(floor.name), component)
                if floor.level > height:
                    rows.append((here - below) / (floor.level - height))
                below, height = here, floor.level
        if not rows:
            raise InputError("a drift limit needs floors that move; every component is held")
        still = csr_matrix((len(rows), self.held.size))
        return DriftWatch(csr_matrix(np.array(rows)), still, np.full(len(rows), limit))


def assembled(building: "Building") -> Frame:
    """All of a building in one `Frame`; raises `InputError` where it lacks floors or frames."""
    if not building.floors or not building.frames:
        raise InputError(
            f"building {building.name!r} has {len(building.floors)} floors and {len(building.frames)} frames; allowed: "
            "at least one of each"
        )
    whole = Frame(building.name)
    right = 0.0
    for placed in building.frames.values():
        low = min(node.x for node in placed.frame.nodes.values())
        high = max(node.x for node in placed.frame.nodes.values())
        _put(whole, placed, right - low)
        right += high - low + 4.0
    for floor in building.levels():
        node = whole.node(plan_node(floor.name), right, floor.level)
        if building.held:
            whole.support(node, building.held)
        whole.masses[node] = (floor.mass, floor.mass, floor.inertia)
        whole.floors[floor.name] = Floor(floor.name, (node,))
    for placed in building.frames.values():
        for name, floor_nodes in placed.frame.floors.items():
            own = [placed.own_name(node) for node in floor_nodes.nodes]
            if len(own) > 1:
                whole.tie("ux", own)
            _follow_floor(whole, own[0], placed.direction, placed.arm(building.floors[name].centre), name)
    for direction in ("x", "y"):
        if ("ux" if direction == "x" else "uy") not in building.held:
            _lean(whole, building, direction, right + 2.0)
    return whole


def _put(whole: Frame, placed: "PlacedFrame", shift: float) -> None:
    frame, own = placed.frame, placed.own_name
    for node in frame.nodes.values():
        whole.node(own(node.name), node.x + shift, node.y, frame.supports.get(node.name))
    for member in frame.members.values():
        name = own(member.name)
        whole.members[name] = Placed(name, own(member.i), own(member.j), member.member, member.device)
    whole.node_loads += [
        NodeLoad(own(load.node), load.fx, load.fy, load.mz, load.case) for load in frame.node_loads
    ]
    whole.member_loads += [
        MemberLoad(own(load.member), load.first, load.last, load.begin, load.end, load.axes, load.case)
        for load in frame.member_loads
    ]
    whole.ties += [(component, tuple(own(node) for node in nodes)) for component, nodes in frame.ties]
    whole.bodies += [
        (own(lead), tuple(own(node) for node in nodes), parts) for lead, nodes, parts in frame.bodies
    ]
    whole.follows += [
        ((own(node), component), tuple((own(lead), part, weight) for lead, part, weight in terms))
        for (node, component), terms in frame.follows
    ]


def _follow_floor(whole: Frame, node: str, direction: str, arm: float, floor: str) -> None:
    leads = {(plan_node(floor), "ux" if direction == "x" else "uy"): 1.0}
    if arm != 0.0:
        leads[plan_node(floor), "rz"] = arm
    whole.follow(node, "ux", leads)


def _lean(whole: Frame, building: "Building", direction: str, x: float) -> None:
    """Second-order columns for the weight that the frames of a direction do not carry, where it stands in plan.

    One column for each ordinate at which weight of any floor stands, from the ground to the highest such floor.
    """
    lines: dict[float, dict[str, float]] = {}
    by_frame = {id(placed.frame): own_weights(placed.frame) for placed in building.along(direction)}
    carried = {placed.name: by_frame[id(placed.frame)] for placed in building.along(direction)}
    for floor in building.levels():
        for ordinate, weight in leaning_weights(building, floor, direction, carried):
            lines.setdefault(round(ordinate, 9), {})[floor.name] = weight
    for number, (ordinate, weights) in enumerate(sorted(lines.items()), 1):
        label = f"leaning {direction}{number}"
        below = whole.node(f"{label} foot", x, whole.ground(), support="pinned")
        top = max(building.floors[name].level for name in weights)
        for floor in building.levels():
            if floor.level > top:
                break
            node = whole.node(f"{label} {floor.name}", x, floor.level)
            away = ordinate - (floor.centre[1] if direction == "x" else floor.centre[0])
            _follow_floor(whole, node, direction, -away if direction == "x" else away, floor.name)
            strut = Brace(Elastic(LEANING_STIFFNESS), geometry="p-delta")
            whole.member(f"{label} below {floor.name}", below, node, strut)
            if floor.name in weights:
                whole.load(node, fy=-weights[floor.name])
            below = node


def leaning_weights(
    building: "Building", floor: "BuildingFloor", direction: str, carried: Mapping[str, Mapping[str, float]]
) -> list[tuple[float, float]]:
    """Ordinates (m, across `direction`) and weights (N) of a floor's weight that no frame of the direction carries.

    `carried` is the weight (N) by frame and floor that stands on frames. The weight is spread like the mass, with equal
    radii of gyration along both axes. Two equal weights reproduce its sum and its first and second moments about the
    vertical plane, less what stands on frames; where the frames carry more of the second moment than the spread load
    has, one weight at the centre of what is left. Raises `InputError` where frames carry more than the floor weighs.
    """
    known("direction", direction, ("x", "y"))
    centre = floor.centre[1] if direction == "x" else floor.centre[0]
    spread = 0.5 * floor.inertia / floor.mass
    left, first, second = floor.weight, floor.weight * centre, floor.weight * (centre**2 + spread)
    for placed in building.along(direction):
        weight = carried[placed.name].get(floor.name, 0.0)
        left, first, second = left - weight, first - weight * placed.at, second - weight * placed.at**2
    if left < -NO_WEIGHT * max(floor.weight, 1.0):
        raise InputError(
            f"frames along {direction} carry {-left / 1e3:,.1f} kN more than {floor.name!r} weighs "
            f"({floor.weight / 1e3:,.1f} kN); allowed: at most the floor's weight. Likely mistake: gravity loads of a "
            "frame that stands for several"
        )
    if left <= NO_WEIGHT * max(floor.weight, 1.0):
        return []
    middle = first / left
    away = math.sqrt(max(second / left - middle**2, 0.0))
    return [(middle - away, 0.5 * left), (middle + away, 0.5 * left)] if away > 1e-6 else [(middle, left)]
