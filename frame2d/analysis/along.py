"""Forces and displacements along an elastic beam between its ends, loads along it included.

Statics from the start: N(x) = −fx − ∫qx, V(x) = fy + ∫qy, M(x) = −m + fy·x + ∫qy·(x − ξ)dξ (+ N·(v − v₀) in second-order
members), M > 0 where v″ > 0. Displacements by integrating θ′ = M/EI, v′ = θ − V/(G·As), u′ = N/EA from the start
(Timoshenko 1921). In second-order members the deflection that loads cause between the ends is magnified by the
axial force here, and not in the element itself: divide members in which N exceeds a few percent of the critical force.
With cubic splines: exact for loads up to linear, apart from where a load jumps between points.
"""

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from frame2d.elements.beam_column import BeamColumn, local_stiffness, rotation_matrix
from frame2d.elements.beam_kernels import section_terms
from frame2d.errors import InputError, known, whole

if TYPE_CHECKING:
    from frame2d.analysis.response import Response


class Along(NamedTuple):
    """Histories of one step at `x` (m from the start of the beam): forces (N, N·m), local displacements (m), rotation."""

    x: np.ndarray
    N: np.ndarray
    V: np.ndarray
    M: np.ndarray
    u: np.ndarray
    v: np.ndarray
    rotation: np.ndarray


def along(response: "Response", name: str, step: int = -1, points: int = 201) -> Along:
    """Inner forces and deflections of member `name` at one step; raises `InputError` for what is not a beam-column."""
    system = response.system
    step = whole("step", step, -response.time.size, response.time.size - 1)
    points = whole("points", points, 4, 100_000)
    known("member", name, system.frame.members)
    placed = system.frame.members[name]
    member: Any = placed.member
    if not isinstance(member, BeamColumn):
        raise InputError(f"member {name!r} is a {type(member).__name__}; allowed: a BeamColumn")
    if member.geometry == "corotational":
        raise InputError(
            f"member {name!r} is corotational; allowed: linear or p-delta, divide it into shorter members"
        )
    i, j = system.frame.nodes[placed.i], system.frame.nodes[placed.j]
    _, _, c, s, clear = member.clear(i.x, i.y, j.x, j.y)
    L = clear - member.start_inset - member.end_inset
    ends = np.asarray(system.pieces[name].beam) @ response.all_displacements()[step, system.freedoms_of[name]]
    factors = {case: float(row[step]) for case, row in response.case_factors().items()}
    x = np.linspace(0.0, L, points)
    if member.geometry == "linear":
        forces = (
            local_stiffness(section_terms(member.E, member.A, member.I, member.shear_stiffness, L), L) @ ends
        )
    else:
        place = next(place for place in system.parts if place.member == name and place.part.role == "beam")
        forces = rotation_matrix(c, s) @ response.log.force[step, place.first : place.last]
    pulls = np.zeros((3, points))  # ∫qx, ∫qy, ∫qy(x − ξ)
    local = np.zeros(6)
    for load in system.frame.member_loads:
        factor = factors.get(load.case, 0.0)
        if load.member != name or factor == 0.0:
            continue
        pinv = np.linalg.pinv(np.asarray(system.pieces[name].beam).T)
        local += factor * (pinv @ system.equivalent(load))

        def turned(q: tuple[float, float], axes: str = load.axes) -> tuple[float, float]:
            return q if axes == "local" else (c * q[0] + s * q[1], -s * q[0] + c * q[1])

        first, last = turned(load.first), turned(load.last)
        begin = load.begin - member.start_inset
        end = (clear if load.end is None else load.end) - member.start_inset
        if end == begin:
            reached = x > begin
            pulls[0] += factor * first[0] * reached
            pulls[1] += factor * first[1] * reached
            pulls[2] += factor * first[1] * np.where(reached, x - begin, 0.0)
            continue
        span = end - begin
        t = np.clip(x - begin, 0.0, span)
        for row, k in ((0, 0), (1, 1)):
            slope = (last[k] - first[k]) / span
            pulls[row] += factor * (first[k] * t + 0.5 * slope * t**2)
        slope = (last[1] - first[1]) / span
        arm = x - begin - t
        pulls[2] += factor * (first[1] * (0.5 * t**2 + t * arm) + slope * (t**3 / 6.0 + 0.5 * t**2 * arm))
    fx, fy, m = (forces - local)[:3]
    N, V = -fx - pulls[0], fy + pulls[1]
    straight = -m + fy * x + pulls[2]
    M, v = straight, np.full(points, ends[1])
    shear = V / member.shear_stiffness if member.shear_stiffness > 0.0 else np.zeros(points)
    for _ in range(1 if member.geometry == "linear" else 30):
        rotation = ends[2] + _integral(M / (member.E * member.I), x)
        v = ends[1] + _integral(rotation - shear, x)
        if member.geometry != "linear":
            M = straight + N * (v - v[0])
    u = ends[0] + _integral(N / (member.E * member.A), x)
    return Along(x, N, V, M, u, v, rotation)


def _integral(values: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Cumulative integral by cubic splines (exact for polynomials up to the third degree)."""
    from scipy.interpolate import CubicSpline

    return np.asarray(CubicSpline(x, values).antiderivative()(x))
