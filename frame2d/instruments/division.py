"""The error of a prediction divided among law, reduction, integration and rig.

Five histories of one quantity form a chain, from the test to what was predicted before it:

    0  test         as measured
    1  computed     the tested part computed instead of tested: same split, scheme and step, laws fitted to the test
    2  reduced      the reduced model in one piece, implicit, refitted laws
    3  reference    the full frame, refitted laws
    4  prediction   the full frame, laws as assumed before the test

Every run takes the achieved motion. With e_k = I(history 0, history k) for an index I (NRMSE by the range, unless given),

    rig = e₁ − e₀,  integration = e₂ − e₁,  reduction = e₃ − e₂,  law = e₄ − e₃,

and e₀ = 0, so that the four add up to e₄, the error of the prediction, exactly. A part may be negative: then that step of
the chain makes up for others. Two further views stand beside it: the `distance` I between neighbours, which is never
negative and whose sum is at least e₄ for an index that obeys the triangle inequality, as NRMSE with one denominator does;
and the `share` ∫(h_k − h_{k−1})·(h₄ − h₀) dt / ∫(h₄ − h₀)² dt, which adds up to 1. The division depends on the chain's
order; that is a choice, not a property of the error. Derived here.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from frame2d.compare import on_times
from frame2d.compare.differences import denominator_of
from frame2d.errors import InputError, known

#: Names of the four parts between the five runs.
PARTS = ("rig", "integration", "reduction", "law")
RUNS = ("test", "computed", "reduced", "reference", "prediction")

Signal = tuple[Any, Any]
Index = Callable[[np.ndarray, np.ndarray], float]


class ErrorPart(NamedTuple):
    """One step of the chain: its part of the total index, its own size, its share of the difference."""

    name: str
    part: float
    distance: float
    share: float


class Division(NamedTuple):
    """Parts of the error of one quantity, in the order of the chain; `total` is that of its last run."""

    name: str
    total: float
    parts: tuple[ErrorPart, ...]
    definition: str

    def __getitem__(self, name: Any) -> Any:
        if isinstance(name, str):
            return {p.name: p for p in self.parts}[known("part", name, [p.name for p in self.parts])]
        return tuple(self)[name]

    def __str__(self) -> str:
        rows = [f"{self.name}: total {100 * self.total:.3g} %, {self.definition}"]
        for p in self.parts:
            rows.append(
                f"  {p.name:<14}{100 * p.part:+8.3g} %   distance {100 * p.distance:.3g} %   share {100 * p.share:+.3g} %"
            )
        return "\n".join(rows)


def divide_error(
    chain: Sequence[tuple[str, Any, Any]],
    *,
    name: str = "history",
    parts: Sequence[str] = PARTS,
    index: Index | None = None,
    denominator: str = "range",
) -> Division:
    """Divide the error of the last of `chain`, (name, times in s, history) from the test on, among the steps between.

    `parts` names the steps, one fewer than runs. All are read by straight lines at the test's times, as far as all of
    them reach. `index(reference, compared)` replaces the NRMSE, whose `denominator` is one of
    `frame2d.compare.DENOMINATORS`, taken of the test. Raises `InputError` for chains that do not fit.
    """
    if len(chain) < 2 or len(parts) != len(chain) - 1:
        raise InputError(
            f"the chain has {len(chain)} runs and {len(parts)} parts; allowed: two runs or more, and a part for each step"
        )
    times = [np.asarray(time, dtype=float) for _, time, _ in chain]
    begin, end = max(float(t[0]) for t in times), min(float(t[-1]) for t in times)
    common = times[0][(times[0] >= begin) & (times[0] <= end)]
    if common.size < 2:
        raise InputError(
            f"the runs share no time: from {begin:g} to {end:g} s. Likely mistake: laboratory time beside model time"
        )
    histories = [on_times(common, time, signal) for time, (_, _, signal) in zip(times, chain, strict=True)]
    test = histories[0]
    if index is None:
        scale = denominator_of(test, denominator)
        definition = f"√mean (y − x)² / D, D = {denominator} of the test = {scale:.4g}"

        def measure(x: np.ndarray, y: np.ndarray) -> float:
            return float(np.sqrt(np.mean((y - x) ** 2))) / scale
    else:
        definition = "index as given"
        measure = index  # type: ignore[assignment]
    errors = [0.0] + [measure(test, history) for history in histories[1:]]
    whole = histories[-1] - test
    size = float(whole @ whole)
    found = []
    for k, part in enumerate(parts, 1):
        moved = histories[k] - histories[k - 1]
        share = float(moved @ whole) / size if size > 0.0 else 0.0
        found.append(
            ErrorPart(part, errors[k] - errors[k - 1], measure(histories[k - 1], histories[k]), share)
        )
    return Division(name, errors[-1], tuple(found), definition)


class AfterTest(NamedTuple):
    """Divisions of all quantities, and the signals of every run by run and quantity."""

    divisions: dict[str, Division]
    runs: dict[str, dict[str, Signal]]

    def before_and_after(self) -> list[dict[str, Any]]:
        """For each quantity: NRMSE, peak of the test, and peaks with laws as assumed and as refitted, as plain data."""
        rows = []
        for name, division in self.divisions.items():
            after = sum(p.part for p in division.parts[:-1])
            peak = {run: float(np.abs(self.runs[run][name][1]).max()) for run in self.runs}
            rows.append(
                {
                    "quantity": name,
                    "error before": division.total,
                    "error after": after,
                    "peak of the test": peak[RUNS[0]],
                    "peak before": peak[RUNS[4]],
                    "peak after": peak[RUNS[3]],
                    "definition": division.definition,
                }
            )
        return rows

    def __str__(self) -> str:
        return "\n".join(str(division) for division in self.divisions.values())


def after_test(
    measured: Mapping[str, Signal],
    *,
    computed: Callable[[Any], Mapping[str, Signal]],
    reduced: Callable[[Any], Mapping[str, Signal]],
    reference: Callable[[Any], Mapping[str, Signal]],
    assumed: Any,
    refitted: Any,
    denominator: str = "range",
) -> AfterTest:
    """Run the whole chain for the `measured` quantities {name: (times, history)} and divide each of their errors.

    `computed`, `reduced` and `reference` take laws (whatever `assumed` and `refitted` are: laws by device, or a frame),
    run their model under the achieved motion and return the same quantities. The reference runs twice.
    """
    runs: dict[str, dict[str, Signal]] = {
        "test": dict(measured),
        "computed": dict(computed(refitted)),
        "reduced": dict(reduced(refitted)),
        "reference": dict(reference(refitted)),
        "prediction": dict(reference(assumed)),
    }
    for run, signals in runs.items():
        for name in measured:
            known(f"quantity of the {run} run", name, signals)
    divisions = {
        name: divide_error([(run, *runs[run][name]) for run in RUNS], name=name, denominator=denominator)
        for name in measured
    }
    return AfterTest(divisions, runs)
