"""Channel: one column of a logger, with its declared unit and sign, its place and what is known of its errors."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, finite, known, positive, within
from frame2d.instruments.places import Actuator, Bar, Panel, Place, Point, Section, Zone
from frame2d.instruments.scales import factor_of

#: Kinds of channel: dimension, places they stand at, sides that must be named.
KINDS: dict[str, tuple[str, tuple[Any, ...], tuple[str, ...]]] = {
    "strain": ("strain", (Section,), ("top", "bottom", "left", "right")),
    "transducer": ("length", (Zone,), ("top", "bottom", "left", "right")),
    "diagonal": ("length", (Panel,), ("rising", "falling")),
    "displacement": ("length", (Point,), ()),
    "stroke": ("length", (Actuator,), ()),
    "elongation": ("length", (Bar,), ()),
    "force": ("force", (Actuator, Bar), ()),
}


@dataclass(frozen=True)
class Channel:
    """SI value = sign · gain · (reading − offset) · factor of `unit`; readings as the logger writes them.

    `sign` is declared: +1 where the reading grows with tension, elongation, or motion along + (−1 if it falls).
    Standard deviations, in the declared unit: `noise` of each sample, `zero` of the offset; `resolution` is the step of
    the digits; `gain_error` the relative standard deviation of the gain. `clock` names the logger.
    """

    name: str
    kind: str
    place: str
    unit: str
    sign: int = 1
    face: str = ""
    gain: float = 1.0
    offset: float = 0.0
    noise: float = 0.0
    resolution: float = 0.0
    zero: float = 0.0
    gain_error: float = 0.0
    clock: str = "main"

    def __post_init__(self) -> None:
        what = f"channel {self.name!r}"
        known(f"{what}: kind", self.kind, KINDS)
        _, _, faces = KINDS[self.kind]
        if faces:
            known(f"{what}: face", self.face, faces)
        elif self.face:
            raise InputError(f"{what}: face is {self.face!r}; allowed: none for a {self.kind}")
        if self.sign not in (1, -1):
            raise InputError(
                f"{what}: sign is {self.sign!r}; allowed: 1 or -1, declared for every channel. Likely mistake: "
                "a gain (use `gain`)"
            )
        if not math.isfinite(finite(f"{what}: gain", self.gain)) or self.gain <= 0.0:
            positive(
                f"{what}: gain", self.gain, hint="a sensor that is mounted the other way round has sign -1"
            )
        finite(f"{what}: offset", self.offset)
        for thing in ("noise", "resolution", "zero"):
            within(f"{what}: {thing}", getattr(self, thing), 0.0, math.inf)
        within(f"{what}: gain_error", self.gain_error, 0.0, 0.5, hint="relative: 1 % is 0.01")

    def dimension(self, place: Place) -> str:
        """What the channel measures at its place; raises `InputError` for a place of the wrong kind."""
        dimension, allowed, _ = KINDS[self.kind]
        if not isinstance(place, allowed):
            wanted = " or ".join(kind.__name__.lower() for kind in allowed)
            raise InputError(
                f"channel {self.name!r} is a {self.kind} at {type(place).__name__.lower()} {place.name!r}; allowed: at a "
                f"{wanted}"
            )
        return "angle" if isinstance(place, Point) and place.component == "rz" else dimension

    def factor(self, place: Place) -> float:
        """SI value of one declared unit, sign and gain included."""
        unit = factor_of(f"channel {self.name!r}: unit", self.unit, self.dimension(place))
        return self.sign * self.gain * unit

    def to_si(self, raw: np.ndarray, place: Place) -> np.ndarray:
        """Readings in SI."""
        return np.asarray((np.asarray(raw, dtype=float) - self.offset) * self.factor(place))

    def to_raw(self, value: np.ndarray, place: Place) -> np.ndarray:
        """What the logger would read for an SI value, before noise."""
        return np.asarray(np.asarray(value, dtype=float) / self.factor(place) + self.offset)

    def random(self, place: Place) -> float:
        """Standard deviation of each sample in SI: noise and rounding to the resolution (δ/√12)."""
        return abs(self.factor(place)) * math.hypot(self.noise, self.resolution / math.sqrt(12.0))

    def steady(self, place: Place) -> float:
        """Standard deviation of the offset in SI."""
        return abs(self.factor(place)) * self.zero
