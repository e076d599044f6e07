"""Which channels are turned round or in another unit: found by trial.

Channels have their sign turned, their unit exchanged, or their values moved by decades, one, then two, then more at a
time (the best of each number are carried on, and both channels of a place turned together); the fewest changes that let
everything close are the faults. Where another channel's change in place of one of them does nearly as well, it is a
rival.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from frame2d.instruments.channel import Channel
from frame2d.instruments.judge import Judge
from frame2d.instruments.scales import units_of
from frame2d.instruments.sensor_map import SensorMap

#: Of two explanations the better one must leave at most this share of the other's misfit to be called certain.
CERTAIN = 0.5
#: Trials that are carried on from one fault to two, and from there on.
MOST_FIRST, CARRIED = 80, 30

#: Channel numbers and the factors of their values.
Changes = tuple[tuple[int, float], ...]


class Suspect(NamedTuple):
    """A channel that explains the failures if its values are multiplied by `factor`; `rivals` do nearly as well."""

    channel: str
    factor: float
    text: str
    misfit_before: float
    misfit_after: float
    rivals: tuple[str, ...]

    @property
    def certain(self) -> bool:
        """No other channel explains it as well."""
        return not self.rivals

    def __str__(self) -> str:
        doubt = f" (or: {', '.join(self.rivals)})" if self.rivals else ""
        return f"channel {self.channel!r} {self.text}{doubt}"


def trials(sensors: SensorMap) -> tuple[np.ndarray, np.ndarray]:
    """Channel numbers and factors to try: sign turned, and every other unit of the same dimension."""
    numbers, factors = [], []
    for i, channel in enumerate(sensors.channels.values()):
        for factor in sorted({-1.0, *exchanges(sensors, channel)}):
            numbers.append(i)
            factors.append(factor)
    return np.array(numbers), np.array(factors)


def exchanges(sensors: SensorMap, channel: Channel) -> dict[float, str]:
    """Factors by which values would change if the readings were in another unit, with that unit."""
    place = sensors.places[channel.place]
    own = abs(channel.factor(place)) / channel.gain
    found: dict[float, str] = {}
    for unit, factor in units_of(channel.dimension(place)).items():
        ratio = float(f"{factor / own:.9g}")
        if ratio != 1.0 and ratio not in found:
            found[ratio] = unit
    for decade in (1e-3, 1e-2, 0.1, 10.0, 100.0, 1e3):
        found.setdefault(decade, f"{decade:g} {channel.unit}")
    return found


def pairs_of(sensors: SensorMap) -> list[Changes]:
    """Two channels of one place, both turned."""
    found: list[Changes] = []
    channels = list(sensors.channels.values())
    for i, one in enumerate(channels):
        for j in range(i + 1, len(channels)):
            if channels[j].place == one.place:
                found.append(((i, -1.0), (j, -1.0)))
    return found


def fewest(
    judged: Callable[[Changes], Judge],
    numbers: np.ndarray,
    factors: np.ndarray,
    most: int,
    pairs: Sequence[Changes] = (),
) -> Changes:
    """The fewest changes that close everything; else the best ones, as long as each takes half of the misfit away."""
    beam: list[Changes] = [()]
    best: Changes = ()
    score = judged(()).now()
    for count in range(1, most + 1):
        scored: dict[Changes, float] = {}
        if count == 2:
            scored = {pair: judged(pair).now() for pair in pairs}
        for state in beam:
            after = judged(state).misfit(numbers, factors)
            taken = [number for number, _ in state]
            # Of every channel the turned sign and the best unit: which of several faults hides the others is not known.
            order = []
            for number in np.unique(numbers):
                if number not in taken:
                    own = np.flatnonzero(numbers == number)
                    order += [int(own[np.argmin(after[own])]), int(own[factors[own] == -1.0][0])]
            for k in order:
                new = tuple(sorted((*state, (int(numbers[k]), float(factors[k])))))
                scored[new] = float(after[k])
        beam = sorted(scored, key=lambda state: scored[state])[: CARRIED if count > 1 else MOST_FIRST]
        if not beam:
            break
        if all(check.passed for check in judged(beam[0]).checks()):
            return beam[0]
        if scored[beam[0]] <= CERTAIN ** (len(beam[0]) - len(best)) * score:
            best, score = beam[0], scored[beam[0]]
    return best


def suspect_of(
    sensors: SensorMap,
    judged: Callable[[Changes], Judge],
    change: tuple[int, float],
    found: Changes,
    numbers: np.ndarray,
    factors: np.ndarray,
) -> Suspect:
    """What is known of one of the changes, with the others made."""
    number, factor = change
    judge = judged(tuple(other for other in found if other != change))
    channel = list(sensors.channels.values())[number]
    before, after = judge.now(), judge.misfit(numbers, factors)
    own = float(judge.misfit(np.array([number]), np.array([factor]))[0])
    rivals = tuple(
        name
        for i, name in enumerate(judge.names)
        if i != number and own > CERTAIN * float(after[numbers == i].min())
    )
    if factor == -1.0:
        text = f"reads as if its sign were {-channel.sign:+d}, declared {channel.sign:+d}"
    else:
        text = f"reads as if it were in {exchanges(sensors, channel)[factor]}, declared {channel.unit}"
    return Suspect(channel.name, factor, text, before, own, rivals)
