"""Places of sensors on a frame: gauge sections, plastic zones, panels, bars, points, actuators, storeys, joints.

Distances along a member count from its clear start (its first node, unless a rigid offset leads away from it).
"""

import math
from dataclasses import dataclass
from typing import Any

from frame2d.elements import BeamColumn
from frame2d.errors import InputError, finite, known, positive, within
from frame2d.model.frame import COMPONENTS, Frame


@dataclass(frozen=True)
class Section:
    """Elastic section of a beam-column with two gauges, `spacing` (m) apart, at the distance `at` (m).

    `E`, `A`, `I` replace those of the member; `fy` (Pa) sets the strain 0.9 fy/E up to which it counts as elastic;
    `standing` (m/m) is the strain that was there when the gauges were balanced. `model_error` is the relative
    standard deviation of E·I and E·A together.
    """

    name: str
    member: str
    at: float
    spacing: float
    fy: float
    E: float = 0.0
    A: float = 0.0
    I: float = 0.0  # noqa: E741 - the trade's symbol
    standing: float = 0.0
    model_error: float = 0.0

    def resolved(self, frame: Frame) -> "Section":
        """With the member's own E, A, I where none are given; raises `InputError` for a place that cannot be."""
        what = f"section {self.name!r}"
        beam = beam_of(frame, self.member, what)
        _, length, first, last = span_of(frame, self.member)
        within(
            f"{what}: at", self.at, first, last, hint="outside the elastic length, in mm, or from the far end"
        )
        positive(f"{what}: spacing", self.spacing)
        within(f"{what}: spacing", self.spacing, 0.0, min(5.0, length), hint="this smells of mm")
        positive(f"{what}: fy", self.fy)
        within(f"{what}: fy", self.fy, 1e6, 5e9, hint="a strength in MPa (S355 is 355e6 Pa)")
        within(f"{what}: standing", self.standing, 0.0, 0.05, hint="a strain in µm/m")
        within(f"{what}: model_error", self.model_error, 0.0, 1.0)
        for thing in ("E", "A", "I"):
            within(f"{what}: {thing}", getattr(self, thing), 0.0, math.inf)
        return Section(
            self.name, self.member, self.at, self.spacing, self.fy, self.E or beam.E, self.A or beam.A,
            self.I or beam.I, self.standing, self.model_error,
        )  # fmt: skip

    @property
    def elastic_strain(self) -> float:
        """Change of strain up to which moments may be read, 0.9 fy/E less what stood before."""
        return 0.9 * self.fy / self.E - self.standing


@dataclass(frozen=True)
class Zone:
    """Plastic zone whose rotation law is `device`, at the distance `at` (m) on `member`.

    `sections` are two gauge sections of the same member, from which its moment is extrapolated. Two transducers
    (top and bottom, or left and right), `arm` (m) apart, bridge it from `start` to `end` (m along the member).
    `compression` (N) that stands in the member all the time bends the moment's line, see `End`.
    """

    name: str
    device: str
    member: str
    at: float
    sections: tuple[str, str]
    start: float = 0.0
    end: float = 0.0
    arm: float = 0.0
    compression: float = 0.0


@dataclass(frozen=True)
class Panel:
    """Joint panel of `width` by `height` (m) between the pins of two diagonals; `device` is its distortion law.

    `moments` name zones or ends (see `End`) whose moments add up to the panel's, each with its sign ("-A top").
    """

    name: str
    device: str
    width: float
    height: float
    moments: tuple[str, ...] = ()


@dataclass(frozen=True)
class End:
    """Moment of a member at one of its nodes, extrapolated from two gauge sections; `node` says which end.

    With a `compression` P (N) that stands in the member all the time the moment follows M″ = −(P/EI)·M and not a line.
    """

    name: str
    member: str
    node: str
    sections: tuple[str, str]
    compression: float = 0.0


@dataclass(frozen=True)
class Bar:
    """Pin-ended `member` with a load cell and, between its nodes, an elongation transducer; a `device` or not."""

    name: str
    member: str


@dataclass(frozen=True)
class Point:
    """Displacement of a `node` against the ground in one `component` ("ux", "uy", "rz")."""

    name: str
    node: str
    component: str = "ux"


@dataclass(frozen=True)
class Actuator:
    """Actuator that pushes `node` along +x (component "ux") or +y ("uy") when stroke and force are positive."""

    name: str
    node: str
    component: str = "ux"


@dataclass(frozen=True)
class Storey:
    """Horizontal equilibrium of what stands above a cut: `actuators` against columns (pairs of `sections`) and `bars`.

    `columns` are names of zones or ends, whose shear is taken. `weight` (N) stands on the columns since the gauges
    were balanced or before, and works on the drift of `point` over `height` (m).
    """

    name: str
    actuators: tuple[str, ...]
    columns: tuple[str, ...]
    bars: tuple[str, ...] = ()
    point: str = ""
    height: float = 0.0
    weight: float = 0.0


@dataclass(frozen=True)
class Joint:
    """Moment equilibrium of a `node`: moments of all members that turn with it, as `ends`."""

    name: str
    node: str
    ends: tuple[str, ...]


Place = Section | Zone | Panel | End | Bar | Point | Actuator | Storey | Joint

KINDS: dict[str, Any] = {
    "section": Section,
    "zone": Zone,
    "panel": Panel,
    "end": End,
    "bar": Bar,
    "point": Point,
    "actuator": Actuator,
    "storey": Storey,
    "joint": Joint,
}


def beam_of(frame: Frame, member: str, what: str) -> BeamColumn:
    """The beam-column called `member`; raises `InputError` for anything else."""
    placed = frame.members[known(f"{what}: member", member, frame.members)]
    if not isinstance(placed.member, BeamColumn):
        raise InputError(
            f"{what}: member {member!r} is a {type(placed.member).__name__}; allowed: a BeamColumn. Likely mistake: "
            "a bar's force is read by a load cell or a place of kind 'bar'"
        )
    if placed.member.geometry == "corotational":
        raise InputError(f"{what}: member {member!r} is corotational; allowed: linear or p-delta")
    return placed.member


def span_of(frame: Frame, member: str) -> tuple[tuple[float, float], float, float, float]:
    """Direction (cos, sin), clear length, and first and last distance (m) of a beam's elastic length."""
    placed = frame.members[member]
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    beam: Any = placed.member
    _, _, c, s, clear = beam.clear(i.x, i.y, j.x, j.y)
    return (c, s), clear, beam.start_inset, clear - beam.end_inset


def face_sign(frame: Frame, member: str, face: str, what: str) -> float:
    """+1 where `face` ("top", "bottom", "left", "right" as one looks at the frame) is the member's local +y side."""
    directions = {"top": (0.0, 1.0), "bottom": (0.0, -1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}
    x, y = directions[known(f"{what}: face", face, directions)]
    (c, s), *_ = span_of(frame, member)
    across = -s * x + c * y
    if abs(across) < 0.3:
        fits = "left or right" if abs(c) < 0.7 else "top or bottom"
        raise InputError(
            f"{what}: face is {face!r} of member {member!r}; allowed: {fits}, for the way this member runs"
        )
    return 1.0 if across > 0.0 else -1.0


def check_place(place: Place, frame: Frame, places: dict[str, Place]) -> Place:
    """The place, complete; raises `InputError` for unknown members, nodes, laws or places, and impossible sizes."""
    what = f"{type(place).__name__.lower()} {place.name!r}"
    if isinstance(place, Section):
        return place.resolved(frame)
    if isinstance(place, Zone | End):
        _check_pair(place, frame, places, what)
    if isinstance(place, Zone):
        _check_zone(place, frame, what)
    elif isinstance(place, End):
        placed = frame.members[place.member]
        known(f"{what}: node", place.node, (placed.i, placed.j))
    elif isinstance(place, Panel):
        for thing in ("width", "height"):
            within(f"{what}: {thing}", positive(f"{what}: {thing}", getattr(place, thing)), 0.0, 5.0,
                   hint="this smells of mm")  # fmt: skip
        named(what, "moment", [m.lstrip("+-") for m in place.moments], places, (Zone, End))
    elif isinstance(place, Bar):
        known(f"{what}: member", place.member, frame.members)
        if isinstance(frame.members[place.member].member, BeamColumn):
            raise InputError(f"{what}: member {place.member!r} is a BeamColumn; allowed: a brace or link")
    elif isinstance(place, Point | Actuator):
        known(f"{what}: node", place.node, frame.nodes)
        known(
            f"{what}: component", place.component, COMPONENTS if isinstance(place, Point) else COMPONENTS[:2]
        )
    elif isinstance(place, Storey):
        named(what, "actuator", place.actuators, places, (Actuator,))
        named(what, "column", place.columns, places, (Zone, End))
        named(what, "bar", place.bars, places, (Bar,))
        within(f"{what}: weight", place.weight, 0.0, math.inf)
        if place.weight:
            named(what, "point", [place.point], places, (Point,))
            positive(f"{what}: height", place.height)
    else:
        known(f"{what}: node", place.node, frame.nodes)
        named(what, "end", place.ends, places, (End,))
    return place


def named(what: str, thing: str, names: Any, places: dict[str, Place], kinds: tuple[Any, ...]) -> None:
    """Check that `names` are places of the right kinds."""
    for name in names:
        found = places[known(f"{what}: {thing}", name, places)]
        if not isinstance(found, kinds):
            wanted = " or ".join(kind.__name__.lower() for kind in kinds)
            raise InputError(
                f"{what}: {thing} {name!r} is a {type(found).__name__.lower()}; allowed: a {wanted}"
            )


def _check_pair(place: Zone | End, frame: Frame, places: dict[str, Place], what: str) -> None:
    beam_of(frame, place.member, what)
    if len(place.sections) != 2:
        raise InputError(f"{what}: sections are {place.sections}; allowed: two gauge sections")
    named(what, "section", place.sections, places, (Section,))
    first, second = (places[name] for name in place.sections)
    assert isinstance(first, Section) and isinstance(second, Section)
    for section in (first, second):
        if section.member != place.member:
            raise InputError(
                f"{what}: section {section.name!r} is on member {section.member!r}; allowed: sections of {place.member!r}"
            )
    beam, length = beam_of(frame, place.member, what), abs(second.at - first.at)
    most = beam.E * beam.I * (math.pi / 2.0 / max(span_of(frame, place.member)[1], length)) ** 2
    within(
        f"{what}: compression", place.compression, 0.0, most, hint="beyond the critical force of a cantilever"
    )
    if length < 1e-3:
        raise InputError(f"{what}: both sections are at {first.at:g} m; allowed: two distances apart")


def _check_zone(place: Zone, frame: Frame, what: str) -> None:
    _, clear, _, _ = span_of(frame, place.member)
    within(f"{what}: at", place.at, 0.0, clear, hint="a distance in mm")
    if place.arm or place.end or place.start:
        within(f"{what}: arm", positive(f"{what}: arm", place.arm), 0.0, 5.0, hint="this smells of mm")
        within(f"{what}: start", place.start, 0.0, place.at, hint="the transducers must bridge the zone")
        within(f"{what}: end", place.end, place.at, clear, hint="the transducers must bridge the zone")
        if place.end - place.start < 1e-4:
            raise InputError(f"{what}: start and end are both {place.start:g} m; allowed: end behind start")
    finite(f"{what}: arm", place.arm)
