"""The rules of EN 1998-1:2004 for a suite of accelerograms, as a table of what is asked, found, and passed.

3.2.3.1.2 for artificial, 3.2.3.1.3 for recorded ones; clause texts from memory. The rules of a national annex, and
those of other codes, may differ.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from frame2d.errors import InputError, known, positive
from frame2d.motions.record import Record, as_records
from frame2d.motions.spectra import response_spectra
from frame2d.motions.target import Target

#: Periods of the spectral rule over the fundamental period, and the share of the target: 3.2.3.1.2(4)c.
SPAN = (0.2, 2.0)
SHARE = 0.9
#: Fewest accelerograms, 3.2.3.1.2(4)a, and fewest for which the mean response may be used, 4.3.3.4.3(3).
FEWEST, FEWEST_FOR_MEAN = 3, 7
#: Duration of the stationary part in s where the site is not known better, 3.2.3.1.2(3).
STATIONARY = 10.0


@dataclass(frozen=True)
class Check:
    """One rule: what is asked, what was found, and whether it passes (None: it could not be checked)."""

    clause: str
    asked: str
    found: str
    passed: bool | None


@dataclass(frozen=True, eq=False)
class SuiteReport:
    """The checks of one suite, with the mean spectrum they rest on."""

    names: tuple[str, ...]
    checks: tuple[Check, ...]
    periods: np.ndarray
    #: Mean pseudo-acceleration of the suite and target, m/s², at `periods`.
    mean: np.ndarray
    target: np.ndarray

    @property
    def passed(self) -> bool:
        """Whether every rule that could be checked passes; `open` lists the others."""
        return all(check.passed is not False for check in self.checks)

    @property
    def open(self) -> tuple[Check, ...]:
        """Rules that need a statement of the user."""
        return tuple(check for check in self.checks if check.passed is None)

    @property
    def design_on_mean(self) -> bool:
        """Whether the mean response may be used (7 records or more), else the most unfavourable: 4.3.3.4.3(3)."""
        return len(self.names) >= FEWEST_FOR_MEAN

    def table(self) -> str:
        """The checks as text."""
        words = {True: "pass", False: "FAIL", None: "open"}
        rows = [(words[check.passed], check.clause, check.asked, check.found) for check in self.checks]
        use = "mean" if self.design_on_mean else "most unfavourable"
        last = (
            "",
            "4.3.3.4.3(3)",
            f"at least {FEWEST_FOR_MEAN} records to use the mean",
            f"use the {use} response",
        )
        return text_table(("", "EN 1998-1", "asked", "found"), [*rows, last])


def rule_periods(T1: float, count: int = 100) -> np.ndarray:
    """Periods of the spectral rule, evenly in logarithm from 0.2·T1 to 2·T1, s."""
    T1 = positive("T1", T1, hint="the fundamental period in s")
    return T1 * np.geomspace(*SPAN, count)


def check_suite(
    records: Record | Iterable[Record],
    target: Target,
    T1: float,
    *,
    kind: str = "recorded",
    factors: Sequence[float] | None = None,
    qualified: bool | None = None,
    ground_acceleration: float | None = None,
    stationary: float = STATIONARY,
) -> SuiteReport:
    """Check a suite, each record times its factor, against the 5 % `target` for a building of period `T1` (s).

    ``kind="artificial"`` asks for a stationary part of `stationary` seconds; ``kind="recorded"`` (or simulated) asks
    that no record is synthetic and for the statement `qualified`, that sources and soil suit the site.
    `ground_acceleration` is ag·S in m/s²; None takes the target at T = 0. Raises `InputError` for a target of other
    damping, factors of another number, a target unknown in 0.2·T1 to 2·T1.
    """
    suite = list(as_records(records))
    known("kind of suite", kind, ("recorded", "artificial"))
    if abs(target.damping - 0.05) > 1e-12:
        raise InputError(
            f"damping of the target is {target.damping:g}; allowed: 0.05, the rules compare 5 % spectra"
        )
    f = np.ones(len(suite)) if factors is None else np.asarray(factors, dtype=float)
    if f.shape != (len(suite),) or not np.all(f > 0.0):
        raise InputError(
            f"factors are {factors!r}; allowed: one number above 0 for each of {len(suite)} records"
        )
    T = rule_periods(T1)
    mean = f @ response_spectra(suite, T).PSA / len(suite)
    goal = target.acceleration(T)
    peak = f @ np.array([np.max(np.abs(record.acceleration)) for record in suite]) / len(suite)
    needed = float(target.acceleration(0.0)) if ground_acceleration is None else ground_acceleration
    worst = int(np.argmin(mean / goal))
    checks = [
        Check("3.2.3.1.2(4)a", f"at least {FEWEST} accelerograms", str(len(suite)), len(suite) >= FEWEST),
        Check(
            "3.2.3.1.2(4)b",
            f"mean peak at least ag·S = {needed:.3f} m/s²",
            f"{peak:.3f} m/s², {peak / needed:.3f} times",
            bool(peak >= needed * (1.0 - 1e-9)),
        ),
        Check(
            "3.2.3.1.2(4)c",
            f"mean at least {SHARE:g} of the target, {T[0]:.3g} to {T[-1]:.3g} s",
            f"{mean[worst] / goal[worst]:.3f} at {T[worst]:.3g} s",
            bool(mean[worst] >= SHARE * goal[worst] * (1.0 - 1e-9)),
        ),
    ]
    checks += [_stationary(suite, stationary)] if kind == "artificial" else _recorded(suite, qualified)
    return SuiteReport(tuple(record.label for record in suite), tuple(checks), T, mean, goal)


def _stationary(suite: list[Record], asked: float) -> Check:
    stated = [record.stationary for record in suite if record.stationary is not None]
    if len(stated) < len(suite):
        found, passed = f"not stated for {len(suite) - len(stated)} records", None
    else:
        found, passed = f"{min(stated):g} s the shortest", min(stated) >= asked
    return Check("3.2.3.1.2(3)", f"stationary part of at least {asked:g} s", found, passed)


def _recorded(suite: list[Record], qualified: bool | None) -> list[Check]:
    artificial = [record.name for record in suite if record.synthetic]
    return [
        Check(
            "3.2.3.1.3(1)",
            "recorded or simulated motions",
            f"{len(artificial)} synthetic" + (f": {', '.join(artificial[:3])}" if artificial else ""),
            not artificial,
        ),
        Check(
            "3.2.3.1.3(1)",
            "sources and soil qualified for the site",
            {True: "stated so", False: "stated otherwise", None: "not stated"}[qualified],
            qualified,
        ),
    ]


def text_table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows of words in aligned columns."""
    width = [max(len(row[i]) for row in [heads, *rows]) for i in range(len(heads))]
    lines = ["  ".join(cell.ljust(width[i]) for i, cell in enumerate(row)).rstrip() for row in [heads, *rows]]
    return "\n".join([lines[0], "  ".join("-" * w for w in width), *lines[1:]])
