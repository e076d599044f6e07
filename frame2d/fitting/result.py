"""What a fit gives back: the law, its parameters with intervals, its errors, and what it could not determine."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from frame2d.fitting.intervals import Uncertainty
from frame2d.fitting.measured import AnyTest, simulation_of, target_of
from frame2d.fitting.noise import Noise
from frame2d.fitting.scores import Errors
from frame2d.materials.law import Law


@dataclass(frozen=True)
class Parameter:
    """One number of the law with its interval at the `level` of the fit, bounds and the bounds' source.

    `status` is "fitted", "at a bound" (the interval ends there), "not determined" (the interval covers more
    than half of the range), "fixed" or "tied" with `rule`; the last two have no interval.
    """

    name: str
    value: float
    low: float | None = None
    high: float | None = None
    bounds: tuple[float, float] | None = None
    status: str = "fitted"
    interval: str = ""
    source: str = ""
    rule: str = ""


@dataclass(frozen=True)
class Fit:
    """Law fitted to tests, ready to be used, shown (`frame2d.show.fit_plots`) or saved (`save_card`)."""

    law: Law
    form: str
    parameters: tuple[Parameter, ...]
    correlation: np.ndarray = field(repr=False)
    uncertainty: Uncertainty = field(repr=False)
    noise: tuple[Noise, ...]
    errors: tuple[Errors, ...]
    held_back: tuple[Errors, ...]
    tests: tuple[AnyTest, ...] = field(repr=False)
    held_back_tests: tuple[AnyTest, ...] = field(repr=False)
    score: float
    level: float
    seed: int
    evaluations: int
    estimator: str
    settings: dict[str, Any] = field(repr=False, default_factory=dict)
    interrupted: bool = False
    #: Groups of the law's parameters of which none was searched.
    unused: tuple[str, ...] = ()

    @property
    def fitted(self) -> tuple[Parameter, ...]:
        """The parameters that were searched, in the order of `correlation`."""
        return tuple(p for p in self.parameters if p.bounds is not None)

    def __getitem__(self, name: str) -> Parameter:
        return next(p for p in self.parameters if p.name == name)

    @property
    def accepted(self) -> bool:
        """Whether every test, fitted or held back, is within the bounds of acceptance."""
        return all(errors.accepted for errors in (*self.errors, *self.held_back))

    def force(self, test: AnyTest) -> np.ndarray:
        """Force of the law under the deformations of a test (of a vibration test: the displacement)."""
        return simulation_of(test).outputs([self.law])[0]

    def check(self, test: AnyTest) -> Errors:
        """Errors of the law on a test that it was not fitted to."""
        return errors_of(self.law, test)

    def correlated(self, least: float = 0.9) -> tuple[tuple[str, str, float], ...]:
        """Pairs of parameters whose estimates are correlated by at least this much, strongest first."""
        names = [p.name for p in self.fitted]
        found = [
            (names[i], names[j], float(self.correlation[i, j]))
            for i in range(len(names))
            for j in range(i)
            if abs(self.correlation[i, j]) >= least
        ]
        return tuple(sorted(found, key=lambda pair: -abs(pair[2])))

    def __str__(self) -> str:
        rows = [f"{self.form} fitted to {', '.join(test.name for test in self.tests)}"]
        if self.interrupted:
            rows.append("  INTERRUPTED: the best law up to then, not the best there is")
        percent = f"{100 * self.level:g} %"
        rows.append(f"  {'parameter':<28}{'value':>12}  {percent + ' interval':<27}{'bounds':<25}status")
        for p in self.parameters:
            if p.bounds is None:
                rows.append(f"  {p.name:<28}{p.value:>12.5g}  {'':<52}{p.status} {p.rule}".rstrip())
                continue
            interval = f"{p.low:.4g} to {p.high:.4g}"
            bounds = f"{p.bounds[0]:.4g} to {p.bounds[1]:.4g}"
            rows.append(
                f"  {p.name:<28}{p.value:>12.5g}  {interval:<27}{bounds:<25}{p.status} ({p.interval})"
            )
        rows.append(f"  intervals: {self.estimator}")
        rows += [f"  noise of {each}" for each in self.noise]
        if self.unused and not all(each.white for each in self.noise):
            rows.append(
                f"  perhaps free={list(self.unused)!r}: groups of this law's parameters not searched yet"
            )
        for pair in self.correlated()[:6]:
            rows.append(f"  correlated: {pair[0]} and {pair[1]}, {pair[2]:+.3f}")
        rows += [f"  not determined: {direction}" for direction in self.uncertainty.directions]
        rows += [f"  fitted    {errors}" for errors in self.errors]
        rows += [f"  held back {errors}" for errors in self.held_back]
        return "\n".join(rows)


def errors_of(law: Law, test: AnyTest) -> Errors:
    """Errors of any law on a test: force, energy, peaks, and whether they are accepted."""
    return target_of(test).errors(simulation_of(test).outputs([law])[0])
