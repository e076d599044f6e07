"""The best suites out of a pool of candidates, with the common factor that the suite rules ask for."""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import Frame2dError, InputError, known, within
from frame2d.motions.record import Record
from frame2d.motions.scaling import Candidates
from frame2d.motions.subset import Pool, best_sets
from frame2d.motions.suite_rules import SHARE, SuiteReport, check_suite, text_table


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
