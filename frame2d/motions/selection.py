"""Selection: scale candidates to a target, find the best suite, and the one record of a test for each limit state."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError, known, positive, within
from frame2d.motions.hazard import LimitState
from frame2d.motions.record import Record, as_records
from frame2d.motions.spectra import response_spectra
from frame2d.motions.subset import Pool, best_sets
from frame2d.motions.suite_rules import SHARE, SuiteReport, check_suite, rule_periods, text_table
from frame2d.motions.target import Target

#: Usual bounds of scale factors (common practice, no source).
BOUNDS = (0.25, 4.0)


@dataclass(frozen=True, eq=False)
class Candidates:
    """Records with the factors that fit them to a target between 0.2·T1 and 2·T1, and how well they do."""

    records: tuple[Record, ...]
    target: Target
    T1: float
    periods: np.ndarray
    #: Factor of each record, within `bounds`.
    factors: np.ndarray
    bounds: tuple[float, float]
    #: Spectra before scaling, m/s² [record, period], at the damping of the target.
    PSA: np.ndarray

    @property
    def log_ratio(self) -> np.ndarray:
        """ln(factor·PSA/target) [record, period]."""
        return np.log(self.factors[:, None] * self.PSA / self.target.acceleration(self.periods))

    @property
    def score(self) -> np.ndarray:
        """Root mean square of `log_ratio` of each record: 0.1 is about 10 %."""
        return np.asarray(np.sqrt(np.mean(self.log_ratio**2, axis=1)))

    def table(self) -> str:
        """Candidates from the best fit to the worst, as text."""
        order = np.argsort(self.score, kind="stable")
        lowest, highest = np.exp(self.log_ratio.min(axis=1)), np.exp(self.log_ratio.max(axis=1))
        rows = [
            (
                str(place),
                self.records[i].label,
                f"{self.factors[i]:.3f}" + (" (at its bound)" if self.factors[i] in self.bounds else ""),
                f"{self.score[i]:.3f}",
                f"{lowest[i]:.2f} to {highest[i]:.2f}",
            )
            for place, i in enumerate(order, 1)
        ]
        return text_table(("rank", "record", "factor", "rms ln(Sa/target)", "Sa/target"), rows)


def candidates(
    records: Record | Iterable[Record],
    target: Target,
    T1: float,
    *,
    bounds: tuple[float, float] = BOUNDS,
    factors: Any = None,
    count: int = 100,
) -> Candidates:
    """Scale each of `records` to `target` for a building of period `T1` (s).

    The factor minimises Σ(ln Sa − ln target)² over `count` periods from 0.2·T1 to 2·T1, and is then held within
    `bounds`; `factors` (one number, or one for each) takes the place of that. Raises `InputError` for bounds or factors
    that are not positive, and for records without motion or of the same name.
    """
    suite = tuple(as_records(records))
    names = [record.name for record in suite]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"two records are named {twice[0]!r}; allowed: names that differ, tables go by them")
    low, high = (positive("bound of the factors", value) for value in bounds)
    if low > high:
        raise InputError(f"bounds of the factors are {bounds}; allowed: the lower one first")
    T = rule_periods(T1, count)
    PSA = response_spectra(suite, T, target.damping).PSA
    still = np.flatnonzero(np.any(PSA <= 0.0, axis=1))
    if still.size:
        raise InputError(
            f"record {names[still[0]]!r} has no motion; allowed: records with a spectrum above 0"
        )
    if factors is None:
        own = np.exp(np.mean(np.log(target.acceleration(T) / PSA), axis=1)).clip(low, high)
    else:
        own = np.array(np.broadcast_to(np.asarray(factors, dtype=float), len(suite)))
        if not np.all((own >= low) & (own <= high)):
            raise InputError(f"factors are {factors!r}; allowed: within the bounds {low:g} to {high:g}")
    return Candidates(suite, target, float(T1), T, own, (low, high), PSA)


@dataclass(frozen=True, eq=False)
class Suite:
    """A set of records with their final factors: own factor times the common one."""

    records: tuple[Record, ...]
    factors: np.ndarray
    #: Common factor, at least 1, that lifts the set to the suite rule.
    common: float
    #: Root of (1 − scatter)·bias + scatter·spread, in ln; see `frame2d.motions.subset`.
    score: float
    report: SuiteReport

    def scaled(self) -> list[Record]:
        """The records times their factors."""
        return [record.scaled(factor) for record, factor in zip(self.records, self.factors, strict=True)]


@dataclass(frozen=True, eq=False)
class Selection:
    """The best suites, best first, and how they were found."""

    suites: tuple[Suite, ...]
    #: True when every set was looked at; False for exchanges from many starts, which may miss the best.
    exact: bool
    sets: int

    @property
    def best(self) -> Suite:
        """The best suite."""
        return self.suites[0]

    def table(self) -> str:
        """Suites from the best on, as text."""
        how = (
            f"all {self.sets} sets"
            if self.exact
            else f"{self.sets} sets by exchanges; a better one may exist"
        )
        rows = [
            (
                str(place),
                f"{suite.score:.4f}",
                f"{suite.common:.3f}",
                "pass" if suite.report.passed else "FAIL",
                ", ".join(f"{r.label} ×{f:.2f}" for r, f in zip(suite.records, suite.factors, strict=True)),
            )
            for place, suite in enumerate(self.suites, 1)
        ]
        return f"{how}\n" + text_table(("rank", "score", "common", "rules", "records"), rows)


def select_suite(
    pool: Candidates,
    size: int = 7,
    *,
    kind: str = "recorded",
    qualified: bool | None = None,
    scatter: float = 0.1,
    rules: bool = True,
    keep: int = 5,
    exact_limit: float = 5e9,
    seed: int = 0,
    starts: int = 60,
) -> Selection:
    """The `keep` best sets of `size` candidates.

    The score weighs the bias of the mean log spectrum and the `scatter` (0 to 1) of the single ones; with `rules`
    each set is raised by the smallest common factor that satisfies 3.2.3.1.2(4)b and c of EN 1998-1, and sets whose
    factors would leave their bounds are passed over. Up to `exact_limit` sets all are looked at; beyond, exchanges of
    single records start from the best-fitting ones and from `starts` random sets (seeded): a heuristic. `kind` and
    `qualified` as in `check_suite`. Raises `InputError` for a bad size, `Frame2dError` when no set satisfies the rules.
    """
    count = len(pool.records)
    if int(size) != size or not 1 <= size <= count:
        raise InputError(
            f"size of the suite is {size!r}; allowed: a whole number from 1 to {count} candidates"
        )
    known("kind of suite", kind, ("recorded", "artificial"))
    spread = within(
        "scatter", scatter, 0.0, 1.0, hint="a share: 0 the mean alone, 1 the single spectra alone"
    )
    peak = np.array([np.max(np.abs(record.acceleration)) for record in pool.records])
    needed = float(pool.target.acceleration(0.0)) if rules else 1.0
    scores, factors, sets, exact, visited = best_sets(
        Pool(pool.log_ratio, pool.factors * peak / needed, pool.bounds[1] / pool.factors),
        int(size),
        spread=spread,
        share=SHARE if rules else 0.0,
        keep=int(keep),
        exact_limit=exact_limit,
        seed=seed,
        starts=starts,
    )
    found = np.flatnonzero(np.isfinite(scores))
    if found.size == 0:
        raise Frame2dError(
            f"no set of {size} out of {count} candidates satisfies EN 1998-1, 3.2.3.1.2(4) with factors up to "
            f"{pool.bounds[1]:g}; add records, raise the bound, or set rules=False to see the best fits"
        )
    suites = []
    for i in found:
        chosen = sets[i][np.argsort(pool.score[sets[i]], kind="stable")]
        records = tuple(pool.records[j] for j in chosen)
        final = pool.factors[chosen] * factors[i]
        report = check_suite(
            records, pool.target, pool.T1, kind=kind, factors=final.tolist(), qualified=qualified
        )
        suites.append(Suite(records, final, float(factors[i]), float(np.sqrt(scores[i])), report))
    return Selection(tuple(suites), exact, visited)


@dataclass(frozen=True, eq=False)
class Criterion:
    """A further criterion for the record of a test, with one value for each record, by name or in their order.

    A value becomes the penalty value/reference (``better="lower"``) or reference/value (``better="higher"``), where
    the reference is `limit`, or the median over the records without one. Records beyond a `limit` are excluded.
    """

    name: str
    values: Mapping[str, float] | Sequence[float] | np.ndarray
    weight: float = 1.0
    limit: float | None = None
    better: str = "lower"

    def of(self, records: Sequence[Record]) -> np.ndarray:
        """Values in the order of `records`, or `InputError`."""
        known(f"better of criterion {self.name!r}", self.better, ("lower", "higher"))
        if isinstance(self.values, Mapping):
            found = [
                self.values[known(f"record of criterion {self.name!r}", r.name, self.values)] for r in records
            ]
        else:
            found = list(self.values)
        values = np.asarray(found, dtype=float)
        if values.shape != (len(records),) or not np.all(np.isfinite(values) & (values >= 0.0)):
            raise InputError(
                f"criterion {self.name!r} needs one number from 0 for each of {len(records)} records"
            )
        within(f"weight of criterion {self.name!r}", self.weight, 0.0, np.inf)
        return values

    def penalty(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Penalties and which records are within the limit."""
        reference = (
            float(np.median(values))
            if self.limit is None
            else positive(f"limit of {self.name!r}", self.limit)
        )
        if self.better == "lower":
            penalty = values / reference if reference > 0.0 else values
            return penalty, np.ones(values.size, bool) if self.limit is None else values <= reference
        with np.errstate(divide="ignore"):
            penalty = np.where(values > 0.0, reference / values, np.inf)
        return penalty, values > 0.0 if self.limit is None else values >= reference


def distance_from_median(values: Sequence[float] | np.ndarray) -> np.ndarray:
    """|ln(value/median)|, for a demand that should lie near the median of the suite."""
    v = np.asarray(values, dtype=float)
    if v.size == 0 or not np.all(v > 0.0):
        raise InputError("values of a demand must be above 0")
    return np.asarray(np.abs(np.log(v / np.median(v))))


@dataclass(frozen=True, eq=False)
class Choice:
    """Records ranked for the test of one limit state, best first."""

    limit_state: str
    target: Target
    records: tuple[Record, ...]
    factors: np.ndarray
    #: Weighted mean of the penalties; infinite for excluded records.
    score: np.ndarray
    #: Value of each criterion [record, criterion], the spectral fit first.
    values: np.ndarray
    criteria: tuple[str, ...]
    #: Why a record is excluded; empty for the others.
    excluded: tuple[str, ...]

    @property
    def best(self) -> Record:
        """The record for the test, scaled."""
        return self.records[0].scaled(float(self.factors[0]))

    def table(self) -> str:
        """The ranking as text."""
        rows = [
            (
                str(i + 1) if not self.excluded[i] else "–",
                record.label,
                f"{self.factors[i]:.3f}",
                f"{self.score[i]:.3f}" if not self.excluded[i] else self.excluded[i],
                *(f"{value:.4g}" for value in self.values[i]),
            )
            for i, record in enumerate(self.records)
        ]
        heads = ("rank", "record", "factor", "score", *self.criteria)
        return f"{self.limit_state}: {self.target.name}\n" + text_table(heads, rows)


def choose_record(
    pool: Candidates,
    criteria: Sequence[Criterion] = (),
    *,
    limit_state: str = "",
    spectral_weight: float = 1.0,
) -> Choice:
    """Rank candidates for a test that takes one record.

    score = Σ w·p/Σ w, the weighted mean of the penalties p of the spectral fit (rms ln(Sa/target) over its median)
    and of each criterion (see `Criterion`); smaller is better. Ours: the trade names the criteria, not their
    combination. Raises `Frame2dError` when the limits exclude every record.
    """
    fit = Criterion("rms ln(Sa/target)", pool.score, spectral_weight)
    every = [fit, *criteria]
    weights = np.array([criterion.weight for criterion in every])
    if weights.sum() <= 0.0:
        raise InputError("all weights are 0; allowed: at least one above")
    values = np.stack([criterion.of(pool.records) for criterion in every], axis=1)
    excluded = [""] * len(pool.records)
    score = np.zeros(len(pool.records))
    for column, criterion in enumerate(every):
        penalty, allowed = criterion.penalty(values[:, column])
        if weights[column] > 0.0:
            score += weights[column] / weights.sum() * penalty
        for i in np.flatnonzero(~allowed):
            excluded[i] = excluded[i] or f"excluded: {criterion.name}"
    score[[bool(reason) for reason in excluded]] = np.inf
    if not np.any(np.isfinite(score)):
        raise Frame2dError(
            f"limits exclude every record for {limit_state or pool.target.name}: {excluded[0]} …"
        )
    order = np.argsort(score, kind="stable")
    return Choice(
        limit_state,
        pool.target,
        tuple(pool.records[i] for i in order),
        pool.factors[order],
        score[order],
        values[order],
        tuple(criterion.name for criterion in every),
        tuple(excluded[i] for i in order),
    )


def choose_per_limit_state(
    records: Record | Iterable[Record],
    target: Target,
    T1: float,
    limit_states: Sequence[LimitState],
    criteria: Mapping[str, Sequence[Criterion]] | None = None,
    *,
    k: float = 3.0,
    bounds: tuple[float, float] = BOUNDS,
    spectral_weight: float = 1.0,
) -> dict[str, Choice]:
    """For each limit state, scale `target` (475 years) by its return period and rank the records for its test.

    `criteria` holds further criteria by the limit state's name; `k` is the exponent of `hazard_factor`.
    """
    wanted = {} if criteria is None else dict(criteria)
    names = [state.name for state in limit_states]
    for name in wanted:
        known("limit state of the criteria", name, names)
    once = candidates(records, target, T1, bounds=bounds)
    choices = {}
    for state in limit_states:
        goal = target.scaled(state.factor(k))
        own = np.exp(np.mean(np.log(goal.acceleration(once.periods) / once.PSA), axis=1)).clip(*once.bounds)
        pool = replace(once, target=goal, factors=own)
        choices[state.name] = choose_record(
            pool, wanted.get(state.name, ()), limit_state=state.name, spectral_weight=spectral_weight
        )
    return choices
