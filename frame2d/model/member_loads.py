"""Loads along members: where they act, and the forces on a member's freedoms that do their work.

Positions are in m along the clear length, from the clear start. Below 0 and past the clear length they stand on the
rigid offsets, as distances along these: what acts there is carried rigidly to the node, with its moment. On each elastic
length (the beam, and the stubs between inset hinges and the clear ends) the shape functions for end loads give the
forces, exact for uniform elastic beams (Betti). A point load exactly on a hinge, or on a clear end, acts on the outer
side, towards the node; this matters only where a hinge lets the beam slip along the member. Where a distributed load
spans a hinge, each side carries what lies on it.
Loads keep their direction; their arms are those of the undeformed member, corotational members included.
"""

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from frame2d.elements import BeamColumn, Pieces
from frame2d.elements.beam_column import shape
from frame2d.elements.member import Span
from frame2d.errors import InputError

if TYPE_CHECKING:
    from frame2d.model.frame import Frame, MemberLoad

#: Positions that differ by less than this share of the clear length are one.
SAME = 1e-9


class Course(NamedTuple):
    """The line along which a member is loaded: clear direction and length, rigid offsets (m, global axes)."""

    c: float
    s: float
    clear: float
    start_offset: np.ndarray
    end_offset: np.ndarray

    @property
    def low(self) -> float:
        """Position of the first node."""
        return -float(np.hypot(*self.start_offset))

    @property
    def high(self) -> float:
        """Position of the second node."""
        return self.clear + float(np.hypot(*self.end_offset))

    def arm(self, side: int, x: float) -> np.ndarray:
        """From the node of a side (0 start, 1 end) to position `x` on its rigid offset, m in global axes."""
        if side == 0:
            return self.start_offset * (1.0 - x / self.low) if self.low < 0.0 else self.start_offset
        length = self.high - self.clear
        return self.end_offset * ((self.high - x) / length) if length > 0.0 else self.end_offset

    def local(self, force: Any) -> np.ndarray:
        """Global components on the member's axes."""
        return np.array([self.c * force[0] + self.s * force[1], -self.s * force[0] + self.c * force[1]])

    def turned(self, force: Any) -> np.ndarray:
        """Components on the member's axes as global ones."""
        return np.array([self.c * force[0] - self.s * force[1], self.s * force[0] + self.c * force[1]])


class Carried(NamedTuple):
    """What one length of a member carries of a load: local components (N/m; N where begin = end) between positions."""

    first: np.ndarray
    last: np.ndarray
    begin: float
    end: float

    @property
    def point(self) -> bool:
        """Whether it is a point load."""
        return self.end == self.begin


def course_of(frame: "Frame", name: str) -> Course:
    """Course of a beam-column; raises `InputError` for members that take no loads along them."""
    placed = frame.members[name]
    member: Any = placed.member
    if not isinstance(member, BeamColumn):
        raise InputError(
            f"member {name!r} is a {type(member).__name__} and takes no loads along it; allowed: a BeamColumn. "
            "Load its nodes"
        )
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    _, _, c, s, clear = member.clear(i.x, i.y, j.x, j.y)
    return Course(c, s, clear, np.array(member.start_offset), np.array(member.end_offset))


def extent(course: Course, load: "MemberLoad") -> tuple[float, float]:
    """First and last position of a load; raises `InputError` for a load that is not on the member."""
    end = course.clear if load.end is None else load.end
    slack = SAME * course.clear
    if load.begin < course.low - slack or end > course.high + slack or end < load.begin:
        raise InputError(
            f"load on member {load.member!r} from {load.begin:g} to {end:g} m; allowed: rising, from {course.low:g} m "
            f"(first node) to {course.high:g} m (second node), where 0 to {course.clear:g} m is the clear length. "
            "Likely mistake: lengths in mm, or measured from the node where the member has a rigid offset"
        )
    return max(load.begin, course.low), min(end, course.high)


def lengths(course: Course, spans: list[Span]) -> list[tuple[float, float]]:
    """Where the lengths of a member begin and end: the start offset, its spans, the end offset."""
    elastic = [(span.begin, span.begin + span.length) for span in spans]
    return [(course.low, 0.0), *elastic, (course.clear, course.high)]


def carried(course: Course, spans: list[Span], load: "MemberLoad") -> list[Carried | None]:
    """What each of `lengths` carries of a load."""
    begin, end = extent(course, load)
    first, last = (
        np.asarray(q, dtype=float) if load.axes == "local" else course.local(q)
        for q in (load.first, load.last)
    )
    places = lengths(course, spans)
    if end == begin:
        # From both nodes inwards, so that the outer of two lengths that meet takes the load.
        beam = next(k for k, span in enumerate(spans, 1) if span.role == "beam")
        inwards = [*range(beam), *range(len(places) - 1, beam - 1, -1)]
        slack = SAME * course.clear
        own = next(k for k in inwards if places[k][0] - slack <= begin <= places[k][1] + slack)
        at = min(max(begin, places[own][0]), places[own][1])
        return [Carried(first, first, at, at) if k == own else None for k in range(len(places))]
    result: list[Carried | None] = []
    for low, high in places:
        a, b = max(begin, low), min(end, high)
        shares = [(x - begin) / (end - begin) for x in (a, b)]
        ends = [first + share * (last - first) for share in shares]
        result.append(Carried(ends[0], ends[1], a, b) if b - a > SAME * course.clear else None)
    return result


def end_forces(member: Any, span: Span, part: Carried) -> np.ndarray:
    """Six forces in local axes at the ends of a span that do the work of what it carries."""
    L, stiff = span.length, member.shear_stiffness
    phi = 12.0 * member.E * member.I / (stiff * L * L) if stiff > 0.0 else 0.0
    forces = np.zeros(6)
    for x, qx, qy in sampled(part):
        axial, across = shape(x - span.begin, L, phi)
        forces += qx * axial + qy * across
    return forces


def equivalent(frame: "Frame", pieces: Pieces, load: "MemberLoad") -> np.ndarray:
    """Forces on a member's freedoms that do the work of a load along it (N, N·m, global axes)."""
    course = course_of(frame, load.member)
    spans, member = pieces.spans, frame.members[load.member].member
    forces = np.zeros(pieces.size)
    parts = carried(course, spans, load)
    for span, part in zip(spans, parts[1:-1], strict=True):
        if part is not None:
            forces += span.rows.T @ end_forces(member, span, part)
    for side in range(2):
        part = parts[-side]
        if part is None:
            continue
        for x, *local in sampled(part):
            (rx, ry), (fx, fy) = course.arm(side, x), course.turned(local)
            forces[3 * side : 3 * side + 3] += (fx, fy, rx * fy - ry * fx)
    return forces


def sampled(part: Carried) -> list[tuple[float, float, float]]:
    """Positions and forces of Gauss's rule of four points, exact for linear loads on cubic shapes; or the point load."""
    if part.point:
        return [(part.begin, float(part.first[0]), float(part.first[1]))]
    points, weights = np.polynomial.legendre.leggauss(4)
    long = part.end - part.begin
    found: list[tuple[float, float, float]] = []
    for point, weight in zip(points, weights, strict=True):
        share = 0.5 * (1.0 + point)
        q = 0.5 * weight * long * (part.first + share * (part.last - part.first))
        found.append((float(part.begin + share * long), float(q[0]), float(q[1])))
    return found
