"""A fidelity table: acceptance bounds, rows with verdicts, and the table as text, dict and CSV."""

import csv
import io
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from frame2d.compare import DENOMINATORS
from frame2d.errors import known, positive
from frame2d.written import written


@dataclass(frozen=True)
class Limits:
    """Acceptance bounds, all relative; None: no bound. Defaults: common practice, no source.

    `period` and `push` by size, `mac` at least, `nrmse` with the named `denominator` for displacements and device
    forces, `peak` for the same, `energy` for what devices dissipate.
    """

    period: float | None = 0.05
    mac: float | None = 0.95
    push: float | None = 0.05
    nrmse: float | None = 0.10
    peak: float | None = 0.10
    energy: float | None = 0.15
    denominator: str = "range"

    def __post_init__(self) -> None:
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name == "denominator":
                known("Limits.denominator", value, DENOMINATORS)
            elif value is not None:
                positive(f"Limits.{entry.name}", value, hint="bounds are relative: 0.05 is 5 %")


@dataclass(frozen=True)
class Row:
    """One number of the table. `value` None: undefined, `note` says why; `passed` None: no bound."""

    part: str
    record: str
    quantity: str
    index: str
    value: float | None
    unit: str
    bound: float | None
    passed: bool | None
    definition: str
    note: str = ""

    def __str__(self) -> str:
        value = "undefined" if self.value is None else f"{self.value:.4g}"
        bound = "" if self.bound is None else f"{'>=' if self.index == 'MAC' else '<='} {self.bound:g}"
        verdict = {None: "", True: "pass", False: "FAIL"}[self.passed]
        place = " · ".join(text for text in (self.part, self.record) if text)
        line = f"{place:<42} {self.quantity:<24} {self.index:<20} {value:>10} {self.unit:<3} {bound:<8} {verdict:<5}"
        return (line + (f" [{self.note}]" if self.note else "")).rstrip()


@dataclass(frozen=True)
class Fidelity:
    """All rows of one comparison. Print it, take it as a dict, write it as CSV."""

    reference: str
    reduced: str
    limits: Limits
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    interrupted: bool = False

    @property
    def passed(self) -> bool:
        """Whether no bound is passed and nothing was cut short."""
        return not self.interrupted and all(row.passed is not False for row in self.rows)

    def failures(self) -> list[Row]:
        """Rows beyond their bound."""
        return [row for row in self.rows if row.passed is False]

    def select(self, **wanted: str) -> list[Row]:
        """Rows by their fields, e.g. ``part="push"`` or ``index="nrmse"``."""
        for name in wanted:
            known("field of a row", name, [entry.name for entry in fields(Row)])
        return [
            row for row in self.rows if all(getattr(row, name) == value for name, value in wanted.items())
        ]

    def worst(self) -> list[Row]:
        """Of each part, record and index the row nearest to its bound, or farthest beyond it."""
        kept: dict[tuple[str, str, str, str], Row] = {}
        for row in self.rows:
            if row.value is None or row.bound is None:
                continue
            key = (row.part, row.record, row.index, row.unit)
            if key not in kept or bound_use(row) > bound_use(kept[key]):
                kept[key] = row
        return list(kept.values())

    def text(self, full: bool = False) -> str:
        """The table: the worst row of each kind, or all of them."""
        shown = self.rows if full else self.worst()
        failed = len(self.failures())
        verdict = (
            "all bounds are met"
            if self.passed
            else f"{failed} of {len(self.rows)} values are beyond their bound"
        )
        if self.interrupted:
            verdict += "; INTERRUPTED: the table holds what was computed before"
        head = f"{self.reduced} against {self.reference}: {verdict}"
        if not full:
            head += " (worst of each kind)"
        return "\n".join([head, *map(str, shown), *(f"note: {note}" for note in self.notes)])

    def __str__(self) -> str:
        return self.text()

    def as_dict(self) -> dict[str, Any]:
        """Everything as plain data."""
        return {
            "reference": self.reference,
            "reduced": self.reduced,
            "passed": self.passed,
            "interrupted": self.interrupted,
            "limits": dict(vars(self.limits)),
            "rows": [dict(vars(row)) for row in self.rows],
            "notes": list(self.notes),
        }

    def to_csv(self, path: Any) -> None:
        """Write all rows as CSV; the file appears whole or not at all."""
        buffer = io.StringIO()
        writer = csv.writer(buffer, lineterminator="\n")
        names = [entry.name for entry in fields(Row)]
        writer.writerow(names)
        for row in self.rows:
            writer.writerow(["" if getattr(row, name) is None else getattr(row, name) for name in names])
        target = Path(path)
        with written(target) as beside:
            beside.write_text(buffer.getvalue(), encoding="utf-8")


def bound_use(row: Row) -> float:
    """Share of the bound that is used; above 1 it is passed."""
    assert row.value is not None and row.bound is not None
    if row.index == "MAC":
        return (1.0 - row.value) / max(1.0 - row.bound, 1e-12)
    return abs(row.value) / row.bound
