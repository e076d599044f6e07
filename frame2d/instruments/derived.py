"""What each quantity is made of: weights of channels (in SI), derived from the map and the frame alone.

With the gauges of a section on the local +y and −y sides, ε(y) = ε₀ − y·κ:

    curvature κ = (ε₋ − ε₊)/d,  M = EI·κ,  N = EA·(ε₊ + ε₋)/2
    two sections: V = (M₂ − M₁)/(x₂ − x₁),  M* = M₁ + r·(M₂ − M₁),  r = (x* − x₁)/(x₂ − x₁)
    noise of M* is that of one section times √((1 − r)² + r²)
    transducers: θ = (δ₋ − δ₊)/a − ∫M/EI over their length (M linear between and beyond the sections)
    panel a × b: γ = √(a² + b²)·(Δ₁ − Δ₂)/(2ab), diagonal 1 rising to the right

M is positive where it bends the member towards its local +y (v″ > 0), N in tension. Statics and plane sections;
derived here. In p-delta members V is across the deflected axis; there M* follows M″ = −(P/EI)·M for a standing
compression P that the map gives, M* = [M₁·sin k(x₂ − x*) + M₂·sin k(x* − x₁)]/sin k(x₂ − x₁), k² = P/EI (Timoshenko &
Gere 1961, from memory), and neglects what the axial force changes in the test.
"""

import math
from dataclasses import dataclass, field

from frame2d.instruments.places import Actuator, Bar, End, Panel, Point, Section, Zone, span_of
from frame2d.instruments.sensor_map import SensorMap

Weights = dict[str, float]


@dataclass(frozen=True)
class Derived:
    """One quantity as Σ weight · channel. `sections` must stay elastic for it; `amplification` is the noise's, of M*."""

    name: str
    unit: str
    place: str
    kind: str
    weights: Weights
    formula: str
    sections: tuple[str, ...] = ()
    model_error: float = 0.0
    amplification: float | None = None


def combine(*terms: tuple[float, Weights]) -> Weights:
    """Σ factor · weights."""
    total: Weights = {}
    for factor, weights in terms:
        for name, weight in weights.items():
            total[name] = total.get(name, 0.0) + factor * weight
    return {name: weight for name, weight in total.items() if weight != 0.0}


@dataclass
class _Table:
    sensors: SensorMap
    rows: dict[str, Derived] = field(default_factory=dict)

    def add(
        self, name: str, unit: str, place: str, kind: str, weights: Weights, formula: str, **rest: object
    ) -> None:
        self.rows[name] = Derived(name, unit, place, kind, weights, formula, **rest)  # type: ignore[arg-type]

    def pair(self, place: str, kind: str) -> tuple[str, str]:
        plus, minus = self.sensors.at(place, kind, 1.0), self.sensors.at(place, kind, -1.0)
        assert plus is not None and minus is not None
        return plus.name, minus.name

    def section(self, place: Section) -> None:
        plus, minus = self.pair(place.name, "strain")
        d, EI, EA = place.spacing, place.E * place.I, place.E * place.A
        curvature = {minus: 1.0 / d, plus: -1.0 / d}
        own = {"sections": (place.name,), "model_error": place.model_error}
        self.add(f"{place.name} curvature", "1/m", place.name, "curvature", curvature, "(ε₋ − ε₊)/d",
                 sections=(place.name,))  # fmt: skip
        self.add(f"{place.name} moment", "N·m", place.name, "moment", combine((EI, curvature)), "EI·κ", **own)
        axial = {plus: 0.5 * EA, minus: 0.5 * EA}
        self.add(f"{place.name} axial force", "N", place.name, "axial force", axial, "EA·(ε₊ + ε₋)/2", **own)

    def extrapolated(self, place: Zone | End) -> None:
        first, second = (self.sensors.places[name] for name in place.sections)
        assert isinstance(first, Section) and isinstance(second, Section)
        M1, M2 = (self.rows[f"{section.name} moment"].weights for section in (first, second))
        if isinstance(place, Zone):
            target = place.at
        else:
            clear = span_of(self.sensors.frame, place.member)[1]
            target = 0.0 if self.sensors.frame.members[place.member].i == place.node else clear
        r = (target - first.at) / (second.at - first.at)
        own = {"sections": place.sections, "model_error": max(first.model_error, second.model_error)}
        slope = 1.0 / (second.at - first.at)
        self.add(f"{place.name} shear", "N", place.name, "shear", combine((slope, M2), (-slope, M1)),
                 "(M₂ − M₁)/(x₂ − x₁)", **own)  # fmt: skip
        w1, w2, formula = 1.0 - r, r, f"M₁ + r·(M₂ − M₁), r = {r:.3g}"
        if place.compression > 0.0:
            k = math.sqrt(place.compression / (first.E * first.I))
            whole = math.sin(k * (second.at - first.at))
            w1, w2 = math.sin(k * (second.at - target)) / whole, math.sin(k * (target - first.at)) / whole
            formula = f"{w1:.3g}·M₁ + {w2:.3g}·M₂, M″ = −(P/EI)·M"
        self.add(
            f"{place.name} moment", "N·m", place.name, "moment", combine((w1, M1), (w2, M2)), formula,
            amplification=math.hypot(w1, w2), **own,
        )  # fmt: skip

    def rotation(self, place: Zone) -> None:
        first, second = (self.sensors.places[name] for name in place.sections)
        assert isinstance(first, Section) and isinstance(second, Section)
        plus, minus = self.pair(place.name, "transducer")
        total = {minus: 1.0 / place.arm, plus: -1.0 / place.arm}
        elastic = self.elastic_rotation(place, first, second)
        sign = -1.0 if place.device.startswith("-") else 1.0
        self.add(f"{place.name} total rotation", "rad", place.name, "rotation", total, "(δ₋ − δ₊)/a")
        self.add(
            f"{place.name} rotation", "rad", place.name, "deformation", combine((sign, total), (-sign, elastic)),
            "(δ₋ − δ₊)/a − ∫M/EI", sections=place.sections,
        )  # fmt: skip

    def elastic_rotation(self, place: Zone, first: Section, second: Section) -> Weights:
        """∫M/EI over the transducers' length: the moment at its middle, as M is linear."""
        middle = 0.5 * (place.start + place.end)
        r = (middle - first.at) / (second.at - first.at)
        M1, M2 = (self.rows[f"{section.name} moment"].weights for section in (first, second))
        share = (place.end - place.start) / (first.E * first.I)
        return combine((share * (1.0 - r), M1), (share * r, M2))

    def panel(self, place: Panel) -> None:
        rising, falling = (self.sensors.at(place.name, "diagonal", face) for face in ("rising", "falling"))
        assert rising is not None and falling is not None
        k = math.hypot(place.width, place.height) / (2.0 * place.width * place.height)
        sign = -1.0 if place.device.startswith("-") else 1.0
        self.add(
            f"{place.name} distortion", "rad", place.name, "deformation",
            {rising.name: sign * k, falling.name: -sign * k}, "√(a² + b²)·(Δ₁ − Δ₂)/(2ab)",
        )  # fmt: skip
        if place.moments:
            parts = [(-sign if m.startswith("-") else sign, m.lstrip("+-")) for m in place.moments]
            rows = [(factor, self.rows[f"{name} moment"]) for factor, name in parts]
            self.add(
                f"{place.name} moment", "N·m", place.name, "moment",
                combine(*((factor, row.weights) for factor, row in rows)), "Σ moments at the joint",
                sections=tuple(s for _, row in rows for s in row.sections),
                model_error=max(row.model_error for _, row in rows),
            )  # fmt: skip

    def direct(self, place: Bar | Point | Actuator) -> None:
        for channel in self.sensors.channels.values():
            if channel.place == place.name:
                kind = {"elongation": "deformation"}.get(channel.kind, channel.kind)
                dimension = channel.dimension(place)
                unit = {"length": "m", "angle": "rad", "force": "N"}[dimension]
                self.add(
                    f"{place.name} {channel.kind}", unit, place.name, kind, {channel.name: 1.0}, "as measured"
                )


def derive(sensors: SensorMap) -> dict[str, Derived]:
    """All quantities that the map yields, by "PLACE quantity"."""
    table = _Table(sensors)
    places = sensors.places.values()
    for place in places:
        if isinstance(place, Section):
            table.section(place)
    for place in places:
        if isinstance(place, Zone | End):
            table.extrapolated(place)
        if isinstance(place, Zone) and place.arm:
            table.rotation(place)
    for place in places:
        if isinstance(place, Panel):
            table.panel(place)
        elif isinstance(place, Bar | Point | Actuator):
            table.direct(place)
    return table.rows
