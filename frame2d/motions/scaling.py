"""Candidates: records with the scale factors that fit them to a target over the periods of a building."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from frame2d.errors import InputError, positive
from frame2d.motions.record import Record, as_records
from frame2d.motions.spectra import response_spectra
from frame2d.motions.suite_rules import rule_periods, text_table
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

    def fitted(self, target: Target) -> "Candidates":
        """The same records with the factors that fit them best to another target, within the bounds."""
        best = np.exp(np.mean(np.log(target.acceleration(self.periods) / self.PSA), axis=1))
        return replace(self, target=target, factors=best.clip(*self.bounds))

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
    free = Candidates(suite, target, float(T1), T, np.ones(len(suite)), (low, high), PSA).fitted(target)
    if factors is None:
        return free
    own = np.array(np.broadcast_to(np.asarray(factors, dtype=float), len(suite)))
    if not np.all((own >= low) & (own <= high)):
        raise InputError(f"factors are {factors!r}; allowed: within the bounds {low:g} to {high:g}")
    return replace(free, factors=own)
