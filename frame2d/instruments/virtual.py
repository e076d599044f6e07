"""Virtual instruments: what the channels of a map would have recorded of a `Response`, errors included and seeded.

Every channel is read at its logger's own times, with an error of gain and of zero that stays the same through the test,
normal noise in each sample, and rounding to its resolution. All of it is invented, from the map's own declarations.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from frame2d.analysis.response import Response
from frame2d.errors import InputError, known, positive, within
from frame2d.instruments.recording import Recording
from frame2d.instruments.sensor_map import SensorMap
from frame2d.instruments.truth import true_channels


@dataclass(frozen=True)
class Clock:
    """A logger's clock: `rate` (Hz), `lag` (s) that its stamps are late by, `drift` (s/s) that they gain."""

    rate: float
    lag: float = 0.0
    drift: float = 0.0

    def __post_init__(self) -> None:
        positive("Clock.rate", self.rate)
        within("Clock.lag", self.lag, -3600.0, 3600.0)
        within("Clock.drift", self.drift, -0.01, 0.01, hint="in seconds a second: 20 ppm is 2e-5")


def virtual_recordings(
    sensors: SensorMap,
    response: Response,
    seed: int,
    clocks: Mapping[str, Clock] | None = None,
    *,
    time: np.ndarray | None = None,
    errors: bool = True,
    given: Mapping[str, np.ndarray] | None = None,
) -> list[Recording]:
    """Recordings of all channels, one for each clock, the main one (or the first) at the front.

    `time` (s by step) replaces that of the response, whose statics count steps. Between steps the truth runs
    straight. Without `clocks` every channel is read at the response's own times. `errors` False leaves gain, zero,
    noise and rounding out, not the clocks. `given` histories by channel (SI, one value a step) stand for what the
    response says, where something else was measured.
    """
    own = np.asarray(response.time if time is None else time, dtype=float)
    if own.shape != response.time.shape or np.any(np.diff(own) <= 0.0):
        raise InputError(
            f"time has {own.size} entries for {response.time.size} steps; allowed: one a step, growing"
        )
    truth = true_channels(sensors, response)
    for name, history in (given or {}).items():
        if np.shape(history) != own.shape:
            raise InputError(
                f"given[{name!r}] has shape {np.shape(history)}; allowed: {own.shape}, one value a step"
            )
        truth[known("given channel", name, truth)] = np.asarray(history, dtype=float)
    names = list(dict.fromkeys(channel.clock for channel in sensors.channels.values()))
    names.sort(key=lambda name: name != "main")
    rng = np.random.default_rng(seed)
    recordings = []
    for name in names:
        if clocks is None:
            true_time = stamps = own
        else:
            clock = clocks[known("clock", name, clocks)]
            count = int((own[-1] - own[0]) * clock.rate * (1.0 + 1e-12)) + 1
            true_time = own[0] + np.arange(count) / clock.rate
            stamps = true_time + clock.lag + clock.drift * (true_time - true_time[0])
        columns, units = {}, {}
        for channel in sensors.channels.values():
            if channel.clock != name:
                continue
            place = sensors.places[channel.place]
            value = np.interp(true_time, own, truth[channel.name])
            if errors:
                value = value / (1.0 + channel.gain_error * rng.standard_normal())
            raw = channel.to_raw(value, place)
            if errors:
                raw = (
                    raw + channel.zero * rng.standard_normal() + channel.noise * rng.standard_normal(raw.size)
                )
                if channel.resolution > 0.0:
                    raw = channel.resolution * np.round(raw / channel.resolution)
            columns[channel.name], units[channel.name] = raw, channel.unit
        recordings.append(Recording(name, stamps.copy(), columns, units, f"virtual, seed {seed}"))
    return recordings
