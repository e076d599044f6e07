"""Errors of all relations and works for one set of channels, and for trials in which channels are changed.

Every relation of `relations` is judged by its root mean square over the largest of its terms, every work by its sign
(devices resist and dissipate), and the devices' works against the actuators' at the instant near the end when the
actuators push least, so that little elastic energy is left. All of them are quadratic forms of the channels, so that a
trial costs a few numbers and not a history.
"""

from typing import NamedTuple

import numpy as np

from frame2d.instruments.quantity import spreads
from frame2d.instruments.recording import Readings
from frame2d.instruments.relations import WorkPair, relations, unmeasured, works
from frame2d.instruments.sensor_map import SensorMap

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


class Judge:
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

    def now(self) -> float:
        """The misfit of the channels as they are."""
        return float(self.misfit(np.array([0]), np.array([1.0]))[0])

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
