"""`Frame`: nodes, supports, members, links, masses, loads and floors, as the user describes them."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from frame2d.elements import Brace, Member
from frame2d.errors import InputError, finite, known, listed, mapped, positive, within
from frame2d.materials import Elastic
from frame2d.model.member_loads import course_of, extent
from frame2d.model.panel_zone import panel_zone

if TYPE_CHECKING:
    from frame2d.model.system import System

COMPONENTS = ("ux", "uy", "rz")
SUPPORTS = {
    "fixed": ("ux", "uy", "rz"),
    "pinned": ("ux", "uy"),
    "roller": ("uy",),
    "guided": ("ux", "rz"),
}


#: Largest coordinate (m), and largest mass (kg) or load (N, N·m) that a frame can mean.
FARTHEST, MOST = 1e5, 1e15


def _coordinate(node: str, axis: str, value: Any) -> float:
    return within(
        f"node {node!r}: {axis}", value, -FARTHEST, FARTHEST, hint="coordinates in mm; they are in m"
    )


def _both(thing: str, q: Any) -> tuple[float, float]:
    """A load at both ends, from one value or two."""
    pair = [q, q] if isinstance(q, str) or not isinstance(q, Iterable) else list(q)
    if len(pair) != 2:
        raise InputError(f"{thing} is {q!r}; allowed: one value, or two for a linear load")
    return within(thing, pair[0], -MOST, MOST), within(thing, pair[1], -MOST, MOST)


def _case(thing: str, case: Any) -> str:
    if not isinstance(case, str):
        raise InputError(f"case of the {thing} is {case!r}; allowed: a name, as text")
    return case


@dataclass(frozen=True)
class Node:
    """A point with displacements ux, uy (m) and rotation rz (rad)."""

    name: str
    x: float
    y: float


@dataclass(frozen=True)
class Placed:
    """A member or link between two nodes; a device is meant to be damaged and replaced."""

    name: str
    i: str
    j: str
    member: Member
    device: bool = False


@dataclass(frozen=True)
class NodeLoad:
    """Forces (N) and moment (N·m) on a node, in a load case."""

    node: str
    fx: float
    fy: float
    mz: float
    case: str


@dataclass(frozen=True)
class MemberLoad:
    """Load along a member: linear from `first` (qx, qy, N/m) at `begin` to `last` at `end`.

    Positions are in m along the clear length; below 0 and past it they stand on the rigid offsets, `end` None is the
    clear end. With `end` = `begin` it is a point load (N). Axes are "global" or "local" (x along the clear length).
    """

    member: str
    first: tuple[float, float]
    last: tuple[float, float]
    begin: float
    end: float | None
    axes: str
    case: str


@dataclass(frozen=True)
class Floor:
    """Nodes of one level; storey drifts are measured between floors."""

    name: str
    nodes: tuple[str, ...]


@dataclass
class Frame:
    """A plane frame under construction. Nothing here is changed by an analysis; `compile` makes a `System`.

    All values are SI: m, N, kg, rad. Raises `InputError` at once for names and values that cannot be right.
    """

    name: str = "frame"
    nodes: dict[str, Node] = field(default_factory=dict)
    supports: dict[str, tuple[str, ...]] = field(default_factory=dict)
    members: dict[str, Placed] = field(default_factory=dict)
    masses: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    node_loads: list[NodeLoad] = field(default_factory=list)
    member_loads: list[MemberLoad] = field(default_factory=list)
    floors: dict[str, Floor] = field(default_factory=dict)
    #: Groups of nodes with one common displacement component.
    ties: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)
    #: Rigid bodies: first node leads, the others follow (all components, or translations only).
    bodies: list[tuple[str, tuple[str, ...], tuple[str, ...]]] = field(default_factory=list)
    #: Components that follow others linearly: (node, component) = Σ weight · (node, component).
    follows: list[tuple[tuple[str, str], tuple[tuple[str, str, float], ...]]] = field(default_factory=list)

    def node(
        self, name: Any, x: float, y: float, support: str | Iterable[str] | None = None, mass: float = 0.0
    ) -> str:
        """Add a node at (x, y), m, with an optional support and mass (kg, both directions); returns its name."""
        key = str(name)
        if key in self.nodes:
            raise InputError(f"node {key!r} stands already at {self.nodes[key]}; allowed: each name once")
        self.nodes[key] = Node(key, *(_coordinate(key, axis, value) for axis, value in (("x", x), ("y", y))))
        if support is not None:
            self.support(key, support)
        if within(f"mass at node {key!r}", mass, 0.0, MOST, hint="masses are in kg") > 0.0:
            self.mass(key, mass)
        return key

    def support(self, node: str, kind: str | Iterable[str]) -> None:
        """Support a node: "fixed", "pinned", "roller", "guided", or the components held, e.g. ("ux", "rz")."""
        self._node(node)
        if isinstance(kind, str) and kind in SUPPORTS:
            held = SUPPORTS[kind]
        elif isinstance(kind, str):
            held = (known(f"support of node {node!r}", kind, [*SUPPORTS, *COMPONENTS]),)
        else:
            parts = listed(f"support of node {node!r}", kind)
            held = tuple(known(f"support of node {node!r}", part, COMPONENTS) for part in parts)
        self.supports[node] = held

    def member(self, name: str, i: str, j: str, member: Member, device: bool = False) -> str:
        """Add a member between nodes `i` and `j`; `device` marks it as meant to be damaged and replaced."""
        key = str(name)
        if key in self.members:
            raise InputError(f"member {key!r} stands already; allowed: each name once")
        if not isinstance(member, Member):
            raise InputError(f"member {key!r} is {member!r}; allowed: a member or link of frame2d.elements")
        a, b = self._node(i), self._node(j)
        if i == j:
            raise InputError(f"member {key!r} goes from node {i!r} to itself; allowed: two nodes")
        try:
            member.pieces(a.x, a.y, b.x, b.y)
        except InputError as error:
            raise InputError(f"member {key!r} from {i!r} to {j!r}: {error}") from None
        self.members[key] = Placed(key, i, j, member, device)
        return key

    def link(self, name: str, i: str, j: str, link: Member, device: bool = True) -> str:
        """Add a zero-length link, by default a device."""
        return self.member(name, i, j, link, device)

    def mass(self, node: str, mass: float, rotary: float = 0.0) -> None:
        """Add mass (kg) in both directions and rotary inertia (kg·m²) at a node."""
        self._node(node)
        within(f"mass at node {node!r}", mass, 0.0, MOST, hint="a weight in N is m·g; masses are in kg")
        within(f"rotary inertia at node {node!r}", rotary, 0.0, MOST)
        mx, my, mr = self.masses.get(node, (0.0, 0.0, 0.0))
        self.masses[node] = (mx + mass, my + mass, mr + rotary)

    def lateral_mass(self, node: str, mass: float) -> None:
        """Add mass (kg) that acts horizontally only."""
        self._node(node)
        positive(f"mass at node {node!r}", mass)
        mx, my, mr = self.masses.get(node, (0.0, 0.0, 0.0))
        self.masses[node] = (mx + mass, my, mr)

    def load(
        self, node: str, fx: float = 0.0, fy: float = 0.0, mz: float = 0.0, case: str = "gravity"
    ) -> None:
        """Add forces (N) and a moment (N·m) on a node to a load case."""
        self._node(node)
        what = f"load on node {node!r}"
        fx, fy, mz = (within(what, value, -MOST, MOST) for value in (fx, fy, mz))
        self.node_loads.append(NodeLoad(node, fx, fy, mz, _case(what, case)))

    def member_load(
        self,
        member: str,
        qx: float | tuple[float, float] = 0.0,
        qy: float | tuple[float, float] = 0.0,
        begin: float = 0.0,
        end: float | None = None,
        axes: str = "global",
        case: str = "gravity",
        point: bool = False,
        over_offsets: bool = False,
    ) -> None:
        """Load a member with qx, qy (N/m; two values: linear from begin to end), or a point load (N) at `begin`.

        `begin` and `end` (m) count from the clear start, by default over the clear length, hinges inset or not.
        Negative ones, and those past the clear length, are distances along the rigid offsets: a load there acts, and
        is carried rigidly to the node. `over_offsets` loads from node to node instead. Raises `InputError` for what
        is not on the member; `frame2d.model.member_loads` says on which side of a hinge a point load acts.
        """
        known("member", member, self.members)
        known(f"axes of the load on {member!r}", axes, ("global", "local"))
        ends = [_both(f"load on member {member!r}", q) for q in (qx, qy)]
        begin = finite(f"begin of the load on {member!r}", begin)
        if end is not None:
            end = finite(f"end of the load on {member!r}", end)
        _case(f"load on member {member!r}", case)
        course = course_of(self, member)
        if known(f"over_offsets of the load on {member!r}", over_offsets, (True, False)):
            if point or begin != 0.0 or end is not None:
                raise InputError(
                    f"load on member {member!r} has over_offsets and begin {begin:g}, end {end}, point {point}; "
                    "allowed: over_offsets alone, it loads from node to node"
                )
            begin, end = course.low, course.high
        first, last = (ends[0][0], ends[1][0]), (ends[0][1], ends[1][1])
        load = MemberLoad(member, first, last, begin, begin if point else end, axes, case)
        extent(course, load)
        self.member_loads.append(load)

    def tie(self, component: str, nodes: Iterable[str]) -> None:
        """Give several nodes one common displacement component (the first leads)."""
        known("tied component", component, COMPONENTS)
        group = tuple(self._node(node).name for node in listed(f"tie of {component}", nodes))
        if len(set(group)) < 2:
            raise InputError(f"tie of {component} has nodes {group}; allowed: two or more different nodes")
        self.ties.append((component, group))

    def rigid(self, lead: str, nodes: Iterable[str], components: Iterable[str] = COMPONENTS) -> None:
        """Rigid arms from node `lead` to others (small rotations); `components` of the followers that are tied."""
        self._node(lead)
        group = tuple(self._node(node).name for node in listed(f"rigid body of {lead!r}", nodes))
        if not group or lead in group:
            raise InputError(
                f"rigid body of {lead!r} has followers {group}; allowed: other nodes, at least one"
            )
        parts = tuple(known("component", part, COMPONENTS) for part in listed("components", components))
        self.bodies.append((lead, group, parts))

    def follow(self, node: str, component: str, leads: Mapping[tuple[str, str], float]) -> None:
        """Let a displacement component follow others: u = Σ weight · lead, `leads` as {(node, component): weight}.

        Weights are small-rotation geometry (m for a rotation that moves a translation). A tie may hold the follower
        and others, which then follow with it.
        """
        follower = (self._node(node).name, known("component", component, COMPONENTS))
        leads = mapped(f"leads of {component} of node {node!r}", leads, "(node, component)")
        if not leads or follower in leads:
            raise InputError(
                f"{component} of node {node!r} follows {list(leads)}; allowed: other components, one or more"
            )
        terms = tuple(
            (
                self._node(lead).name,
                known("component", part, COMPONENTS),
                finite(f"weight of {part} of {lead!r}", weight),
            )
            for (lead, part), weight in leads.items()
        )
        self.follows.append((follower, terms))

    def floor(self, name: str, nodes: Iterable[str], tied: bool = True) -> None:
        """Declare the nodes of one level; `tied` floors move horizontally as one (rigid in their plane)."""
        name = str(name)
        group = tuple(self._node(node).name for node in listed(f"floor {name!r}", nodes))
        if not group:
            raise InputError(f"floor {name!r} has no nodes; allowed: at least one")
        if name in self.floors:
            raise InputError(f"floor {name!r} stands already; allowed: each name once")
        self.floors[name] = Floor(name, group)
        if known(f"tied of floor {name!r}", tied, (True, False)) and len(group) > 1:
            self.tie("ux", group)

    def leaning_column(self, name: str, x: float, weights: dict[str, float], stiffness: float = 1e10) -> None:
        """Add a pin-ended column at `x` that leans on the declared floors and carries `weights` (N by floor).

        Its pieces are second-order struts of axial `stiffness` (N/m), tied to the floors; its foot is pinned at the
        lowest support.
        """
        weights = mapped(f"weights of leaning column {name!r}", weights, "floor")
        if not self.supports:
            raise InputError("a leaning column needs a supported node to find the ground; add supports first")
        below = self.node(
            f"{name} foot", x, min(self.nodes[node].y for node in self.supports), support="pinned"
        )
        levels = sorted(
            weights,
            key=lambda floor: (
                self.nodes[known("floor", floor, self.floors) and self.floors[floor].nodes[0]].y
            ),
        )
        for floor in levels:
            anchor = self.nodes[self.floors[floor].nodes[0]]
            top = self.node(f"{name} {floor}", x, anchor.y)
            self.tie("ux", (anchor.name, top))
            self.member(f"{name} below {floor}", below, top, Brace(Elastic(stiffness), geometry="p-delta"))
            self.load(top, fy=-within(f"weight on floor {floor!r}", weights[floor], 0.0, math.inf))
            below = top

    def panel_zone(
        self, name: str, node: str, column_members: Iterable[str], law: Any, width: float = 0.0, depth: float = 0.0,
        beam_members: Iterable[str] | None = None,
    ) -> str:  # fmt: skip
        """Make a joint's panel shear through `law`, moment (N·m) against distortion (rad); returns the device's name.

        With `width` (between the columns' flanges, m) and `depth` (between the beams' flanges) the panel is the
        parallelogram of `frame2d.model.panel_zone`; the members then end at its edges and need no offsets.
        `beam_members` are all other beam-columns of the joint if left out. Without a size it is the scissors of a
        joint of no extent: the columns turn against the beams. Its law is then not the panel's: for a joint of clear
        shares α = width/span and β = depth/height, moments of the panel over 1 − α − β and stiffness over its square
        (Charney & Marshall 2006, from memory).
        """
        return panel_zone(self, name, node, column_members, law, width, depth, beam_members)

    def levels(self) -> list[tuple[str, float]]:
        """Floors from below with their heights (m)."""
        heights = [(floor.name, self.nodes[floor.nodes[0]].y) for floor in self.floors.values()]
        return sorted(heights, key=lambda entry: entry[1])

    def ground(self) -> float:
        """Height of the lowest support (m)."""
        return min((self.nodes[node].y for node in self.supports), default=0.0)

    def devices(self) -> list[str]:
        """Names of the members and links that are meant to be replaced."""
        return [placed.name for placed in self.members.values() if placed.device]

    def compile(self) -> "System":
        """Number the freedoms and make the `System` that analyses run; raises `InputError` for what cannot stand."""
        from frame2d.model.system import System

        return System(self)

    def summary(self) -> str:
        """Totals of mass and weight, members by kind, devices, constraints, warnings, as text."""
        from frame2d.model.summary import summary

        return summary(self)

    def save(self, path: Any) -> None:
        """Write the frame as JSON (schema in `frame2d.model.schema`)."""
        from frame2d.model.schema import save

        save(self, path)

    @staticmethod
    def load_from(path: Any) -> "Frame":
        """Read a frame that `save` wrote."""
        from frame2d.model.schema import load

        return load(path)

    def _node(self, name: Any) -> Node:
        return self.nodes[known("node", name, self.nodes)]
