"""The one record of a test: candidates ranked by spectral fit and further criteria, for each limit state."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from frame2d.errors import Frame2dError, InputError, known, positive, within
from frame2d.motions.hazard import LimitState
from frame2d.motions.record import Record
from frame2d.motions.scaling import BOUNDS, Candidates, candidates
from frame2d.motions.suite_rules import text_table
from frame2d.motions.target import Target


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
        pool = once.fitted(target.scaled(state.factor(k)))
        choices[state.name] = choose_record(
            pool, wanted.get(state.name, ()), limit_state=state.name, spectral_weight=spectral_weight
        )
    return choices
