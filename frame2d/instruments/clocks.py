"""Loggers with clocks and rates of their own brought onto common times: lag by correlation, then resampling.

Two channels that see the same motion, one on each clock, give the lag; everything of that clock is then shifted.
"""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from frame2d.compare import Delay, correlation_delay, on_times
from frame2d.errors import InputError, known, positive
from frame2d.instruments.findings import Finding, check_times, find
from frame2d.instruments.recording import Readings, Recording
from frame2d.instruments.sensor_map import SensorMap


class Lag(NamedTuple):
    """Lag (s) of a clock behind the main one, its standard deviation (s), and the correlation that was reached."""

    lag: float
    sigma: float
    correlation: float


def synchronise(
    sensors: SensorMap,
    recordings: Sequence[Recording],
    *,
    same: Mapping[str, tuple[str, str]] | None = None,
    dt: float | None = None,
    longest_lag: float = 5.0,
    longest_gap: float = 0.0,
    shortest_flat: float | None = None,
    rate: bool = False,
) -> Readings:
    """All channels in SI at the step `dt` (the main clock's, unless given), over the time that all clocks share.

    `same` gives for each further clock a channel on it and one on the first recording's clock that see the same
    motion; their correlation gives the lag (its sign may differ). With `rate` the lag may also grow linearly (a clock
    that runs fast), found from halves of the record. Gaps up to `longest_gap` (s) are bridged by straight lines, longer
    ones and those at the ends raise `InputError`. Where a channel has a finer step than `dt`, it is averaged over `dt`
    before it is read. Raw recordings are kept, everything found or done is written down.
    """
    if not recordings:
        raise InputError("there are no recordings; allowed: one or more")
    table = {recording.clock: recording for recording in recordings}
    if len(table) < len(recordings):
        raise InputError(
            f"clocks {[r.clock for r in recordings]} are not different; allowed: one recording each"
        )
    _check_columns(sensors, recordings)
    findings: list[Finding] = []
    log: list[str] = []
    clean: dict[str, tuple[np.ndarray, dict[str, np.ndarray]]] = {}
    for recording in recordings:
        found = look_at(recording, shortest_flat)
        findings += found
        clean[recording.clock] = _bridged(sensors, recording, longest_gap, log)
    main = recordings[0].clock
    lags: dict[str, tuple[float, float]] = {main: (0.0, 0.0)}
    for clock in list(table)[1:]:
        pair = (same or {}).get(clock)
        if pair is None:
            raise InputError(
                f"clock {clock!r} has no channel in common with {main!r}; allowed: same={{{clock!r}: (its channel, a "
                "channel of the first recording that sees the same motion)}"
            )
        known(f"same[{clock!r}][0]", pair[0], clean[clock][1])
        known(f"same[{clock!r}][1]", pair[1], clean[main][1])
        time, columns = clean[clock]
        lag, drift = _lag(clean[main][0], clean[main][1][pair[1]], time, columns[pair[0]], longest_lag, rate)
        lags[clock] = (lag.lag, lag.sigma)
        clean[clock] = (time - lag.lag - drift * (time - time[0]), columns)
        text = f"clock {clock}: {lag.lag * 1e3:.3f} ms behind {main}, by {pair[0]} and {pair[1]}, correlation {lag.correlation:.4f}"
        log.append(text + (f", running {drift * 1e6:+.1f} ppm" if rate else ""))
    begin = max(float(time[0]) for time, _ in clean.values())
    end = min(float(time[-1]) for time, _ in clean.values())
    step = positive("dt", dt) if dt is not None else float(np.median(np.diff(clean[main][0])))
    if end - begin < step:
        raise InputError(
            f"the clocks share no time: from {begin:g} to {end:g} s. Likely mistake: dates in seconds"
        )
    # The main clock's own samples stay where they are.
    common = begin + step * np.arange(math.floor((end - begin) / step * (1.0 + 1e-12)) + 1)
    if dt is None:
        own = clean[main][0]
        common = own[(own >= begin - 1e-12) & (own <= end + 1e-12)]
    values = {}
    for clock, (time, columns) in clean.items():
        usual = float(np.median(np.diff(time)))
        for name, column in columns.items():
            read = column if step <= 1.5 * usual else _averaged(time, column, step)
            values[name] = on_times(common, time, read)
        if step > 1.5 * usual:
            log.append(f"clock {clock}: averaged over {step:g} s before it was read every {step:g} s")
    ordered = {name: values[name] for name in sensors.channels if name in values}
    return Readings(common, ordered, tuple(recordings), lags, tuple(findings), tuple(log))


def look_at(recording: Recording, shortest_flat: float | None = None) -> list[Finding]:
    """Everything found in one recording; flat lines count from `shortest_flat` (s), 20 samples unless given."""
    found = check_times(recording.clock, recording.time)
    step = np.diff(recording.time)
    usual = float(np.median(step[step > 0.0])) if np.any(step > 0.0) else 1.0
    moving = max(recording.columns.values(), key=lambda c: _busy(c), default=None)
    for name, column in recording.columns.items():
        other = None if moving is column else moving
        found += find(name, recording.time, column, shortest=shortest_flat or 20.0 * usual, reference=other)
    return found


def _busy(column: np.ndarray) -> float:
    """Share of samples that differ from the one before."""
    return float(np.mean(column[1:] != column[:-1]))


def _check_columns(sensors: SensorMap, recordings: Sequence[Recording]) -> None:
    seen: dict[str, str] = {}
    for recording in recordings:
        for name in recording.columns:
            channel = sensors.channels[
                known(f"recording {recording.clock!r}: channel", name, sensors.channels)
            ]
            if channel.clock != recording.clock:
                raise InputError(
                    f"channel {name!r} is on clock {recording.clock!r}; allowed: {channel.clock!r}, as the map has it"
                )
            if name in seen:
                raise InputError(
                    f"channel {name!r} stands in recordings {seen[name]!r} and {recording.clock!r}"
                )
            seen[name] = recording.clock
    missing = [name for name in sensors.channels if name not in seen]
    if missing:
        raise InputError(
            f"channels {', '.join(missing)} of the map are in no recording; allowed: all of them"
        )


def _bridged(
    sensors: SensorMap, recording: Recording, longest: float, log: list[str]
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    time = recording.time
    bad = [f for f in check_times(recording.clock, time) if f.kind != "time gap"]
    if bad:
        raise InputError(f"recording {bad[0]}; allowed: times that grow")
    gaps = [
        f
        for f in check_times(recording.clock, time)
        if f.end - f.begin > longest + 1.5 * np.median(np.diff(time))
    ]
    if gaps:
        raise InputError(f"recording {gaps[0]}; allowed: gaps up to longest_gap = {longest:g} s")
    columns = {}
    for name, raw in recording.columns.items():
        good = np.isfinite(raw)
        if not good.all():
            if not (good[0] and good[-1]):
                raise InputError(
                    f"channel {name!r} has a gap at its start or end; allowed: inner gaps only, or cut it off"
                )
            widest = float(np.diff(time[good]).max() - np.median(np.diff(time)))
            if widest > longest:
                raise InputError(
                    f"channel {name!r} has a gap of {widest:g} s; allowed: up to longest_gap = {longest:g} s, bridged by a line"
                )
            raw = np.interp(time, time[good], raw[good])
            log.append(f"channel {name}: {int((~good).sum())} samples bridged by straight lines")
        channel = sensors.channels[name]
        columns[name] = channel.to_si(raw, sensors.places[channel.place])
    return time, columns


def _lag(
    main_time: np.ndarray, main: np.ndarray, time: np.ndarray, own: np.ndarray, longest: float, rate: bool
) -> tuple[Lag, float]:
    """Lag of `own` at its start behind `main`, and with `rate` its growth (s/s)."""
    whole = _lag_within(main_time, main, time, own, longest, float(time[0]), float(time[-1]))
    if not rate:
        return whole, 0.0
    middle = 0.5 * (time[0] + time[-1])
    parts = [(float(time[0]), middle), (middle, float(time[-1]))]
    found = [_lag_within(main_time, main, time, own, longest, *part) for part in parts]
    centres = [0.5 * (a + b) for a, b in parts]
    drift = (found[1].lag - found[0].lag) / (centres[1] - centres[0])
    start = found[0].lag - drift * (centres[0] - float(time[0]))
    return Lag(start, whole.sigma, whole.correlation), drift


def _lag_within(
    main_time: np.ndarray,
    main: np.ndarray,
    time: np.ndarray,
    own: np.ndarray,
    longest: float,
    a: float,
    b: float,
) -> Lag:
    begin, end = max(main_time[0], time[0], a), min(main_time[-1], time[-1], b)
    # The finer of both steps, so that nothing is lost.
    dt = float(min(np.median(np.diff(main_time)), np.median(np.diff(time))))
    common = begin + dt * np.arange(int((end - begin) / dt) + 1)
    common = common[common <= end]
    if common.size < 16:
        raise InputError(
            f"the clocks share {common.size} samples; allowed: 16 or more. Likely mistake: dates in seconds"
        )
    x, y = on_times(common, main_time, main), on_times(common, time, own)
    found = _best(x, y, dt, min(longest, 0.25 * float(common[-1] - common[0])))
    # Noise of the pair shifts the peak by about σ/rms(ẋ)/√n: the Cramér-Rao bound, Fisher information Σẋ²/σ².
    slope = float(np.sqrt(np.mean(np.gradient(x - x.mean(), dt) ** 2)))
    noise = float(np.std(x)) * math.sqrt(max(1.0 - found.correlation**2, 0.0))
    return Lag(found.delay, noise / slope / math.sqrt(common.size), found.correlation)


def _best(x: np.ndarray, y: np.ndarray, dt: float, longest: float) -> Delay:
    """The delay of better correlation, of y or of −y: a channel wired the wrong way round is not late by half a period."""
    try:
        straight = correlation_delay(x, y, dt, longest=longest)
    except InputError:
        return correlation_delay(x, -y, dt, longest=longest)
    try:
        turned = correlation_delay(x, -y, dt, longest=longest)
    except InputError:
        return straight
    return turned if turned.correlation > straight.correlation + 0.01 else straight


def _averaged(time: np.ndarray, column: np.ndarray, step: float) -> np.ndarray:
    """Mean over `step` around each sample, of the polyline through the samples; shorter at the ends."""
    area = np.concatenate([[0.0], np.cumsum(0.5 * (column[1:] + column[:-1]) * np.diff(time))])
    half = np.minimum(0.5 * step, np.minimum(time - time[0], time[-1] - time))
    whole = _integral(time, column, area, time + half) - _integral(time, column, area, time - half)
    return np.where(half > 0.0, whole / np.maximum(2.0 * half, 1e-300), column)


def _integral(time: np.ndarray, column: np.ndarray, area: np.ndarray, at: np.ndarray) -> np.ndarray:
    k = np.clip(np.searchsorted(time, at, side="right") - 1, 0, time.size - 2)
    into = at - time[k]
    slope = (column[k + 1] - column[k]) / (time[k + 1] - time[k])
    return np.asarray(area[k] + column[k] * into + 0.5 * slope * into**2)
