"""What faultless sensors would read: every channel and every quantity of a map, out of a `Response`.

Strains come from equilibrium of the members, M(x) = −m + f_y·x + N·(v(x) − v₀) with loads along them; transducers over
a zone from its law's rotation and ∫M/EI; actuators exert what the built members need to stay where they are (no
inertia, no damping: a test slow enough to be static). In a time history with stiffness-proportional damping a hinge and
the beam beside it differ by the damping moment; gauges see the beam.
"""

from typing import Any

import numpy as np

from frame2d.analysis.response import Response
from frame2d.elements.beam_column import local_stiffness, rotation_matrix, shape
from frame2d.elements.beam_kernels import section_terms
from frame2d.elements.member import Span
from frame2d.errors import InputError
from frame2d.instruments.channel import Channel
from frame2d.instruments.derived import derive
from frame2d.instruments.laws import laws_of
from frame2d.instruments.places import Actuator, Bar, End, Panel, Point, Section, Zone, beam_of, span_of
from frame2d.instruments.sensor_map import SensorMap
from frame2d.model.frame import COMPONENTS
from frame2d.model.member_loads import carried, course_of, end_forces


def section_forces(response: Response, member: str, at: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """N, V, M (N, N·m) by step at `at` (m from the clear start) of a beam-column, also on stubs outside its hinges."""
    system, frame = response.system, response.system.frame
    beam = beam_of(frame, member, f"member {member!r}")
    course, spans = course_of(frame, member), system.pieces[member].spans
    # Exactly at a hinge the gauges are on the beam.
    inwards = sorted(range(len(spans)), key=lambda k: spans[k].role != "beam")
    number = next((k for k in inwards if _reaches(spans[k], at)), inwards[0])
    span = spans[number]
    L, x = span.length, at - span.begin
    ends = response.all_displacements()[:, system.freedoms_of[member]] @ span.rows.T
    if beam.geometry == "linear":
        stiffness = local_stiffness(section_terms(beam.E, beam.A, beam.I, beam.shear_stiffness, L), L)
        forces = ends @ stiffness.T
    else:
        place = next(p for p in system.parts if p.member == member and p.part.role == span.role)
        forces = response.log.force[:, place.first : place.last] @ rotation_matrix(course.c, course.s).T
    pulled = np.zeros((3, response.time.size))
    factors = response.case_factors()
    for load in frame.member_loads:
        if load.member != member or load.case not in factors:
            continue
        part = carried(course, spans, load)[number + 1]
        if part is None:
            continue
        forces = forces - np.outer(factors[load.case], end_forces(beam, span, part))
        pulls = _pulls(part.first, part.last, part.begin - span.begin, part.end - span.begin, x)
        pulled += np.outer(pulls, factors[load.case])
    fx, fy, m = forces[:, 0], forces[:, 1], forces[:, 2]
    N, V = -fx - pulled[0], fy + pulled[1]
    M = -m + fy * x + pulled[2]
    if beam.geometry != "linear":
        phi = 12.0 * beam.E * beam.I / (beam.shear_stiffness * L * L) if beam.shear_stiffness > 0.0 else 0.0
        inside = min(max(x, 0.0), L)
        M = M + N * (ends @ shape(inside, L, phi)[1] - ends[:, 1])
    return N, V, M


def _reaches(span: Span, at: float) -> bool:
    """Whether a position is on a span, but for rounding."""
    return -1e-9 * span.length <= at - span.begin <= span.length * (1.0 + 1e-9)


def section_slope(response: Response, member: str, at: float) -> np.ndarray:
    """Rotation of a beam-column's axis against its undeformed chord direction, by step, at `at` (m from the clear start)."""
    system, frame = response.system, response.system.frame
    beam = beam_of(frame, member, f"member {member!r}")
    _, _, first, last = span_of(frame, member)
    L, x = last - first, at - first
    ends = (
        response.all_displacements()[:, system.freedoms_of[member]] @ np.asarray(system.pieces[member].beam).T
    )
    phi = 12.0 * beam.E * beam.I / (beam.shear_stiffness * L * L) if beam.shear_stiffness > 0.0 else 0.0
    step = 1e-3 * L
    low, high = max(x - step, 0.0), min(x + step, L)
    return np.asarray(ends @ (shape(high, L, phi)[1] - shape(low, L, phi)[1]) / (high - low))


def _shear(response: Response, sensors: SensorMap, place: Zone | End) -> np.ndarray:
    """dM/dx half-way between the gauge sections: V, and N times the slope in second-order members."""
    first, second = (sensors.places[name] for name in place.sections)
    assert isinstance(first, Section) and isinstance(second, Section)
    middle = 0.5 * (first.at + second.at)
    N, V, _ = section_forces(response, place.member, middle)
    if beam_of(sensors.frame, place.member, place.name).geometry == "linear":
        return V
    return V + N * section_slope(response, place.member, middle)


def _pulls(first: np.ndarray, last: np.ndarray, begin: float, end: float, x: float) -> np.ndarray:
    """∫qx, ∫qy and ∫qy·(x − ξ) up to x of a load that runs linearly from begin to end (a point load if they agree)."""
    if end == begin:
        return np.array([first[0], first[1], first[1] * (x - begin)]) * (x > begin)
    t = min(max(x - begin, 0.0), end - begin)
    slope = (last - first) / (end - begin)
    total = first * t + 0.5 * slope * t**2
    arm = x - begin - t
    moment = first[1] * (0.5 * t**2 + t * arm) + slope[1] * (t**3 / 6.0 + 0.5 * t**2 * arm)
    return np.array([total[0], total[1], moment])


def actuator_force(sensors: SensorMap, response: Response, node: str, component: str = "ux") -> np.ndarray:
    """Force (N) on `node`, and on all nodes tied to it, that holds the built members where the response has them."""
    frame = response.system.frame
    group, size = {node}, 0
    while len(group) > size:
        size = len(group)
        for tied, nodes in frame.ties:
            if tied == component and group & set(nodes):
                group |= set(nodes)
    k = COMPONENTS.index(component)
    total = np.zeros(response.time.size)
    for name in sensors.built():
        placed = frame.members[name]
        ends = [(placed.i, k), (placed.j, 3 + k)]
        if any(end in group for end, _ in ends):
            forces = response.member_forces(name)
            total += sum(forces[:, column] for end, column in ends if end in group)
    for case, factor in response.case_factors().items():
        # Loads that change while the response runs are what the actuator itself does.
        if np.ptp(factor) > 0.0:
            continue
        for load in frame.node_loads:
            if load.case == case and load.node in group:
                total = total - factor * (load.fx if component == "ux" else load.fy)
    return total


def _deformation(response: Response, device: str) -> tuple[np.ndarray, np.ndarray]:
    """Rotation (or stretch) of a law, and slip along the member of an axial force-moment hinge, by step."""
    place = laws_of(response.system)[device.lstrip("-")]
    sign = -1.0 if device.startswith("-") else 1.0
    loop = response.device(device.lstrip("-"))
    deformation = (
        sign * (loop.deformation + response.log_offset(place))
        if place.last - place.first < 4
        else loop.deformation
    )
    slip = np.zeros_like(deformation)
    if place.last - place.first == 2:
        slip = np.asarray(response.all_displacements() @ response.system.gather_all[place.first].T).ravel()
    return deformation, slip


def _zone(response: Response, zone: Zone, sensors: SensorMap) -> tuple[np.ndarray, np.ndarray]:
    """Rotation and elongation of the member between the ends of a zone's transducers, by step."""
    sign = -1.0 if zone.device.startswith("-") else 1.0
    rotation, slip = _deformation(response, zone.device.lstrip("-"))
    beam = beam_of(sensors.frame, zone.member, zone.name)
    points, weights = np.polynomial.legendre.leggauss(3)
    half, middle = 0.5 * (zone.end - zone.start), 0.5 * (zone.end + zone.start)
    turned, stretched = sign * rotation, slip
    for point, weight in zip(points, weights, strict=True):
        N, _, M = section_forces(response, zone.member, middle + half * point)
        turned = turned + half * weight * M / (beam.E * beam.I)
        stretched = stretched + half * weight * N / (beam.E * beam.A)
    return turned, stretched


def _value(channel: Channel, sensors: SensorMap, response: Response) -> np.ndarray:
    place = sensors.places[channel.place]
    if isinstance(place, Section):
        N, _, M = section_forces(response, place.member, place.at)
        # The frame's own stiffness makes the strain; what the map says of it is the reader's belief.
        beam = beam_of(sensors.frame, place.member, place.name)
        return N / (beam.E * beam.A) - sensors.side(channel) * 0.5 * place.spacing * M / (beam.E * beam.I)
    if isinstance(place, Zone):
        turned, stretched = _zone(response, place, sensors)
        return stretched - sensors.side(channel) * 0.5 * place.arm * turned
    if isinstance(place, Panel):
        distortion, _ = _deformation(response, place.device)
        k = place.width * place.height / np.hypot(place.width, place.height)
        return distortion * k * (1.0 if channel.face == "rising" else -1.0)
    if isinstance(place, Bar):
        return _bar(response, place, channel.kind)
    if isinstance(place, Point) or channel.kind == "stroke":
        assert isinstance(place, Point | Actuator)
        return response.displacement(place.node, place.component)
    assert isinstance(place, Actuator)
    return actuator_force(sensors, response, place.node, place.component)


def _bar(response: Response, place: Bar, kind: str) -> np.ndarray:
    """Axial force of a brace or link, or the elongation of its law."""
    found = [name for name, part in laws_of(response.system).items() if part.member == place.member]
    axial = [name for name in found if laws_of(response.system)[name].part.role == "axial"]
    if not axial:
        raise InputError(f"bar {place.name!r}: member {place.member!r} has no axial law to read")
    loop = response.device(axial[0])
    return loop.force if kind == "force" else _deformation(response, axial[0])[0]


def true_channels(sensors: SensorMap, response: Response) -> dict[str, np.ndarray]:
    """SI values of every channel by step, as perfect sensors read them; from the first step on if balanced."""
    values = {}
    for channel in sensors.channels.values():
        value = np.asarray(_value(channel, sensors, response))
        values[channel.name] = value - value[0] if sensors.balanced else value
    return values


def true_quantities(sensors: SensorMap, response: Response) -> dict[str, np.ndarray]:
    """What the quantities of `derive` should be, taken from the response itself and not from its channels.

    Shears are those across the deflected axis, half-way between the gauge sections.
    """
    values: dict[str, np.ndarray] = {}
    direct = true_channels(sensors, response)
    loops: dict[str, Any] = {}
    for name, row in derive(sensors).items():
        place = sensors.places[row.place]
        if isinstance(place, Section):
            N, _, M = section_forces(response, place.member, place.at)
            beam = beam_of(sensors.frame, place.member, name)
            value = {"axial force": N, "moment": M, "curvature": M / (beam.E * beam.I)}[row.kind]
        elif isinstance(place, End):
            clear = span_of(sensors.frame, place.member)[1]
            start = sensors.frame.members[place.member].i == place.node
            _, _, M = section_forces(response, place.member, 0.0 if start else clear)
            value = _shear(response, sensors, place) if row.kind == "shear" else M
        elif isinstance(place, Zone | Panel):
            device = place.device
            sign = -1.0 if device.startswith("-") else 1.0
            if device not in loops:
                loops[device] = response.device(device.lstrip("-"))
            if row.kind == "moment":
                value = sign * loops[device].force if isinstance(place, Zone) else loops[device].force
            elif row.kind == "shear":
                assert isinstance(place, Zone)
                value = _shear(response, sensors, place)
            elif row.kind == "rotation":
                assert isinstance(place, Zone)
                value = _zone(response, place, sensors)[0]
            else:
                value = _deformation(response, device.lstrip("-"))[0]
        else:
            value = direct[next(iter(row.weights))]
        values[name] = value - value[0] if sensors.balanced else np.asarray(value)
    return values
