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
    likelihood) that are wide or touch a bound, "all" every one, "none" no one. `options` are fields of the law that are not numbers, such
    as ``{"allow_inadmissible": True}``. Interrupted (Ctrl-C) it returns the best law so far, flagged.

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
    """Global search, local search from its best points, then intervals."""
    start = problem.best[1]
    if not np.isfinite(problem.scores(start[None, :])[0]) and effort.generations == 0:
        raise InputError("the law has no answer at the first values; allowed: a start where it has one")
    interrupted = False
    x = start
    total = effort.generations + 2 * effort.starts + 1
    with tqdm(total=total, desc="fit", unit="step", disable=None if progress else True, leave=False) as bar:
        try:
            points = explore(problem, start, effort, seed, bar) if effort.generations else start[None, :]
            bar.update(effort.generations - bar.n)
            x = problem.best[1]
            starts = distinct(points, x, effort.starts * max(effort.doubt, 1))
            for best in polish(problem, starts, likelihood, effort, bar):
                x = best
        except KeyboardInterrupt:
            interrupted = True
            x = x if x is not start else problem.best[1]
        noise = _noise(problem, x)
        return Solution(x, noise, uncertainty(problem, x, noise, level, likelihood, profile), interrupted)


def polish(problem: Problem, starts: list[np.ndarray], likelihood: bool, effort: Effort, bar: Any) -> Any:
    """Local minima from the starts, the best so far each time; then once more with the noise of each test.

    After the number of starts asked for, only while what is left over is correlated.
    """
    sigmas = np.array([target.range for _, target in problem.tests])
    misfit = Misfit(problem, sigmas, likelihood)
    costs: list[tuple[float, np.ndarray]] = []
    for start in starts:
        if len(costs) >= effort.starts and all(each.white for each in _noise(problem, best)):
            break
        r = misfit(start)
        costs.append(settle(misfit, start, 1e-5 * float(r @ r), effort.iterations))
        bar.update(len(costs) <= effort.starts)
        best = min(costs, key=lambda pair: pair[0])[1]
        yield best
    best = refine(misfit, best, 15)[1]
    yield best
    if likelihood and len(problem.tests) > 1:
        for _ in range(2):
            misfit.sigmas = np.array([each.sigma for each in _noise(problem, best)])
            best = refine(misfit, best, effort.iterations)[1]
            bar.update()
            yield best


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
