"""The search space of one fit: free, fixed and tied parameters, and the tests they are judged by."""

import warnings
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np

from frame2d.errors import InputError, finite, known
from frame2d.fitting.forms import Form
from frame2d.fitting.ranges import Bounds
from frame2d.fitting.scales import Scales
from frame2d.fitting.scores import Target, Weights
from frame2d.fitting.ties import Rule, Tie, tie
from frame2d.materials.law import Law


class Simulation(Protocol):
    """What a law is led through."""

    def outputs(self, laws: Sequence[Law]) -> np.ndarray:
        """What would have been measured, one row a law."""


class Problem:
    """Maps coordinates x in [0, 1]ⁿ to laws, and laws to computed tests."""

    def __init__(
        self,
        form: Form,
        free: Sequence[Bounds],
        values: Mapping[str, float],
        ties: Sequence[Tie],
        tests: Sequence[tuple[Simulation, Target]],
        weights: Weights,
    ) -> None:
        self.form, self.free, self.ties, self.tests, self.weights = (
            form,
            tuple(free),
            tuple(ties),
            tests,
            weights,
        )
        self.fixed = {name: value for name, value in values.items() if name not in {b.name for b in free}}
        self.evaluations = 0
        self.best: tuple[float, np.ndarray] = (np.inf, self.coordinates(values))

    @property
    def size(self) -> int:
        """Number of free parameters."""
        return len(self.free)

    @property
    def samples(self) -> int:
        """Number of measured values."""
        return sum(target.force.size for _, target in self.tests)

    def coordinates(self, values: Mapping[str, float]) -> np.ndarray:
        """Coordinates of these values, moved into the bounds."""
        return np.array([min(max(b.coordinate(values[b.name]), 0.0), 1.0) for b in self.free])

    def values(self, x: np.ndarray) -> dict[str, float]:
        """Every parameter of the form at the coordinates x."""
        values = dict(self.fixed)
        for bounds, coordinate in zip(self.free, x, strict=True):
            values[bounds.name] = float(bounds.value(coordinate))
        for each in self.ties:
            values[each.name] = float(each.rule(values))
        return values

    def law(self, x: np.ndarray) -> Law:
        """The law at the coordinates x; raises `InputError` where it does not admit them."""
        return self.form.build(self.values(x))

    def outputs(self, X: np.ndarray) -> list[np.ndarray]:
        """Computed histories of every test, one row a row of X; NaN where there is no law or no answer."""
        laws: list[Law] = []
        rows: list[int] = []
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # said once, for the law that is found
            for i, x in enumerate(X):
                try:
                    laws.append(self.law(x))
                    rows.append(i)
                except (InputError, ZeroDivisionError, OverflowError):
                    continue
        self.evaluations += len(laws)
        found = []
        for simulation, target in self.tests:
            computed = np.full((len(X), target.force.size), np.nan)
            if laws:
                computed[rows] = simulation.outputs(laws)
            found.append(computed)
        return found

    def scores(self, X: np.ndarray) -> np.ndarray:
        """What the global search minimises, row by row; the best so far is kept."""
        total = np.zeros(len(X))
        for (_, target), computed in zip(self.tests, self.outputs(X), strict=True):
            total += target.scores(computed, self.weights)
        total /= len(self.tests)
        at = int(np.argmin(total))
        if total[at] < self.best[0]:
            self.best = float(total[at]), np.array(X[at])
        return total


def space(
    form: Form,
    start: Mapping[str, float],
    scales: Scales,
    free: Any,
    fixed: Mapping[str, float],
    tied: Mapping[str, Rule],
    bounds: Mapping[str, tuple[float, float]],
) -> tuple[list[Bounds], dict[str, float], list[Tie]]:
    """Bounds of the free parameters, values of all, and the ties; raises `InputError` for unknown names."""
    ranges = {r.name: r for r in form.ranges}
    groups = {r.group for r in form.ranges if r.group}
    for what, names in (("fixed", fixed), ("tied", tied), ("bounds", bounds)):
        for name in names:
            known(f"{what} parameter of {form.name}", name, ranges)
    if free is None:
        wanted = {name for name, r in ranges.items() if r.free} | set(bounds)
    elif free == "all":
        wanted = set(ranges)
    else:
        asked = [free] if isinstance(free, str) else list(free)
        wanted = {name for name, r in ranges.items() if r.free} if groups & set(asked) else set()
        for name in asked:
            known(f"free parameter of {form.name}", name, [*ranges, *groups])
            wanted |= {r.name for r in form.ranges if r.group == name} if name in groups else {name}
    if both := set(fixed) & set(tied):
        raise InputError(f"{', '.join(sorted(both))} is fixed and tied; allowed: one of both")
    wanted -= set(fixed) | set(tied)
    if not wanted:
        raise InputError(f"no parameter of {form.name} is free; allowed: one or more of {', '.join(ranges)}")
    values = dict(start) | {name: finite(f"fixed {name}", value) for name, value in fixed.items()}
    limits = []
    for name, r in ranges.items():
        if name not in wanted:
            continue
        if name in bounds:
            low, high = bounds[name]
            limit = Bounds(name, float(low), float(high), r.log and low > 0.0, "given by the user")
        else:
            limit = r.bounds(scales)
        limits.append(limit)
    return limits, values, [tie(name, rule, ranges) for name, rule in tied.items()]
