"""Vertical loads at a cut whose vertical freedoms are not tied: struts on the computed side, jacks on the specimen.

Where the interface leaves out "uy", the weight that stood on the tested columns needs another way down. A pin-ended
strut of the columns' axial stiffness takes it on the computed side, at the place of the columns. It has their
geometry, so that the second-order force N·Δ/L of everything that stands on it arises there, and only there.

A force P that really presses on a specimen column makes its own P·Δ/L in the specimen. It is put on the tested frame,
and a lateral spring P/L beside the strut takes its share off the computed side: each force acts once. What the weight
of overturning adds to P is in no jack and stays on the computed side.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from frame2d.elements import BeamColumn, Brace, Link
from frame2d.errors import InputError, known, within
from frame2d.materials import Elastic
from frame2d.model.frame import Frame, NodeLoad, Placed

#: A member counts as a column up to this run per rise.
STEEP = 0.27


@dataclass(frozen=True)
class Strut:
    """Way down for the weight above `top`, to `bottom`, in place of the tested `columns` (from above)."""

    top: str
    bottom: str
    columns: tuple[str, ...]

    @property
    def name(self) -> str:
        """Name of its member in the computed part."""
        return f"strut below {self.top}"


def is_column(frame: Frame, name: str) -> bool:
    """Whether a member is a steep beam-column."""
    placed = frame.members[name]
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    return isinstance(placed.member, BeamColumn) and abs(j.x - i.x) <= STEEP * abs(j.y - i.y)


def ends(frame: Frame, name: str) -> tuple[str, str]:
    """Lower and upper node of a column."""
    placed = frame.members[name]
    below = frame.nodes[placed.i].y < frame.nodes[placed.j].y
    return (placed.i, placed.j) if below else (placed.j, placed.i)


def struts(
    frame: Frame, tested: set[str], computed_nodes: set[str], interface: Iterable[tuple[str, str]]
) -> list[Strut]:
    """Struts that the interface makes necessary, from below; `computed_nodes` stand in the computed part.

    Raises `InputError` where the weight has no single way down.
    """
    tied = set(interface)
    columns = [name for name in frame.members if name in tested and is_column(frame, name)]
    below: dict[str, list[str]] = {}
    for name in columns:
        below.setdefault(ends(frame, name)[1], []).append(name)
    found = []
    for top in sorted(below, key=lambda node: frame.nodes[node].y):
        if top not in computed_nodes or (top, "uy") in tied or "uy" in frame.supports.get(top, ()):
            continue
        chain: list[str] = []
        node = top
        while not chain or not (node in computed_nodes or "uy" in frame.supports.get(node, ())):
            if len(below.get(node, ())) != 1:
                raise InputError(
                    f"the weight at node {top!r} has {len(below.get(node, ()))} tested columns below {node!r} and no "
                    f"tied uy; allowed: one way down. Put ({top!r}, 'uy') or ({node!r}, 'ux') into the interface"
                )
            chain.append(below[node][0])
            node = ends(frame, chain[-1])[0]
        found.append(Strut(top, node, tuple(chain)))
    return found


def applied_forces(
    frame: Frame, found: list[Strut], declared: Mapping[str, float | None], case: str
) -> dict[str, float]:
    """Compression (N) that really acts on each tested column; None stands for all that the unsplit frame has."""
    columns = [name for strut in found for name in strut.columns]
    for name in declared:
        known("column with a vertical load on the specimen", name, columns)
    if not declared:
        return {}
    from frame2d.analysis import gravity

    response = gravity(frame.compile(), case=case)
    forces = {}
    for name, value in declared.items():
        full = -float(response.end_forces(name)["N"][-1])
        forces[name] = full if value is None else within(f"force on column {name!r}", value, 0.0, np.inf)
    return forces


def add_struts(computed: Frame, frame: Frame, found: list[Strut], applied: Mapping[str, float]) -> None:
    """Place the struts, and the springs that take what acts on the specimen off again."""
    for strut in found:
        for node in (strut.bottom, strut.top):
            if node not in computed.nodes:
                computed.nodes[node] = frame.nodes[node]
                if node in frame.supports:
                    computed.supports[node] = frame.supports[node]
        low, high = (frame.nodes[node] for node in (strut.bottom, strut.top))
        length = float(np.hypot(high.x - low.x, high.y - low.y))
        members: list[Any] = [frame.members[name].member for name in strut.columns]
        lengths = [_length(frame, name) for name in strut.columns]
        flexibility = sum(L / (m.E * m.A) for m, L in zip(members, lengths, strict=True))
        geometry = next((m.geometry for m in members if m.geometry != "linear"), "linear")
        bar = Brace(Elastic(1.0 / flexibility), geometry=geometry)
        computed.members[strut.name] = Placed(strut.name, strut.bottom, strut.top, bar)
        force = (
            sum(applied.get(name, 0.0) * L for name, L in zip(strut.columns, lengths, strict=True)) / length
        )
        if force > 0.0 and geometry != "linear":
            angle = float(np.arctan2(high.y - low.y, high.x - low.x))
            spring = Link(transverse=Elastic(force / length), angle=angle)
            name = f"jack beside {strut.name}"
            computed.members[name] = Placed(name, strut.bottom, strut.top, spring)


def press(tested: Frame, frame: Frame, applied: Mapping[str, float], case: str) -> None:
    """Put the forces that really act on the tested columns on the tested frame, at both ends."""
    for name, force in applied.items():
        low, high = (frame.nodes[node] for node in ends(frame, name))
        along = np.array([high.x - low.x, high.y - low.y])
        along *= force / np.linalg.norm(along)
        for node, sign in ((high, -1.0), (low, 1.0)):
            load = NodeLoad(node.name, sign * float(along[0]), sign * float(along[1]), 0.0, case)
            tested.node_loads.append(load)


def move_weights(
    computed: Frame, tested: Frame, kept: Iterable[str], tied: Iterable[tuple[str, str]]
) -> None:
    """Move vertical loads of the tested frame that are not `kept` there to the same nodes of the computed frame.

    `kept` names nodes and members whose loads really lie on the specimen. Raises `InputError` for a load that the
    computed side has no place for.
    """
    own = set(kept)
    for name in own:
        known("node or member with loads on the specimen", name, [*tested.nodes, *tested.members])
    staying = []
    for load in tested.node_loads:
        if load.fy == 0.0 or load.node in own or (load.node, "uy") in set(tied):
            staying.append(load)
        elif load.node not in computed.nodes:
            raise InputError(
                f"the vertical load {load.fy:g} N of node {load.node!r} is not on the specimen, and that node is not "
                f"computed; allowed: put ({load.node!r}, 'ux') into the interface, or name the node in on_specimen"
            )
        else:
            computed.node_loads.append(replace(load, fx=0.0, mz=0.0))
            staying.append(replace(load, fy=0.0))
    tested.node_loads = staying
    for along in tested.member_loads:
        if along.member not in own:
            raise InputError(
                f"the load along tested member {along.member!r} is not on the specimen; allowed: name the member in "
                "on_specimen, or put its resultants on nodes"
            )


def _length(frame: Frame, name: str) -> float:
    low, high = (frame.nodes[node] for node in ends(frame, name))
    return float(np.hypot(high.x - low.x, high.y - low.y))
