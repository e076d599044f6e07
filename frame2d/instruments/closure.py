"""Do the channels agree with statics, kinematics and energy; and if not, which one is turned round or in another unit?

Every relation of `relations` is checked by its root mean square over the largest of its terms, every work by its sign
(devices resist and dissipate), and the devices' works against the actuators' at the instant near the end when the actuators push
least, so that little elastic energy is left. Bound: 5 % (common practice, no source) and three standard deviations.

A fault is named by trial: channels with their sign turned, their unit exchanged, or off by decades, one, then two, then
more at a time (the best of each number are carried on, and both channels of a place turned together); the fewest changes that let everything close are the
faults. Where another channel's change in place of one of them does nearly as well, it is named as a rival. A channel
whose size is below the bound in all of its relations cannot be judged; `Closure.unseen` says so.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from frame2d.errors import within
from frame2d.instruments.channel import Channel
from frame2d.instruments.quantity import spreads
from frame2d.instruments.recording import Readings
from frame2d.instruments.relations import Relation, WorkPair, relations, unmeasured, works
from frame2d.instruments.scales import units_of
from frame2d.instruments.sensor_map import SensorMap

#: Of two explanations the better one must leave at most this share of the other's misfit to be called certain.
CERTAIN = 0.5
#: Trials that are carried on from one fault to two, and from there on.
MOST_FIRST, CARRIED = 80, 30
#: A relation that is violated altogether does not outweigh all others.
WORST = 3.0


class Check(NamedTuple):
    """One relation: its error over its scale, the bound of that, and whether it stays within."""

    name: str
    says: str
    error: float
    bound: float
    passed: bool
    channels: tuple[str, ...]

    def __str__(self) -> str:
        mark = "closes" if self.passed else "FAILS"
        return f"{mark}: {self.name}: {self.says}; off by {100 * self.error:.2g} % (bound {100 * self.bound:.2g} %)"


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


@dataclass(frozen=True)
class Closure:
    """Checks as measured, suspects in the order of their discovery, and the checks that remain after mending them."""

    checks: tuple[Check, ...]
    suspects: tuple[Suspect, ...]
    mended: tuple[Check, ...] = field(repr=False)
    #: Channels in no relation that is large enough to judge them.
    unseen: tuple[str, ...] = ()
    #: Devices without measured work: where there are any, energy is not checked.
    unmeasured: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Everything that could be checked closes."""
        return all(check.passed for check in self.checks)

    def __str__(self) -> str:
        rows = [str(check) for check in self.checks] + [f"suspect: {suspect}" for suspect in self.suspects]
        if self.unseen:
            rows.append(f"not judged by any relation: {', '.join(self.unseen)}")
        if self.unmeasured:
            rows.append(f"energy is not checked, as no place measures {', '.join(self.unmeasured)}")
        return "\n".join(rows)


class _Forms(NamedTuple):
    """Quadratic forms of the channels; with channel i times φ each is A + (φ − 1)·B_i + (φ − 1)²·C_i."""

    A: np.ndarray
    B: np.ndarray
    C: np.ndarray

    def at(self, channel: np.ndarray, factor: np.ndarray) -> np.ndarray:
        """Values (forms, trials) with one channel changed in each trial."""
        grown = factor - 1.0
        return np.asarray(self.A[:, None] + grown * self.B[:, channel] + grown**2 * self.C[:, channel])


def _forms(left: np.ndarray, right: np.ndarray, G: np.ndarray) -> _Forms:
    """Forms left·G·right, row by row."""
    Gr, Gl = right @ G.T, left @ G
    return _Forms((left * Gr).sum(axis=1), left * Gr + Gl * right, left * right * np.diag(G))


class _Judge:
    """Everything about one set of channels that trials need."""

    def __init__(self, sensors: SensorMap, measured: Readings, values: np.ndarray, tolerance: float) -> None:
        self.names = list(sensors.channels)
        self.tolerance = tolerance
        spread = spreads(sensors)
        self.spread = np.array([np.hypot(spread[n].random, spread[n].steady) for n in self.names])
        gains = np.array([spread[n].gain for n in self.names])
        self.relations = relations(sensors)
        self.devices, self.actuators = works(sensors)
        self.unmeasured = tuple(unmeasured(sensors))
        rms = np.sqrt(np.mean(values**2, axis=0))
        rows: list[np.ndarray] = []
        self.groups: list[tuple[int, int]] = []
        for relation in self.relations:
            first = len(rows)
            rows += [self._row(relation.weights), *(self._row(term) for term in relation.terms)]
            self.groups.append((first, len(rows)))
        table = np.array(rows).reshape(-1, len(self.names))
        self.table = table
        self.linear = _forms(table, table, values.T @ values / len(values))
        whole = table[[first for first, _ in self.groups]] if self.groups else table
        self.sigma = np.sqrt((whole**2) @ (self.spread**2 + (gains * rms) ** 2))
        pairs = [*self.devices, *self.actuators]
        force = np.array([self._row(pair.force) for pair in pairs]).reshape(-1, len(self.names))
        moved = np.array([self._row(pair.deformation) for pair in pairs]).reshape(-1, len(self.names))
        self.pair_rows = force, moved
        end = self._calm(values, force[len(self.devices) :])
        part = values[: end + 1]
        H = (0.5 * (part[1:] + part[:-1])).T @ np.diff(part, axis=0)
        self.work = _forms(force, moved, H)
        self.worth = self._dissipative(part, force, moved)
        centred = values - values.mean(axis=0)
        self.together = _forms(force, moved, centred.T @ centred)
        F, u = centred @ force.T, centred @ moved.T
        size = np.sqrt((F**2).sum(axis=0) * (u**2).sum(axis=0))
        self.related = np.abs(self.together.A) > 0.33 * np.maximum(size, 1e-300)

    def _row(self, weights: dict[str, float]) -> np.ndarray:
        return np.array([weights.get(name, 0.0) for name in self.names])

    def _calm(self, values: np.ndarray, forces: np.ndarray) -> int:
        """Sample of the last third at which the actuators push least."""
        last = len(values) - 1
        if not len(forces):
            return last
        pushed = values @ forces.T
        pushed = pushed / np.maximum(np.abs(pushed).max(axis=0), 1e-300)
        begin = (2 * last) // 3
        return begin + int(np.argmin((pushed[begin:] ** 2).sum(axis=1)))

    def _dissipative(self, values: np.ndarray, force: np.ndarray, moved: np.ndarray) -> np.ndarray:
        """Pairs whose work at the end is clearly more than elastic: a third of its range or more."""
        F, u = values @ force.T, values @ moved.T
        path = np.vstack(
            [np.zeros(F.shape[1]), np.cumsum(0.5 * (F[1:] + F[:-1]) * np.diff(u, axis=0), axis=0)]
        )
        return np.asarray(np.abs(path[-1]) > 0.33 * np.maximum(np.ptp(path, axis=0), 1e-300))

    def errors(self, channel: np.ndarray, factor: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Errors over scale, and their bounds, (checks, trials): relations, then signs of works, then energy."""
        sizes = np.sqrt(np.maximum(self.linear.at(channel, factor), 0.0))
        rows: list[np.ndarray] = []
        bounds: list[np.ndarray] = []
        for k, (first, last) in enumerate(self.groups):
            scale = np.maximum(sizes[first + 1 : last].max(axis=0), 1e-300)
            noise = 3.0 * self.sigma[k] / scale
            rows.append(sizes[first] / scale)
            bounds.append(self.tolerance + noise)
        work = self.work.at(channel, factor)
        together = self.together.at(channel, factor)
        for k in range(len(work)):
            opposed = (work[k] < 0.0) & self.worth[k] | (together[k] < 0.0) & self.related[k]
            rows.append(np.where(opposed, 1.0, 0.0))
            bounds.append(np.full(factor.size, self.tolerance))
        if self.energy:
            done, given = work[: len(self.devices)], work[len(self.devices) :].sum(axis=0)
            scale = np.maximum(np.maximum(np.abs(done).sum(axis=0), np.abs(given)), 1e-300)
            rows.append(np.abs(done.sum(axis=0) - given) / scale)
            bounds.append(np.full(factor.size, self.tolerance))
        shape = (-1, factor.size)
        return np.array(rows).reshape(shape), np.array(bounds).reshape(shape)

    @property
    def energy(self) -> bool:
        """Whether all works are measured."""
        return bool(self.devices and self.actuators and not self.unmeasured)

    def misfit(self, channel: np.ndarray, factor: np.ndarray) -> np.ndarray:
        """Sum over the checks of the squared error over its bound, (trials,)."""
        error, bound = self.errors(channel, factor)
        judged = bound < 1.0
        return np.asarray(np.where(judged, (np.minimum(error, WORST) / bound) ** 2, 1.0).sum(axis=0))

    def checks(self) -> list[Check]:
        """As the channels are."""
        error, bound = (a[:, 0] for a in self.errors(np.array([0]), np.array([1.0])))
        found = []
        for k, relation in enumerate(self.relations):
            found.append(self._check(relation.name, relation.says, error[k], bound[k], relation.weights))
        at = len(self.relations)
        for k, pair in enumerate([*self.devices, *self.actuators]):
            kind = "actuator" if k >= len(self.devices) else "device"
            says = f"force and deformation of the {kind} go together, its work is positive"
            found.append(self._check(f"work of {pair.name}", says, error[at + k], bound[at + k], _both(pair)))
        if self.energy:
            involved: dict[str, float] = {}
            for pair in (*self.devices, *self.actuators):
                involved |= _both(pair)
            says = "works of the devices add up to that of the actuators"
            found.append(self._check("energy", says, error[-1], bound[-1], involved))
        return found

    def _check(self, name: str, says: str, error: float, bound: float, weights: dict[str, float]) -> Check:
        if bound >= 1.0:
            says += " (too small to judge)"
        return Check(
            name, says, float(error), float(bound), bool(error <= bound or bound >= 1.0), tuple(weights)
        )

    def unseen(self) -> tuple[str, ...]:
        """Channels whose turning or loss moves no check beyond its bound."""
        hidden = []
        base, bound = self.errors(np.array([0]), np.array([1.0]))
        for i, name in enumerate(self.names):
            turned, wide = self.errors(np.array([i, i]), np.array([-1.0, 1e-3]))
            moved = np.abs(turned - base) > np.minimum(wide, bound)
            if not (moved & (wide < 1.0)).any():
                hidden.append(name)
        return tuple(hidden)


def _both(pair: WorkPair) -> dict[str, float]:
    return {**pair.force, **pair.deformation}


def _trials(sensors: SensorMap) -> tuple[np.ndarray, np.ndarray]:
    """Channel numbers and factors to try: sign turned, and every other unit of the same dimension."""
    numbers, factors = [], []
    for i, channel in enumerate(sensors.channels.values()):
        for factor in sorted({-1.0, *_exchanges(sensors, channel)}):
            numbers.append(i)
            factors.append(factor)
    return np.array(numbers), np.array(factors)


def _exchanges(sensors: SensorMap, channel: Channel) -> dict[float, str]:
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


def check_closure(
    sensors: SensorMap, measured: Readings, *, tolerance: float = 0.05, most: int = 4
) -> Closure:
    """Check all relations within `tolerance` and name up to `most` channels of wrong sign or unit.

    Best on a part of the test in which all devices have yielded and returned. Nothing is changed in `measured`.
    """
    within("tolerance", tolerance, 0.0, 0.5, open_low=True)
    values = np.column_stack([measured[name] for name in sensors.channels])
    judge = _Judge(sensors, measured, values, tolerance)
    first = judge.checks()
    unseen, open_works = judge.unseen(), judge.unmeasured
    numbers, factors = _trials(sensors)

    def judged(changes: Changes) -> _Judge:
        changed = values.copy()
        for number, factor in changes:
            changed[:, number] *= factor
        return _Judge(sensors, measured, changed, tolerance)

    found: Changes = ()
    if not all(check.passed for check in first):
        found = _fewest(judged, numbers, factors, most, _pairs(sensors))
    suspects = tuple(_suspect(sensors, judged, change, found, numbers, factors) for change in found)
    mended = tuple(judged(found).checks())
    return Closure(tuple(first), suspects, mended, unseen, open_works)


Changes = tuple[tuple[int, float], ...]


def _now(judge: _Judge) -> float:
    return float(judge.misfit(np.array([0]), np.array([1.0]))[0])


def _pairs(sensors: SensorMap) -> list[Changes]:
    """Two channels of one place, both turned."""
    found: list[Changes] = []
    channels = list(sensors.channels.values())
    for i, one in enumerate(channels):
        for j in range(i + 1, len(channels)):
            if channels[j].place == one.place:
                found.append(((i, -1.0), (j, -1.0)))
    return found


def _fewest(
    judged: Callable[[Changes], _Judge],
    numbers: np.ndarray,
    factors: np.ndarray,
    most: int,
    pairs: Sequence[Changes] = (),
) -> Changes:
    """The fewest changes that close everything; else the best ones, as long as each takes half of the misfit away."""
    beam: list[Changes] = [()]
    best: Changes = ()
    score = _now(judged(()))
    for count in range(1, most + 1):
        scored: dict[Changes, float] = {}
        if count == 2:
            scored = {pair: _now(judged(pair)) for pair in pairs}
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


def _suspect(
    sensors: SensorMap,
    judged: Callable[[Changes], _Judge],
    change: tuple[int, float],
    found: Changes,
    numbers: np.ndarray,
    factors: np.ndarray,
) -> Suspect:
    """What is known of one of the changes, with the others made."""
    number, factor = change
    judge = judged(tuple(other for other in found if other != change))
    channel = list(sensors.channels.values())[number]
    before, after = _now(judge), judge.misfit(numbers, factors)
    own = float(judge.misfit(np.array([number]), np.array([factor]))[0])
    rivals = tuple(
        name
        for i, name in enumerate(judge.names)
        if i != number and own > CERTAIN * float(after[numbers == i].min())
    )
    if factor == -1.0:
        text = f"reads as if its sign were {-channel.sign:+d}, declared {channel.sign:+d}"
    else:
        text = f"reads as if it were in {_exchanges(sensors, channel)[factor]}, declared {channel.unit}"
    return Suspect(channel.name, factor, text, before, own, rivals)


def report(checks: Sequence[Check]) -> str:
    """Checks as text, the worst first."""
    return "\n".join(str(check) for check in sorted(checks, key=lambda check: -check.error / check.bound))


__all__ = ["Check", "Closure", "Relation", "Suspect", "check_closure", "report"]
