"""Fit a law to one or several cyclic tests: ranges from the tests, global search, local search, intervals."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from tqdm import tqdm

from frame2d.errors import InputError, known, within
from frame2d.fitting.choose import LawLike, form_of
from frame2d.fitting.forms import Form
from frame2d.fitting.intervals import Uncertainty, uncertainty
from frame2d.fitting.measured import AnyTest, common_scales, simulation_of, target_of
from frame2d.fitting.noise import Noise, noise_of
from frame2d.fitting.problem import Problem, space
from frame2d.fitting.result import Fit, Parameter, errors_of
from frame2d.fitting.scales import Scales
from frame2d.fitting.scores import Weights
from frame2d.fitting.search import Effort, Misfit, distinct, explore, refine, settle
from frame2d.fitting.ties import Rule
from frame2d.materials.law import Law


def fit(
    law: LawLike,
    tests: AnyTest | Sequence[AnyTest],
    *,
    free: Any = None,
    fixed: Mapping[str, float] | None = None,
    tied: Mapping[str, Rule] | None = None,
    bounds: Mapping[str, tuple[float, float]] | None = None,
    held_back: Sequence[AnyTest] = (),
    weights: Weights | None = None,
    estimate: str = "likelihood",
    profile: str = "auto",
    level: float = 0.95,
    effort: Effort | None = None,
    seed: int = 0,
    progress: bool = True,
    options: Mapping[str, Any] | None = None,
) -> Fit:
    """Fit `law` (a name, a class, or an instance to start from) to all `tests` (cyclic or vibration) at once.

    The numbers of an instance are where the search starts (moved into the ranges) and what stays fixed.
    `free`: None for the usual parameters of the law, "all", names (these alone), or groups such as "pinching",
    also with names beside them (added to the usual ones). `fixed` values, `tied` rules ("1 - beta" or a function of the dictionary of parameters) and
    `bounds` (low, high) in SI, by name. `estimate` "likelihood" ends with the maximum likelihood of the force
    under white noise; "weighted" with the least weighted squares of force, energy and peaks, which `weights`
    weigh, and which guide the global search in either case. `profile` "auto" profiles intervals (of the
    likelihood) that are wide, touch a bound or are no parabola's, "all" every one, "none" no one. `options` are
    fields of the law that are not numbers, such as ``{"allow_inadmissible": True}``. Interrupted (Ctrl-C) it
    returns the best law so far, flagged. A search whose result is doubtful (`Effort`) goes on longer.

    Same seed, same result. Raises `InputError` for unknown names and bounds that are none.
    """
    listed = (tests,) if isinstance(tests, AnyTest) else tuple(tests)
    if not listed:
        raise InputError("tests is empty; allowed: one test or several")
    within("level", level, 0.5, 0.9999)
    known("estimate", estimate, ("likelihood", "weighted"))
    known("profile", profile, ("auto", "all", "none"))
    kinds = {test.kind for test in (*listed, *held_back)}
    if len(kinds) > 1:
        raise InputError(f"tests are of {' and '.join(sorted(kinds))}; allowed: one kind in one fit")
    problem = problem_of(
        law, listed, free=free, fixed=fixed, tied=tied, bounds=bounds, weights=weights, options=options
    )
    found = solve(problem, effort or Effort(), seed, progress, estimate == "likelihood", level, profile)
    fitted = problem.law(found.x)
    return Fit(
        law=fitted,
        form=problem.form.name,
        parameters=_parameters(problem, found.x, found.uncertainty),
        correlation=found.uncertainty.correlation,
        uncertainty=found.uncertainty,
        noise=tuple(found.noise),
        errors=tuple(errors_of(fitted, test) for test in listed),
        held_back=tuple(errors_of(fitted, test) for test in held_back),
        tests=listed,
        held_back_tests=tuple(held_back),
        score=float(problem.scores(found.x[None, :])[0]),
        level=level,
        seed=seed,
        evaluations=problem.evaluations,
        estimator=_ESTIMATORS[estimate],
        settings={"weights": vars(problem.weights), "estimate": estimate, "profile": profile},
        unused=_unused(problem),
        interrupted=found.interrupted,
    )


def problem_of(
    law: LawLike,
    tests: Sequence[AnyTest],
    *,
    free: Any = None,
    fixed: Mapping[str, float] | None = None,
    tied: Mapping[str, Rule] | None = None,
    bounds: Mapping[str, tuple[float, float]] | None = None,
    weights: Weights | None = None,
    options: Mapping[str, Any] | None = None,
) -> Problem:
    """What `fit` searches, with its arguments: maps coordinates to laws and scores them."""
    scales = common_scales(tuple(tests))
    form, template = form_of(law, scales, options, bounds)
    start = _start(form, template, scales)
    limits, values, ties = space(form, start, scales, free, fixed or {}, tied or {}, bounds or {})
    pairs = [(simulation_of(test), target_of(test)) for test in tests]
    return Problem(form, limits, _inside(values, limits, template), ties, pairs, weights or Weights())


_ESTIMATORS = {
    "likelihood": "maximum likelihood, white Gaussian noise on the force, its size estimated for each test",
    "weighted": "weighted least squares of force, energy and peaks; sandwich for white noise on the force",
}


class Solution:
    """Optimum in coordinates with its noise and uncertainty."""

    def __init__(self, x: np.ndarray, noise: list[Noise], found: Uncertainty, interrupted: bool) -> None:
        self.x, self.noise, self.uncertainty, self.interrupted = x, noise, found, interrupted


def solve(
    problem: Problem, effort: Effort, seed: int, progress: bool, likelihood: bool, level: float, profile: str
) -> Solution:
    """Global search, local search from its best points, both again where their result is doubtful, then intervals."""
    start = problem.best[1]
    if not np.isfinite(problem.scores(start[None, :])[0]) and effort.generations == 0:
        raise InputError("the law has no answer at the first values; allowed: a start where it has one")
    interrupted = False
    misfit = Misfit(problem, np.array([target.range for _, target in problem.tests]), likelihood)
    rng = np.random.default_rng(seed)
    valleys = Valleys(problem)
    total = effort.generations + 2 * effort.starts + 1
    with tqdm(total=total, desc="fit", unit="step", disable=None if progress else True, leave=False) as bar:
        try:
            for _ in range(1 + effort.again if effort.generations else 1):
                points = explore(problem, start, effort, rng, bar) if effort.generations else start[None, :]
                bar.update(max(effort.generations - bar.n, 0))
                descend(misfit, distinct(points, effort.starts * max(effort.doubt, 1)), effort, valleys, bar)
                if not valleys.doubtful:
                    break
            finish(misfit, effort, valleys)
        except KeyboardInterrupt:
            interrupted = True
        x = valleys.x
        noise = _noise(problem, x)
        return Solution(x, noise, uncertainty(problem, x, noise, level, likelihood, profile), interrupted)


class Valleys:
    """Local minima met so far; `x` is the best, or the best point of the global search before the first."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.costs: list[float] = []
        self.best: np.ndarray | None = None

    def add(self, cost: float, x: np.ndarray) -> None:
        """Another one."""
        if self.best is None or cost < min(self.costs):
            self.best = x
        self.costs.append(cost)

    @property
    def x(self) -> np.ndarray:
        """Coordinates of the best."""
        return self.problem.best[1] if self.best is None else self.best

    @property
    def doubtful(self) -> bool:
        """Whether what is left over is correlated, and not because the law is wrong (own rule).

        For then most starts, four at least, would have ended in this same best valley (0.2 % in the squares).
        """
        least = min(self.costs)
        same = sum(cost <= 1.002 * least for cost in self.costs)
        agreed = same >= 4 and 2 * same >= len(self.costs)
        return not agreed and not all(each.white for each in _noise(self.problem, self.x))


def descend(misfit: Misfit, starts: list[np.ndarray], effort: Effort, valleys: Valleys, bar: Any) -> None:
    """Local minima from the starts; after the number asked for, only as long as the best of them is doubtful."""
    for number, start in enumerate(starts):
        if number >= effort.starts and not valleys.doubtful:
            break
        r = misfit(start)
        valleys.add(*settle(misfit, start, 1e-5 * float(r @ r), effort.iterations))
        bar.update(int(number < effort.starts))


def finish(misfit: Misfit, effort: Effort, valleys: Valleys) -> None:
    """The best minimum to its end; then once more with the noise of each test."""
    valleys.best = refine(misfit, valleys.x, 15)[1]
    if misfit.likelihood and len(misfit.problem.tests) > 1:
        for _ in range(2):
            misfit.sigmas = np.array([each.sigma for each in _noise(misfit.problem, valleys.x)])
            valleys.best = refine(misfit, valleys.x, effort.iterations)[1]


def _noise(problem: Problem, x: np.ndarray) -> list[Noise]:
    found = []
    for (_, target), computed in zip(problem.tests, problem.outputs(x[None, :]), strict=True):
        residuals = computed[0] - target.force
        smallest = 1e-9 * target.range  # an exact fit has no noise, and no likelihood
        each = noise_of(target.name, residuals, problem.size * target.force.size / problem.samples)
        found.append(Noise(each.test, max(each.sigma, smallest), each.tau, each.white))
    return found


def _unused(problem: Problem) -> tuple[str, ...]:
    """Groups of which no parameter was searched or tied."""
    searched = {b.name for b in problem.free} | {each.name for each in problem.ties}
    used = {r.group for r in problem.form.ranges if r.name in searched}
    return tuple(dict.fromkeys(r.group for r in problem.form.ranges if r.group and r.group not in used))


def _start(form: Form, template: Law | None, scales: Scales) -> dict[str, float]:
    if template is not None:
        return form.read(template)
    start = {r.name: r.start * scales.unit(r.unit) for r in form.ranges}
    better = getattr(form, "first", None)
    return start | (better(scales) if better else {})


def _inside(values: dict[str, float], free: Sequence[Any], template: Law | None) -> dict[str, float]:
    """First values; those of free parameters that stand at a bound, where nothing pulls them off, a fifth inside."""
    moved = dict(values)
    for b in free:
        x = b.coordinate(values[b.name])
        if template is None and not 0.0 < x < 1.0:
            moved[b.name] = float(b.value(0.2 if x <= 0.0 else 0.8))
    return moved


def _parameters(problem: Problem, x: np.ndarray, found: Uncertainty) -> tuple[Parameter, ...]:
    values = problem.values(x)
    at = {b.name: i for i, b in enumerate(problem.free)}
    tied = {each.name: each.text for each in problem.ties}
    listed = []
    for r in problem.form.ranges:
        if r.name in at:
            i = at[r.name]
            b = problem.free[i]
            low, high = float(found.low[i]), float(found.high[i])
            status = "fitted"
            if x[i] < 1e-4 or x[i] > 1.0 - 1e-4:
                status = "at a bound"
            if high - low > 0.5:
                status = "not determined"
            how = "profile" if found.profiled[i] else "Wald"
            listed.append(
                Parameter(
                    r.name,
                    values[r.name],
                    float(b.value(low)),
                    float(b.value(high)),
                    (b.low, b.high),
                    status,
                    how,
                    b.source,
                )
            )
        elif r.name in tied:
            listed.append(Parameter(r.name, values[r.name], status="tied", rule=tied[r.name]))
        else:
            listed.append(Parameter(r.name, values[r.name], status="fixed"))
    return tuple(listed)


__all__ = ["Solution", "fit", "problem_of", "solve"]
