"""Quantities with their uncertainty: weights of `derive` applied to measured channels, propagated to first order.

A quantity is q = Σ w·c, so first order is exact in the channels: with σ_r the noise and rounding of a sample, σ_z that of
the zero, γ the relative error of the gain, and τ the lag of a clock,

    σ² = Σ w²(σ_r² + σ_z²) + Σ (w·γ·c)² + Σ_clocks (σ_τ·Σ w·dc/dt)² + (σ_model·q)²

(JCGM 100:2008, 5.1). Works ∫M dθ follow by the same rule, noise independent from sample to sample, the rest common.
"""

from dataclasses import dataclass, field

import numpy as np

from frame2d.compare import on_times
from frame2d.errors import InputError, known
from frame2d.instruments.derived import Derived, derive
from frame2d.instruments.places import Section
from frame2d.instruments.recording import Readings
from frame2d.instruments.sensor_map import SensorMap

#: Where uncertainty comes from.
SOURCES = ("noise and rounding", "zero", "gain", "clock", "stiffness")


@dataclass(frozen=True)
class Quantity:
    """History `value` with standard deviation `sigma` at `time` (s); `valid` is false where its sections left 0.9 fy/E."""

    name: str
    unit: str
    time: np.ndarray = field(repr=False)
    value: np.ndarray = field(repr=False)
    sigma: np.ndarray = field(repr=False)
    valid: np.ndarray = field(repr=False)
    formula: str = ""
    #: Noise of an extrapolated moment over that of one section, √((1 − r)² + r²).
    amplification: float | None = None
    weights: dict[str, float] = field(default_factory=dict, repr=False)

    def __str__(self) -> str:
        size = float(np.abs(self.value).max())
        text = f"{self.name}: up to {size:.4g} {self.unit}, σ up to {float(self.sigma.max()):.2g}"
        if self.amplification is not None:
            text += f", noise × {self.amplification:.2f}"
        lost = float(np.mean(~self.valid))
        return text + (f", {100.0 * lost:.1f} % of it beyond the elastic strain" if lost else "")


@dataclass(frozen=True)
class Spread:
    """Standard deviations of one channel in SI: each sample's, the zero's, and the relative one of the gain."""

    random: float
    steady: float
    gain: float


def spreads(sensors: SensorMap) -> dict[str, Spread]:
    """Standard deviations by channel."""
    return {
        name: Spread(
            channel.random(sensors.places[channel.place]),
            channel.steady(sensors.places[channel.place]),
            channel.gain_error,
        )
        for name, channel in sensors.channels.items()
    }


def reduce(sensors: SensorMap, readings: Readings, names: list[str] | None = None) -> dict[str, Quantity]:
    """Quantities of a map (all, or those named) from measured channels, with uncertainty and validity."""
    table = derive(sensors)
    chosen = list(table) if names is None else [known("quantity", name, table) for name in names]
    known_spread = spreads(sensors)
    elastic = {place.name: _elastic(sensors, place, readings) for place in sensors.places.values()
               if isinstance(place, Section)}  # fmt: skip
    return {name: _quantity(sensors, table[name], readings, known_spread, elastic) for name in chosen}


def _elastic(sensors: SensorMap, place: Section, readings: Readings) -> np.ndarray:
    pair = [channel.name for channel in sensors.channels.values() if channel.place == place.name]
    largest = np.max([np.abs(readings[name]) for name in pair], axis=0)
    return np.asarray(largest < place.elastic_strain)


def _variances(
    sensors: SensorMap, row: Derived, readings: Readings, spread: dict[str, Spread]
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Value, and variance by source, at each sample."""
    value = np.zeros(readings.time.size)
    parts = {source: np.zeros(readings.time.size) for source in SOURCES}
    rates: dict[str, np.ndarray] = {}
    for name, weight in row.weights.items():
        column, own = readings[name], spread[name]
        value += weight * column
        parts["noise and rounding"] += (weight * own.random) ** 2
        parts["zero"] += (weight * own.steady) ** 2
        parts["gain"] += (weight * own.gain * column) ** 2
        clock = sensors.channels[name].clock
        if readings.lags.get(clock, (0.0, 0.0))[1] > 0.0:
            rate = weight * np.gradient(column, readings.time)
            rates[clock] = rates.get(clock, 0.0) + rate
    for clock, rate in rates.items():
        parts["clock"] += (readings.lags[clock][1] * rate) ** 2
    parts["stiffness"] += (row.model_error * value) ** 2
    return value, parts


def budget(
    sensors: SensorMap, readings: Readings, names: list[str] | None = None
) -> dict[str, dict[str, float]]:
    """Standard deviation of each quantity by source, root mean square over the samples, in the quantity's unit.

    Sources: "noise and rounding", "zero", "gain", "clock", "stiffness"; their squares add up to that of "all".
    """
    table = derive(sensors)
    chosen = list(table) if names is None else [known("quantity", name, table) for name in names]
    spread = spreads(sensors)
    found = {}
    for name in chosen:
        _, parts = _variances(sensors, table[name], readings, spread)
        mean = {source: float(part.mean()) for source, part in parts.items()}
        found[name] = {source: float(np.sqrt(part)) for source, part in mean.items()}
        found[name]["all"] = float(np.sqrt(sum(mean.values())))
    return found


def _quantity(
    sensors: SensorMap,
    row: Derived,
    readings: Readings,
    spread: dict[str, Spread],
    elastic: dict[str, np.ndarray],
) -> Quantity:
    value, parts = _variances(sensors, row, readings, spread)
    sigma = np.sqrt(np.sum(list(parts.values()), axis=0))
    valid = (
        np.all([elastic[s] for s in row.sections], axis=0)
        if row.sections
        else np.ones(value.size, dtype=bool)
    )
    return Quantity(
        row.name, row.unit, readings.time, value, sigma, valid, row.formula, row.amplification, row.weights
    )


def work_of(
    sensors: SensorMap, readings: Readings, force: Quantity, deformation: Quantity, name: str = ""
) -> Quantity:
    """Work ∫F du (J) up to each sample by the trapezoidal rule, with its uncertainty; noise has no part in its mean
    where force and deformation share no channel."""
    F, u = force.value, deformation.value
    if F.shape != u.shape:
        raise InputError(
            f"{force.name} has {F.size} samples, {deformation.name} {u.size}; allowed: equal times"
        )
    mean, moved = 0.5 * (F[1:] + F[:-1]), np.diff(u)
    value = np.concatenate([[0.0], np.cumsum(mean * moved)])
    centred_u = np.zeros(F.size)
    centred_u[1:] += 0.5 * moved
    centred_u[:-1] += 0.5 * moved
    centred_F = np.zeros(F.size)
    centred_F[1:] += 0.5 * np.diff(F)
    centred_F[:-1] += 0.5 * np.diff(F)
    spread = spreads(sensors)
    variance = np.zeros(F.size)
    for channel in {*force.weights, *deformation.weights}:
        wf, wu = force.weights.get(channel, 0.0), deformation.weights.get(channel, 0.0)
        own, c = spread[channel], readings[channel]
        # ∂W/∂c of one sample: wf·Δu − wu·ΔF (both centred); of the zero: wf·(u − u₀), as the end terms of u cancel.
        single = np.cumsum((wf * centred_u - wu * centred_F) ** 2)
        variance += own.random**2 * single
        variance += (own.steady * wf * (u - u[0])) ** 2
        step = np.diff(c)
        gained = wf * 0.5 * (c[1:] + c[:-1]) * moved + wu * mean * step
        variance += (own.gain * np.concatenate([[0.0], np.cumsum(gained)])) ** 2
    return Quantity(
        name or f"work of {force.name.removesuffix(' moment').removesuffix(' force')}", "J", readings.time, value,
        np.sqrt(variance), force.valid & deformation.valid, "∫F du", None, {},
    )  # fmt: skip


def coverage(quantity: Quantity, time: np.ndarray, truth: np.ndarray, within: float = 2.0) -> float:
    """Share of samples at which the truth (at `time`, s) lies within so many standard deviations of the quantity."""
    true = on_times(quantity.time, time, truth)
    return float(np.mean(np.abs(quantity.value - true) <= within * quantity.sigma))
