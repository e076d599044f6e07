"""A cut as one whole model: uncontrolled freedoms released, restricted ones led by their actuator, ready to run.

The two parts stand in one frame, tied where an actuator drives; its implicit run is what an ideal rig would measure.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from frame2d.analysis import Response, modes
from frame2d.elements import BeamColumn, Brace
from frame2d.errors import InputError
from frame2d.model import Frame
from frame2d.model.frame import Floor
from frame2d.reduction.copying import copied
from frame2d.reduction.cuts import Cut, column_distance, lower_piece
from frame2d.substructure import Split, cut_at, split

Freedom = tuple[str, str]


@dataclass(frozen=True)
class Actuator:
    """What one actuator drives: freedoms of the frame that move as one; or the deformation of a tested device."""

    name: str
    #: "ux", "uy", "rz", "axial" (of a brace) or "chord", "start", "end" (of a beam).
    kind: str
    #: The nodes it drives, or the device.
    at: tuple[str, ...]

    @property
    def turns(self) -> bool:
        """Whether its stroke is an angle and its force a moment."""
        return self.kind in ("rz", "start", "end")


@dataclass(frozen=True)
class TestModel:
    """A cut that is built: `frame` is the whole model to run, `parts` the split that a hybrid test takes.

    Where actuators are restricted ("top", "chord"), `frame` obeys the restriction and `parts` alone does not.
    """

    __test__ = False  # not a test of pytest

    cut: Cut
    frame: Frame
    parts: Split
    actuators: tuple[Actuator, ...]
    #: The frame with its columns cut and still continuous, which losses are measured on.
    continuous: Frame

    @cached_property
    def released(self) -> tuple[Freedom, ...]:
        """Freedoms at the cut whose force is lost; a restricted drive loses none."""
        if self.cut.drive == "chord":
            return ()
        return tuple(freedom for freedom in self.parts.released if freedom[1] != "ux")

    def tested_node(self, node: str) -> str:
        """Name in `frame` of a node of the tested part."""
        twin = f"{node} tested"
        return twin if twin in self.frame.nodes else node

    def demand(self, response: Response, actuator: Actuator) -> tuple[np.ndarray, np.ndarray]:
        """Stroke (m or rad) and force (N or N·m) histories of an actuator, from a run of `frame`.

        The force is what moves the tested members; masses are computed (slowed tests).
        """
        if actuator.kind in ("axial", "chord", "start", "end"):
            return _device_demand(response, actuator)
        column = ("ux", "uy", "rz").index(actuator.kind)
        nodes = {self.tested_node(node) for node in actuator.at}
        total = np.zeros(response.time.size)
        for name in self.parts.tested_members:
            placed = self.frame.members[name]
            if placed.i in nodes or placed.j in nodes:
                forces = response.member_forces(name)
                if placed.i in nodes:
                    total = total + forces[:, column]
                if placed.j in nodes:
                    total = total + forces[:, 3 + column]
        return response.displacement(self.tested_node(actuator.at[0]), actuator.kind), total


def _device_demand(response: Response, actuator: Actuator) -> tuple[np.ndarray, np.ndarray]:
    (name,) = actuator.at
    if actuator.kind == "axial":
        loop = response.device(name)
        return loop.deformation, loop.force
    frame = response.system.frame
    placed = frame.members[name]
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    length = float(np.hypot(j.x - i.x, j.y - i.y))
    c, s = (j.x - i.x) / length, (j.y - i.y) / length
    across = [
        -s * response.displacement(node, "ux") + c * response.displacement(node, "uy")
        for node in (placed.i, placed.j)
    ]
    chord = (across[1] - across[0]) / length
    ends = response.end_forces(name)
    turned = [response.displacement(node, "rz") - chord for node in (placed.i, placed.j)]
    if actuator.kind == "chord":
        return 0.5 * (turned[0] + turned[1]) * length, (ends["M_start"] + ends["M_end"]) / length
    k = 0 if actuator.kind == "start" else 1
    return turned[k], ends["M_start" if k == 0 else "M_end"]


def test_model(frame: Frame, cut: Cut, *, weights_on_specimen: bool = False) -> TestModel:
    """Build a cut. The floors' own loads are on the specimen; what columns bring from above only if declared.

    Raises `InputError` where the cut leaves a mechanism or a weight without a way down.
    """
    return _device_model(frame, cut) if cut.is_device else _storey_model(frame, cut, weights_on_specimen)


test_model.__test__ = False  # type: ignore[attr-defined]


def _storey_model(frame: Frame, cut: Cut, weights_on_specimen: bool) -> TestModel:
    continuous, tested = frame, list(cut.tested)
    for column, ratio in cut.columns.items():
        tested.append(lower_piece(continuous, column))
        continuous = cut_at(continuous, column, column_distance(continuous, column, ratio))
    cut_nodes = [f"{column} cut" for column in cut.columns]
    driven = continuous
    if len(cut_nodes) > 1 and cut.drive != "all":
        # A stiff transfer beam joins the cut columns, so that one actuator moves them alike.
        driven = copied(continuous)
        driven.tie("ux", cut_nodes)
    possible = split(driven, tested).interface
    sideways = [freedom for freedom in possible if freedom[1] == "ux"]
    top = [freedom for freedom in sideways if freedom[0] in cut_nodes] or [
        freedom for freedom in sideways if freedom[0] in _group(frame, cut.floors[-1])
    ]
    if not top:
        raise InputError(f"cut {cut.name!r} has no horizontal freedom at its top; allowed: floors that move")
    taken: list[Freedom] = {
        "top": top,
        "horizontal": sideways,
        "horizontal and vertical": [freedom for freedom in possible if freedom[1] != "rz"],
        "all": list(possible),
    }[cut.drive]
    parts = _parts(driven, tested, taken, possible, weights_on_specimen)
    model = copied(parts.joined, f"{frame.name}: {cut.name}")
    if cut.drive == "top":
        _follow_top(
            frame, continuous, model, top[0], [freedom for freedom in sideways if freedom not in top], cut
        )
    actuators = tuple(
        Actuator(
            f"{component} of {_label(frame, cut_nodes, node, component, cut)}", component,
            tuple(_moving_together(driven, node)) if component == "ux" else (node,),
        )
        for node, component in taken
    )  # fmt: skip
    return TestModel(cut, model, parts, actuators, continuous)


def _parts(
    frame: Frame,
    tested: list[str],
    taken: list[Freedom],
    possible: tuple[Freedom, ...],
    weights_on_specimen: bool,
) -> Split:
    if len(taken) == len(possible):
        return split(frame, tested)
    own = {end for name in tested for end in (frame.members[name].i, frame.members[name].j)}
    loaded = sorted({load.node for load in frame.node_loads if load.fy and load.node in own})
    along = sorted({load.member for load in frame.member_loads} & set(tested))
    try:
        trial = split(frame, tested, taken, on_specimen=[*loaded, *along])
    except InputError:
        # Where no weight is cut off nothing may be declared.
        return split(frame, tested, taken)
    if not weights_on_specimen:
        return trial
    columns = [name for strut in trial.struts for name in strut.columns]
    return split(frame, tested, taken, on_specimen=[*columns, *loaded, *along])


def _group(frame: Frame, floor: str) -> set[str]:
    """Nodes that move sideways with a floor."""
    return set(_moving_together(frame, frame.floors[floor].nodes[0]))


def _moving_together(frame: Frame, node: str) -> list[str]:
    found = {node}
    while True:
        more = {
            other
            for component, group in frame.ties
            if component == "ux" and found & set(group)
            for other in group
        }
        if more <= found:
            return [name for name in frame.nodes if name in found]
        found |= more


def _follow_top(
    frame: Frame, continuous: Frame, model: Frame, top: Freedom, lower: list[Freedom], cut: Cut
) -> None:
    """Computed sides of lower floors follow the actuator in the shape of the first mode, with all of their mass.

    The floors of the model are then those of the specimen: what would be measured.
    """
    system = continuous.compile()
    shape = modes(system, None, 1)
    lead = shape.displacement(1, top[0])
    for node, _ in lower:
        model.follow(node, "ux", {(top[0], "ux"): shape.displacement(1, node) / lead})
        for other in _moving_together(continuous, node):
            twin = f"{other} tested" if f"{other} tested" in model.nodes else other
            if twin == node or twin not in model.masses or other not in nodes_tested_by(frame, cut):
                continue
            mx, my, mr = model.masses[twin]
            model.masses[twin] = (0.0, my, mr)
            here = model.masses.get(node, (0.0, 0.0, 0.0))
            model.masses[node] = (here[0] + mx, here[1], here[2])
    for name in cut.floors:
        own = [
            f"{node} tested" if f"{node} tested" in model.nodes else node for node in frame.floors[name].nodes
        ]
        model.floors[name] = Floor(name, tuple(own))


def nodes_tested_by(frame: Frame, cut: Cut) -> set[str]:
    """Nodes of the tested members."""
    return {end for name in cut.tested for end in (frame.members[name].i, frame.members[name].j)}


def _label(frame: Frame, cut_nodes: list[str], node: str, component: str, cut: Cut) -> str:
    if component != "ux":
        return node
    if node in cut_nodes and cut.drive != "all":
        return "the cut"
    return next((floor for floor in cut.floors if node in _group(frame, floor)), node)


def _device_model(frame: Frame, cut: Cut) -> TestModel:
    (name,) = cut.tested
    placed = frame.members[name]
    parts = split(frame, [name])
    if isinstance(placed.member, Brace):
        actuators: tuple[Actuator, ...] = (Actuator(f"axial of {name}", "axial", (name,)),)
        return TestModel(cut, parts.joined, parts, actuators, frame)
    if not isinstance(placed.member, BeamColumn):
        raise InputError(
            f"device {name!r} is a {type(placed.member).__name__}; allowed: a Brace or a BeamColumn can be tested alone"
        )
    if cut.drive == "own":
        # Ends that are pinned at the node need no moment.
        free = [
            end
            for end in ("start", "end")
            if (placed.i if end == "start" else placed.j, "rz") in parts.interface
        ]
        actuators = tuple(Actuator(f"{end} of {name}", end, (name,)) for end in free)
        return TestModel(cut, parts.joined, parts, actuators, frame)
    turning = [freedom for freedom in parts.interface if freedom[1] == "rz"]
    if len(turning) < 2:
        raise InputError(
            f"device {name!r} has a pinned end; allowed: the chord drive for beams fixed at both ends"
        )
    restricted = split(frame, [name], [freedom for freedom in parts.interface if freedom[1] != "rz"])
    model = copied(restricted.joined, f"{frame.name}: {cut.name}")
    for node in (placed.i, placed.j):
        model.follow(f"{node} tested", "rz", {(placed.i, "rz"): 0.5, (placed.j, "rz"): 0.5})
    return TestModel(cut, model, restricted, (Actuator(f"chord of {name}", "chord", (name,)),), frame)
