"""Relations that measured channels must obey: statics, kinematics, redundancy; and the works that must balance.

Each linear relation is Σ weight · channel = 0 in SI, kept as groups of terms whose sizes give its scale.
"""

from dataclasses import dataclass
from itertools import pairwise

from frame2d.instruments.derived import Derived, Weights, combine, derive
from frame2d.instruments.laws import laws_of
from frame2d.instruments.places import Actuator, Bar, Joint, Panel, Section, Storey, Zone, span_of
from frame2d.instruments.sensor_map import SensorMap


@dataclass(frozen=True)
class Relation:
    """Terms that must add up to zero; `says` is the statement in words."""

    name: str
    says: str
    terms: tuple[Weights, ...]

    @property
    def weights(self) -> Weights:
        """All terms together."""
        return combine(*((1.0, term) for term in self.terms))


@dataclass(frozen=True)
class WorkPair:
    """Force and deformation of a device, or of an actuator, whose product is work."""

    name: str
    force: Weights
    deformation: Weights


def relations(sensors: SensorMap) -> list[Relation]:
    """Every linear relation that the map allows."""
    table = derive(sensors)
    found = _axial(sensors, table)
    for place in sensors.places.values():
        if isinstance(place, Zone) and place.arm:
            found += _elongation(sensors, table, place)
        elif isinstance(place, Panel):
            pair = [c.name for c in sensors.channels.values() if c.place == place.name]
            terms = tuple({name: 1.0} for name in pair)
            found.append(Relation(f"panel {place.name}", "what one diagonal gains the other loses", terms))
        elif isinstance(place, Storey):
            found.append(_storey(sensors, table, place))
        elif isinstance(place, Joint):
            found.append(_joint(sensors, table, place))
    return found + _same(sensors)


def _axial(sensors: SensorMap, table: dict[str, Derived]) -> list[Relation]:
    """Axial force is the same in all sections of a member, and the moment linear where it has three."""
    by_member: dict[str, list[Section]] = {}
    for place in sensors.places.values():
        if isinstance(place, Section):
            by_member.setdefault(place.member, []).append(place)
    found = []
    for member, sections in by_member.items():
        sections.sort(key=lambda section: section.at)
        for a, b in pairwise(sections):
            terms = [{name: w} for name, w in table[f"{a.name} axial force"].weights.items()]
            terms += [{name: -w} for name, w in table[f"{b.name} axial force"].weights.items()]
            says = f"{a.name} and {b.name} feel the same axial force"
            found.append(Relation(f"axial force of {member}", says, tuple(terms)))
        for a, b, c in zip(sections, sections[1:], sections[2:], strict=False):
            r = (c.at - a.at) / (b.at - a.at)
            Ma, Mb, Mc = (table[f"{section.name} moment"].weights for section in (a, b, c))
            parts = (combine((1.0 - r, Ma)), combine((r, Mb)), combine((-1.0, Mc)))
            found.append(Relation(f"moment of {member}", f"moments of {member} lie on a line", parts))
    return found


def _elongation(sensors: SensorMap, table: dict[str, Derived], place: Zone) -> list[Relation]:
    law = laws_of(sensors.system)[place.device.lstrip("-")]
    if law.last - law.first > 1:  # an axial force-moment hinge stretches as well
        return []
    pair = [c.name for c in sensors.channels.values() if c.place == place.name]
    sections = [sensors.places[name] for name in place.sections]
    strains = []
    for section in sections:
        assert isinstance(section, Section)
        share = -0.5 * (place.end - place.start) / (section.E * section.A)
        strains.append((share, table[f"{section.name} axial force"].weights))
    terms = ({pair[0]: 0.5}, {pair[1]: 0.5}, combine(*strains))
    return [Relation(f"length of {place.name}", "its transducers see its axis stretch by N/EA alone", terms)]


def _horizontal(sensors: SensorMap, table: dict[str, Derived], name: str) -> Weights:
    """Horizontal force by which a column, or bar, holds what stands above back against +x."""
    place = sensors.places[name]
    members, nodes = sensors.frame.members, sensors.frame.nodes
    member = members[place.member]  # type: ignore[union-attr]
    i, j = nodes[member.i], nodes[member.j]
    up = 1.0 if j.y >= i.y else -1.0
    if isinstance(place, Bar):
        length = ((j.x - i.x) ** 2 + (j.y - i.y) ** 2) ** 0.5
        return combine((up * (j.x - i.x) / length, table[f"{name} force"].weights))
    (c, s), *_ = span_of(sensors.frame, member.name)
    axial = table[f"{place.sections[0]} axial force"].weights  # type: ignore[union-attr]
    return combine((up * c, axial), (up * s, table[f"{name} shear"].weights))


def _storey(sensors: SensorMap, table: dict[str, Derived], place: Storey) -> Relation:
    terms = []
    for name in place.actuators:
        actuator = sensors.places[name]
        assert isinstance(actuator, Actuator)
        if actuator.component == "ux":
            terms.append(table[f"{name} force"].weights)
    for name in (*place.columns, *place.bars):
        terms.append(combine((-1.0, _horizontal(sensors, table, name))))
    if place.weight:
        drift = table[f"{place.point} displacement"].weights
        terms.append(combine((place.weight / place.height, drift)))
    return Relation(f"storey {place.name}", "actuators push what columns and bars hold", tuple(terms))


def _joint(sensors: SensorMap, table: dict[str, Derived], place: Joint) -> Relation:
    terms = []
    for name in place.ends:
        end = sensors.places[name]
        starts = sensors.frame.members[end.member].i == place.node  # type: ignore[union-attr]
        terms.append(combine((-1.0 if starts else 1.0, table[f"{name} moment"].weights)))
    return Relation(f"joint {place.name}", f"moments at node {place.node} add up to nothing", tuple(terms))


def _same(sensors: SensorMap) -> list[Relation]:
    """Actuator strokes against displacement transducers of the same node."""
    found = []
    for stroke in sensors.channels.values():
        if stroke.kind != "stroke":
            continue
        at = sensors.places[stroke.place]
        for other in sensors.channels.values():
            place = sensors.places[other.place]
            if other.kind == "displacement" and place.node == at.node and place.component == at.component:  # type: ignore[union-attr]
                says = f"both see node {place.node} move"  # type: ignore[union-attr]
                terms = ({stroke.name: 1.0}, {other.name: -1.0})
                found.append(Relation(f"stroke of {at.name} and {place.name}", says, terms))
    return found


def works(sensors: SensorMap) -> tuple[list[WorkPair], list[WorkPair]]:
    """Devices, and actuators, with measured force and deformation."""
    table = derive(sensors)
    devices: list[WorkPair] = []
    actuators: list[WorkPair] = []
    for place in sensors.places.values():
        names = {
            Zone: ("moment", "rotation"),
            Panel: ("moment", "distortion"),
            Bar: ("force", "elongation"),
            Actuator: ("force", "stroke"),
        }.get(type(place))
        if names is None or any(f"{place.name} {name}" not in table for name in names):
            continue
        force, deformation = (table[f"{place.name} {name}"].weights for name in names)
        if isinstance(place, Zone) and place.device.startswith("-"):
            force = combine((-1.0, force))
        (actuators if isinstance(place, Actuator) else devices).append(
            WorkPair(place.name, force, deformation)
        )
    return devices, actuators


def unmeasured(sensors: SensorMap) -> list[str]:
    """Devices of the specimen whose work no place of the map measures: energy cannot close without them."""
    covered = set()
    for place in sensors.places.values():
        if isinstance(place, Zone | Panel):
            covered.add(place.device.lstrip("-"))
        elif isinstance(place, Bar):
            covered.add(place.member)
    built = sensors.built()
    return [
        name
        for name, part in laws_of(sensors.system).items()
        if part.member in built
        and name not in covered
        and part.member not in covered
        and _dissipates(part.part.law)
    ]


def _dissipates(law: object) -> bool:
    """Whatever is not plainly elastic."""
    return type(law).__name__ != "Elastic"
