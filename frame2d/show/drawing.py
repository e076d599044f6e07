"""`Drawing`: the frame as polylines, and the linear map from its freedoms to the displacement of every point.

Beams are subdivided and bent by their own exact shape functions (cubic; with the shear term for Timoshenko beams),
so hinges show as kinks; braces and links stay straight.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.elements.beam_column import shape

if TYPE_CHECKING:
    from frame2d.analysis.response import Response
    from frame2d.model.frame import Node
    from frame2d.model.system import System


@dataclass(frozen=True)
class Device:
    """A law in the frame: its name in `Response.laws`, the point where it sits, and its kind of deformation."""

    name: str
    member: str
    point: int
    number: int
    #: Deformation in rad and force in N·m, else m and N.
    turns: bool


@dataclass(frozen=True)
class Drawing:
    """Points (m, P × 2), the map from all freedoms to their displacements (2P × freedoms), points of each member."""

    points: np.ndarray
    operator: csr_matrix
    lines: dict[str, np.ndarray]
    devices: tuple[Device, ...]

    def moved(self, displacements: np.ndarray) -> np.ndarray:
        """Displacements of the points (P × 2, m) from those of all freedoms."""
        return np.asarray(self.operator @ displacements).reshape(-1, 2)

    def deformed(self, displacements: np.ndarray, scale: float = 1.0) -> np.ndarray:
        """Places of the points (P × 2, m), displacements magnified by `scale`."""
        return np.asarray(self.points + scale * self.moved(displacements))

    def segments(self) -> tuple[np.ndarray, list[str]]:
        """Pairs of points, and the member that each pair belongs to."""
        pairs, names = [], []
        for name, line in self.lines.items():
            pairs += list(pairwise(line))
            names += [name] * (line.size - 1)
        return np.array(pairs, dtype=np.int64).reshape(-1, 2), names


def draw(system: "System", pieces: int = 12) -> Drawing:
    """Drawing of a system, beams in so many `pieces`."""
    places: list[tuple[float, float]] = []
    rows: list[dict[int, float]] = []
    lines: dict[str, np.ndarray] = {}

    def point(place: tuple[float, float], x: dict[int, float], y: dict[int, float]) -> int:
        places.append(place)
        rows.extend([x, y])
        return len(places) - 1

    for name, placed in system.frame.members.items():
        own = system.freedoms_of[name]
        i, j = system.frame.nodes[placed.i], system.frame.nodes[placed.j]
        beam = system.pieces[name].beam
        line = [point((i.x, i.y), {own[0]: 1.0}, {own[1]: 1.0})]
        if beam is not None:
            line += [point(*entry) for entry in _bent(placed.member, beam, own, i, j, pieces)]
        else:
            middle = (0.5 * (i.x + j.x), 0.5 * (i.y + j.y))
            line.append(point(middle, {own[0]: 0.5, own[3]: 0.5}, {own[1]: 0.5, own[4]: 0.5}))
        line.append(point((j.x, j.y), {own[3]: 1.0}, {own[4]: 1.0}))
        lines[name] = np.array(line)
    entries = [(row, column, value) for row, map_ in enumerate(rows) for column, value in map_.items()]
    r, c, v = zip(*entries, strict=True)
    operator = csr_matrix((v, (r, c)), shape=(len(rows), system.size))
    return Drawing(np.array(places), operator, lines, _devices(system, lines))


def _bent(
    member: Any, beam: np.ndarray, own: np.ndarray, i: "Node", j: "Node", pieces: int
) -> Iterator[tuple[tuple[float, float], dict[int, float], dict[int, float]]]:
    """Points along the elastic length of a beam, with their maps."""
    x0, y0, c, s, clear = member.clear(i.x, i.y, j.x, j.y)
    begin = member.start_inset
    length = clear - begin - member.end_inset
    stiff = member.shear_stiffness
    phi = 12.0 * member.E * member.I / (stiff * length**2) if stiff > 0.0 else 0.0
    for share in np.linspace(0.0, 1.0, pieces + 1):
        along, across = (row @ beam for row in shape(share * length, length, phi))
        x, y = c * along - s * across, s * along + c * across
        here = begin + share * length
        used = [np.flatnonzero(row) for row in (x, y)]
        yield (
            (x0 + c * here, y0 + s * here),
            {own[k]: x[k] for k in used[0]},
            {own[k]: y[k] for k in used[1]},
        )


def _devices(system: "System", lines: dict[str, np.ndarray]) -> tuple[Device, ...]:
    """Laws of the devices; of everything, where nothing is marked as a device."""
    marked = set(system.frame.devices())
    lawful = [place for place in system.parts if place.part.law is not None]
    found = []
    for place in lawful:
        if marked and place.member not in marked:
            continue
        line = lines[place.member]
        at = _place(line, place.part.role, system.frame.members[place.member].member)
        several = sum(other.member == place.member for other in lawful) > 1
        name = f"{place.member}: {place.part.role}" if several else place.member
        touched = np.abs(place.part.transform).sum(axis=0) > 0.0
        kinds = system.kinds[system.freedoms_of[place.member][touched]]
        turns = place.last - place.first == 1 and bool(np.all(kinds == "r"))
        found.append(Device(name, place.member, at, place.number, turns))
    return tuple(found)


def _place(line: np.ndarray, role: str, member: Any) -> int:
    """Point where a law sits; hinges at the very ends move in a little, so that those around a node stay apart."""
    if role == "start hinge":
        return int(line[1 if member.start_inset > 0.0 else 2])
    if role == "end hinge":
        return int(line[-2 if member.end_inset > 0.0 else -3])
    return int(line[line.size // 2])


def dissipated(response: "Response", devices: tuple[Device, ...]) -> np.ndarray:
    """Energy (J) lost in each device since the analysis began, steps × devices: its work less what it can return."""
    numbers = [device.number for device in devices]
    lost = response.log.work[:, numbers] - response.log.stored[:, numbers]
    return np.asarray(lost - lost[0])


def member_drifts(response: "Response") -> dict[str, np.ndarray]:
    """Drift ratio of the storey in which each member stands (beams: the one below); empty without floors."""
    frame, drifts = response.system.frame, response.drifts()
    tops = [(name, level) for name, level in frame.levels() if name in drifts]
    if not tops:
        return {}
    heights = np.array([level for _, level in tops])
    result = {}
    for name, placed in frame.members.items():
        middle = 0.5 * (frame.nodes[placed.i].y + frame.nodes[placed.j].y)
        storey = min(int(np.searchsorted(heights, middle - 1e-9)), heights.size - 1)
        result[name] = drifts[tops[storey][0]]
    return result
