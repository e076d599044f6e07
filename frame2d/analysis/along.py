"""Forces and displacements along a beam-column at one step, loads along it included, past hinges and over offsets.

    N′ = −qx,   V′ = qy,   M′ = V + N·v′,   u′ = N/EA,   θ′ = M/EI,   v′ = θ − M′/(G·As)

M > 0 where v″ > 0; N·v′ in second-order members only (Timoshenko 1921; Timoshenko & Gere 1961). Every elastic length
(the beam, and the stubs between inset hinges and the clear ends) starts from its own end forces and displacements and
is integrated between the places where loads begin, end or jump: polynomials, exact in linear members; in second-order
ones a series that is carried to rounding. There the deflection that loads cause between the ends is magnified by the
axial force here, and not in the element itself: divide members in which N exceeds a few percent of the critical force.
Rigid offsets have no deformation: their forces follow from statics, resolved on the axes of the clear length.
In a time history inertia and damping between the ends are left out.
"""

from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.polynomial import polynomial

from frame2d.elements.beam_column import BeamColumn, local_stiffness, rotation_matrix
from frame2d.elements.beam_kernels import section_terms
from frame2d.elements.member import Span
from frame2d.errors import InputError, known, whole
from frame2d.model.member_loads import Carried, Course, carried, course_of, end_forces, sampled

if TYPE_CHECKING:
    from frame2d.analysis.response import Response

#: Most terms of the series of a second-order member; each adds a factor below (kL)²/(2n)², k² = N/EI.
MOST_TERMS = 200


class Along(NamedTuple):
    """One step at `x` (m from the clear start): forces (N, N·m), local displacements (m), rotation (rad).

    Where something jumps (a hinge, a point load) x stands twice: before and after it.
    """

    x: np.ndarray
    N: np.ndarray
    V: np.ndarray
    M: np.ndarray
    u: np.ndarray
    v: np.ndarray
    rotation: np.ndarray


class Material(NamedTuple):
    """What deforms along a length: compliances (0: rigid), whether N turns with the slope, direction of the axis."""

    axial: float = 0.0
    bending: float = 0.0
    shear: float = 0.0
    second_order: bool = False
    ahead: float = 1.0
    across: float = 0.0


class Stretch(NamedTuple):
    """Six polynomials N, V, M, u, v, θ in (x − begin)/length."""

    begin: float
    length: float
    terms: tuple[np.ndarray, ...]

    def at(self, x: np.ndarray) -> np.ndarray:
        """Values, six by points."""
        share = (x - self.begin) / self.length
        return np.array([polynomial.polyval(share, term) for term in self.terms])


def along(response: "Response", name: str, step: int = -1, points: int = 201, offsets: bool = False) -> Along:
    """Inner forces and deflections of member `name` at one step, at `points` even places and where loads begin or end.

    Over the clear length, with `offsets` from node to node. Raises `InputError` for what is not a beam-column, and for
    corotational ones.
    """
    step = whole("step", step, -response.time.size, response.time.size - 1)
    points = whole("points", points, 4, 100_000)
    stretches = _stretches(response, name, step, known("offsets", offsets, (True, False)))
    even = np.linspace(stretches[0].begin, stretches[-1].begin + stretches[-1].length, points)
    xs: list[np.ndarray] = []
    values: list[np.ndarray] = []
    for k, one in enumerate(stretches):
        end = one.begin + one.length
        slack = 1e-9 * (even[-1] - even[0])
        inside = even[(even > one.begin + slack) & (even < end - slack)]
        x = np.concatenate([[one.begin], inside, [end]])
        found = one.at(x)
        if k and np.allclose(found[:, 0], values[-1][:, -1], rtol=1e-9, atol=1e-12 * _largest(stretches)):
            x, found = x[1:], found[:, 1:]
        xs.append(x)
        values.append(found)
    return Along(np.concatenate(xs), *np.concatenate(values, axis=1))


def _largest(stretches: list[Stretch]) -> np.ndarray:
    """Size of each of the six quantities, by which rounding is told from a jump."""
    ends = [one.at(np.array([one.begin, one.begin + one.length])) for one in stretches]
    return np.asarray(np.abs(np.concatenate(ends, axis=1)).max(axis=1))


def _stretches(response: "Response", name: str, step: int, offsets: bool) -> list[Stretch]:
    """The member from its first end to its second, divided where something begins, ends or jumps."""
    system = response.system
    known("member", name, system.frame.members)
    member: Any = system.frame.members[name].member
    if not isinstance(member, BeamColumn):
        raise InputError(f"member {name!r} is a {type(member).__name__}; allowed: a BeamColumn")
    if member.geometry == "corotational":
        raise InputError(
            f"member {name!r} is corotational; allowed: linear or p-delta, divide it into shorter members"
        )
    pieces, course = system.pieces[name], course_of(system.frame, name)
    u = _displacements(response, step)[system.freedoms_of[name]]
    loads: list[list[Carried]] = [[] for _ in range(len(pieces.spans) + 2)]
    factors = {case: float(row[step]) for case, row in response.case_factors().items()}
    for load in system.frame.member_loads:
        factor = factors.get(load.case, 0.0)
        if load.member != name or factor == 0.0:
            continue
        for own, part in zip(loads, carried(course, pieces.spans, load), strict=True):
            if part is not None:
                own.append(part._replace(first=factor * part.first, last=factor * part.last))
    result: list[Stretch] = []
    for span, own in zip(pieces.spans, loads[1:-1], strict=True):
        ends = span.rows @ u
        forces = _span_forces(response, name, span, step, ends)
        forces = forces - sum((end_forces(member, span, part) for part in own), np.zeros(6))
        start = np.array([-forces[0], forces[1], -forces[2], *ends[:3]])
        result += _integrated(start, span.begin, span.begin + span.length, own, _material(member))
    turned = rotation_matrix(course.c, course.s)
    if offsets and course.low < 0.0:
        axis = course.local(course.start_offset) / -course.low
        force = result[0].at(np.array([0.0]))[:3, 0]
        start = np.array([*_at_node(course, loads[0], force), *(turned @ u[:6])[:3]])
        result = [
            *_integrated(start, course.low, 0.0, loads[0], Material(ahead=axis[0], across=axis[1])),
            *result,
        ]
    if offsets and course.high > course.clear:
        arm = course.local(course.end_offset)
        axis = -arm / (course.high - course.clear)
        node = (turned @ u[:6])[3:]
        moved = [node[0] - node[2] * arm[1], node[1] + node[2] * arm[0], node[2]]
        last = result[-1]
        start = np.array([*last.at(np.array([course.clear]))[:3, 0], *moved])
        result += _integrated(
            start, course.clear, course.high, loads[-1], Material(ahead=axis[0], across=axis[1])
        )
    return result


def _material(member: BeamColumn) -> Material:
    """What bends in a beam-column."""
    shear = 1.0 / member.shear_stiffness if member.shear_stiffness > 0.0 else 0.0
    second_order = member.geometry != "linear"
    return Material(1.0 / (member.E * member.A), 1.0 / (member.E * member.I), shear, second_order)


def _span_forces(response: "Response", name: str, span: Span, step: int, ends: np.ndarray) -> np.ndarray:
    """Six end forces of an elastic length in local axes, from its end displacements `ends`, loads along it apart."""
    system = response.system
    member: Any = system.frame.members[name].member
    if member.geometry == "linear":
        terms = section_terms(member.E, member.A, member.I, member.shear_stiffness, span.length)
        return np.asarray(local_stiffness(terms, span.length) @ ends)
    place = next(place for place in system.parts if place.member == name and place.part.role == span.role)
    course = course_of(system.frame, name)
    force = response.log.force[step, place.first : place.last]
    return np.asarray(rotation_matrix(course.c, course.s) @ force)


def _at_node(course: Course, loads: list[Carried], force: np.ndarray) -> tuple[float, float, float]:
    """N, V, M at the first node from those at the clear start and the loads on the offset."""
    N, V, M = force
    x, y = course.local(course.start_offset)
    M -= V * x + N * y
    for load in loads:
        for at, qx, qy in sampled(load):
            rx, ry = course.local(course.arm(0, at))
            N, V, M = N + qx, V - qy, M + qy * rx - qx * ry
    return N, V, M


def _integrated(
    start: np.ndarray, begin: float, end: float, loads: list[Carried], material: Material
) -> list[Stretch]:
    """Stretches from `begin` to `end`, from N, V, M, u, v, θ at `begin`; point loads at the end are left to what follows."""
    marks = sorted({begin, end, *(x for load in loads for x in (load.begin, load.end))})
    result = []
    for low, high in pairwise(marks):
        start = start.copy()
        q = np.zeros((2, 2))  # rows x and y: at the low end, and the rise to the high one
        for load in loads:
            if load.point and load.begin == low:
                start[0] -= load.first[0]
                start[1] += load.first[1]
            elif not load.point and load.begin <= low and load.end >= high:
                slope = (load.last - load.first) / (load.end - load.begin)
                q[:, 0] += load.first + slope * (low - load.begin)
                q[:, 1] += slope * (high - low)
        result.append(Stretch(low, high - low, _terms(start, high - low, q, material)))
        start = result[-1].at(np.array([high]))[:, 0]
    return result


def _terms(start: np.ndarray, h: float, q: np.ndarray, material: Material) -> tuple[np.ndarray, ...]:
    """Polynomials of N, V, M, u, v, θ over a length h under loads q (rows x, y: at first, rise over h)."""

    N, V = (_primitive(force, first, h) for force, first in ((-q[0], start[0]), (q[1], start[1])))
    steady = polynomial.polyadd(material.ahead * V, material.across * N)
    slope, M = np.zeros(1), np.array([start[2]])
    for _ in range(MOST_TERMS if material.second_order else 1):
        before = M
        rise = polynomial.polyadd(steady, polynomial.polymul(N, slope)) if material.second_order else steady
        M = _primitive(rise, start[2], h)
        rotation = _primitive(material.bending * M, start[5], h)
        slope = polynomial.polysub(material.ahead * rotation, material.shear * rise)
        change = polynomial.polysub(M, before)
        if np.abs(change).sum() <= 1e-15 * np.abs(M).sum():
            break
    v = _primitive(slope, start[4], h)
    u = _primitive(polynomial.polysub(material.axial * N, material.across * rotation), start[3], h)
    return N, V, M, u, v, rotation


def _primitive(value: np.ndarray, first: float, h: float) -> np.ndarray:
    """Integral of a polynomial in x/h, from `first`; terms that rounding has left without weight are dropped."""
    total = np.asarray(polynomial.polyint(value) * h)
    total[0] = first
    weight = np.abs(total)
    kept = np.flatnonzero(weight > 1e-18 * weight.sum())
    return total[: kept[-1] + 1] if kept.size else np.zeros(1)


def _displacements(response: "Response", step: int) -> np.ndarray:
    """All displacements at one step."""
    system = response.system
    return np.asarray(system.free @ response.log.q[step] + system.supported @ response.support_history[step])
