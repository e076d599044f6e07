"""A parameter's range: bounds as multiples of a scale of the test, a first value, and where they come from."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError
from frame2d.fitting.scales import Scales


@dataclass(frozen=True)
class Range:
    """Bounds `low` to `high` and first value `start` of one parameter, in multiples of the scale `unit`.

    `unit` as in `Scales.unit`; `log` searches the logarithm. What is not `free` stays at `start` unless it is
    asked for, by name or by `group`.
    """

    name: str
    unit: str
    low: float
    high: float
    start: float
    source: str
    log: bool = True
    free: bool = True
    group: str = ""

    def bounds(self, scales: Scales) -> "Bounds":
        """The range in SI for a test with these scales."""
        one = scales.unit(self.unit)
        return Bounds(self.name, self.low * one, self.high * one, self.log, self.source)


@dataclass(frozen=True)
class Bounds:
    """Bounds of one free parameter in SI, and the map between it and a coordinate in [0, 1]."""

    name: str
    low: float
    high: float
    log: bool
    source: str

    def __post_init__(self) -> None:
        if not (np.isfinite(self.low) and np.isfinite(self.high) and self.low < self.high):
            raise InputError(
                f"bounds of {self.name} are ({self.low:g}, {self.high:g}); allowed: two finite numbers, the "
                "lower first"
            )
        if self.log and self.low <= 0.0:
            object.__setattr__(self, "log", False)

    def value(self, x: Any) -> Any:
        """Parameter at the coordinate x."""
        if self.log:
            return self.low * (self.high / self.low) ** x
        return self.low + (self.high - self.low) * x

    def coordinate(self, value: float) -> float:
        """Coordinate of a parameter, not limited to [0, 1]."""
        if self.log:
            return float(np.log(max(value, 1e-300) / self.low) / np.log(self.high / self.low))
        return (value - self.low) / (self.high - self.low)

    def slope(self, x: float) -> float:
        """d value/dx."""
        if self.log:
            return float(self.value(x) * np.log(self.high / self.low))
        return self.high - self.low
