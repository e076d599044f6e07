"""Reading measured cycles from CSV: the raw columns as the file holds them, with their line numbers."""

import csv
import hashlib
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from frame2d.errors import InputError, known


@dataclass(frozen=True)
class RawTest:
    """Columns of a file in its own units; a gap is NaN; `lines` are line numbers, counted from 1."""

    columns: dict[str, np.ndarray]
    units: dict[str, str]
    lines: np.ndarray = field(repr=False)
    source: str = "arrays"
    #: SHA-256 of the file.
    checksum: str = ""

    def column(self, name: str) -> np.ndarray:
        """The column called `name`; raises `InputError` with the closest name there is."""
        known(f"column of {self.source}", name, self.columns)
        return self.columns[name]


def read_raw(
    path: str | Path,
    *,
    delimiter: str = ",",
    decimal: str = ".",
    skip: int = 0,
    missing: tuple[str, ...] = ("",),
) -> RawTest:
    """Read a table of numbers under one header line of ``name [unit]`` or ``name (unit)``, units optional.

    `skip` lines precede the header; lines that start with # and empty lines are passed over; cells that hold
    one of `missing` are gaps. Raises `InputError` with line numbers for wrong numbers of columns, cells that
    are no numbers, repeated names, or a file without rows.
    """
    known("decimal", decimal, (".", ","))
    if decimal == delimiter:
        raise InputError(f"delimiter and decimal are both {decimal!r}; allowed: two different characters")
    source = Path(path)
    try:
        content = source.read_bytes()
        text = content.decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"{source} can't be read: {error.strerror or error}") from None
    except UnicodeDecodeError as error:
        raise InputError(
            f"{source} is not UTF-8 text, first at byte {error.start}; save it as UTF-8 CSV"
        ) from None
    rows = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if number > skip and line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise InputError(
            f"{source} is empty after {skip} skipped lines; allowed: a header and rows of numbers"
        )
    names, units = _header(source, *rows[0], delimiter)
    values = np.empty((len(rows) - 1, len(names)))
    for i, (number, line) in enumerate(rows[1:]):
        values[i] = _numbers(source, number, line, names, delimiter, decimal, missing)
    if values.shape[0] < 2:
        raise InputError(f"{source} has {values.shape[0]} rows of numbers; allowed: 2 or more")
    return RawTest(
        columns={name: values[:, i].copy() for i, name in enumerate(names)},
        units=units,
        lines=np.array([number for number, _ in rows[1:]]),
        source=str(source),
        checksum=hashlib.sha256(content).hexdigest(),
    )


def _cells(line: str, delimiter: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]


def _header(source: Path, number: int, line: str, delimiter: str) -> tuple[list[str], dict[str, str]]:
    names, units = [], {}
    for cell in _cells(line, delimiter):
        found = re.fullmatch(r"(.*?)\s*[\[(]([^\])]*)[\])]", cell)
        name, unit = (found[1].strip(), found[2].strip()) if found else (cell, "")
        if not name or re.fullmatch(r"[-+0-9.eE]+", name):
            raise InputError(
                f"{source}, line {number}: {cell!r} is no column name; allowed: a header line like 'time "
                f"[s]{delimiter}displacement [mm]{delimiter}force [kN]'. Likely mistake: no header, or "
                "`skip` too large"
            )
        if name in names:
            raise InputError(
                f"{source}, line {number}: column {name!r} occurs twice; allowed: one name a column"
            )
        names.append(name)
        units[name] = unit
    return names, units


def _numbers(
    source: Path,
    line_number: int,
    line: str,
    names: list[str],
    delimiter: str,
    decimal: str,
    missing: tuple[str, ...],
) -> list[float]:
    cells = _cells(line, delimiter)
    if len(cells) != len(names):
        raise InputError(
            f"{source}, line {line_number}: {len(cells)} columns; allowed: {len(names)}, as in the header. "
            f"Likely mistake: another delimiter than {delimiter!r}, a comma as decimal sign, or a line cut "
            "short"
        )
    values = []
    for name, cell in zip(names, cells, strict=True):
        if cell in missing:
            values.append(np.nan)
            continue
        try:
            value = float(cell.replace(",", ".") if decimal == "," else cell)
        except ValueError:
            value = np.inf
        if not np.isfinite(value):
            raise InputError(
                f"{source}, line {line_number}: {name} is {cell!r}; allowed: a number. Likely mistake: a "
                f"mark for a gap (name it in `missing`), or another decimal sign than {decimal!r}"
            )
        values.append(value)
    return values
