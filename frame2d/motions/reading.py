"""Read a record from plain text or CSV, with explicit step, units and columns: nothing about a file is guessed."""

import os
import re
from pathlib import Path

import numpy as np

from frame2d.errors import InputError, known
from frame2d.motions.record import Record, check_size, unit_factor

#: A step may wander by this share of itself: times printed with few digits (common practice, no source).
_JITTER = 0.02
_TIME_UNITS = {"s": 1.0, "sec": 1.0, "ms": 1e-3}

Column = int | str | None


def read_text(
    path: str | os.PathLike[str],
    *,
    units: str | None = None,
    dt: float | None = None,
    column: Column = None,
    time_column: Column = None,
    skip: int = 0,
    delimiter: str | None = None,
    decimal: str = ".",
    comment: str = "#",
    name: str | None = None,
    synthetic: bool = False,
    any_size: bool = False,
) -> Record:
    """Read one `Record` from a text file.

    `column` says where the acceleration is: None reads every number of every line, row after row (the usual plain
    text, several values a line); an integer is a column counted from 0; a string is a column named by the header,
    the first line after `skip` lines. `time_column` is given in the same way and then tells the step, after a check
    that time grows uniformly; otherwise give `dt` in s. `units` is one of `frame2d.motions.UNITS`; a header such as
    ``acceleration [g]`` or ``a (cm/s2)`` gives them too, and must agree. `delimiter` None means blanks, or a comma
    in a file that ends in .csv. Lines that start with `comment`, and empty ones, are passed over.

    Raises `InputError` with the line for: an empty file, text among numbers, a missing column, NaN, time that stands
    still, runs back or has gaps, a missing or contradicting unit or step, and peaks above 10 g (see `any_size`).
    Warns (`RecordWarning`) for a peak that smells of a wrong unit.
    """
    path = Path(path)
    if delimiter is None and path.suffix.lower() == ".csv":
        delimiter = ","
    if decimal == delimiter:
        raise InputError(
            f"decimal and delimiter are both {decimal!r} in {path.name}; give delimiter=';' or another"
        )
    lines = _lines(path, skip, comment)
    named = isinstance(column, str) or isinstance(time_column, str)
    heads = _split(lines.pop(0)[1], delimiter) if named and lines else []
    if not lines:
        raise InputError(f"{path.name} has no numbers after {skip} skipped lines; is it empty, or cut short?")
    rows = [(number, _numbers(path, number, text, delimiter, decimal)) for number, text in lines]

    if column is None:
        if time_column is not None:
            raise InputError(
                f"{path.name}: time_column is given without column; give both, as numbers or names"
            )
        values = np.concatenate([np.array(row) for _, row in rows])
        where = "the whole file"
    else:
        place = _place(path, column, heads)
        values = _take(path, rows, place)
        where = f"column {column!r}"
        units = _agreed(path, units, heads, place)
    bad = np.flatnonzero(~np.isfinite(values))
    if bad.size:
        at = f", line {rows[bad[0]][0]}" if column is not None else ""
        raise InputError(
            f"{path.name}{at}: value {bad[0]} is {values[bad[0]]}; allowed: finite numbers (a gap?)"
        )

    if time_column is not None:
        place = _place(path, time_column, heads)
        unit = _bracket(heads[place]) if heads else None
        second = (
            1.0 if unit is None else _TIME_UNITS[known(f"unit of time in {path.name}", unit, _TIME_UNITS)]
        )
        step = _uniform_step(path, [number for number, _ in rows], second * _take(path, rows, place))
        if dt is not None and abs(dt - step) > _JITTER * step:
            raise InputError(
                f"{path.name}: dt is {dt:g} s, but its time column has a step of {step:g} s; drop one"
            )
        dt = step
    if dt is None:
        raise InputError(f"{path.name}: no step; give dt in s, or time_column")
    if units is None:
        raise InputError(
            f"{path.name}: no units; give units='g', 'm/s²', 'gal' …, or a header such as acceleration [g]"
        )
    provenance = f"read from {path.name}, {where}, in {units}"
    record = Record(unit_factor(units) * values, dt, name or path.stem, synthetic, (provenance,))
    return check_size(record, units, any_size=any_size)


def _lines(path: Path, skip: int, comment: str) -> list[tuple[int, str]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"{path.name} is not text in UTF-8; strong-motion formats go through read_strong_motion"
        ) from None
    numbered = list(enumerate(text.splitlines(), 1))[skip:]
    return [
        (i, line)
        for i, line in numbered
        if line.strip() and not (comment and line.lstrip().startswith(comment))
    ]


def _split(line: str, delimiter: str | None) -> list[str]:
    return [part.strip().strip('"') for part in line.split(delimiter)]


def _numbers(path: Path, number: int, line: str, delimiter: str | None, decimal: str) -> list[float]:
    parts = _split(line, delimiter)
    if delimiter is not None and parts and parts[-1] == "":
        parts.pop()  # a delimiter at the end of the line
    try:
        return [float(part.replace(decimal, ".") if decimal != "." else part) for part in parts]
    except ValueError:
        hint = "a header or trailer line: set skip, or name the column"
        if decimal == "." and any(re.fullmatch(r"[-+]?\d*,\d+", part) for part in parts):
            hint = "decimal commas (decimal=',') or comma-separated values (delimiter=',')"
        elif any(part == "" for part in parts):
            hint = "an empty cell: a gap in the data"
        raise InputError(
            f"{path.name}, line {number}: {line.strip()[:60]!r} is not numbers. Likely mistake: {hint}"
        ) from None


def _place(path: Path, column: Column, heads: list[str]) -> int:
    if isinstance(column, str):
        bare = [_bare(head) for head in heads]
        return bare.index(known(f"column of {path.name}", _bare(column), bare))
    assert column is not None
    if column < 0:
        raise InputError(f"{path.name}: column is {column}; allowed: 0 (the first) and up")
    return column


def _take(path: Path, rows: list[tuple[int, list[float]]], place: int) -> np.ndarray:
    for number, row in rows:
        if place >= len(row):
            raise InputError(
                f"{path.name}, line {number} has {len(row)} columns; column {place} (counted from 0) was asked for. "
                "Likely mistake: another delimiter, or a last line cut short"
            )
    return np.array([row[place] for _, row in rows])


def _bracket(head: str) -> str | None:
    found = re.search(r"[\[(]([^\])]*)[\])]", head)
    return found.group(1).strip().lower() if found else None


def _bare(head: str) -> str:
    return re.sub(r"[\[(].*", "", head).strip()


def _agreed(path: Path, units: str | None, heads: list[str], place: int) -> str | None:
    """Units given by hand, by the header, or by both if they agree."""
    written = _bracket(heads[place]) if heads and place < len(heads) else None
    if units is None or written is None:
        return units if written is None else written
    if unit_factor(units) != unit_factor(written):
        raise InputError(
            f"{path.name}: units are {units!r}, but its header says {written!r}; drop the wrong one"
        )
    return units


def _uniform_step(path: Path, numbers: list[int], time: np.ndarray) -> float:
    if time.size < 2 or not np.all(np.isfinite(time)):
        raise InputError(f"{path.name}: its time column needs at least 2 finite values")
    back = np.flatnonzero(np.diff(time) <= 0.0)
    if back.size:
        i = int(back[0])
        raise InputError(
            f"{path.name}, line {numbers[i + 1]}: time goes from {time[i]:g} to {time[i + 1]:g} s; allowed: growing "
            "time. Likely mistake: a repeated row, two files joined, or the wrong column"
        )
    steps = np.diff(time)
    mean = float((time[-1] - time[0]) / (time.size - 1))
    rounding = _resolution(time)
    allowed = _JITTER * mean + (rounding if rounding < 0.5 * mean else 0.0)
    i = int(np.argmax(np.abs(steps - mean)))
    if abs(steps[i] - mean) > allowed:
        raise InputError(
            f"{path.name}, line {numbers[i + 1]}: the step is {steps[i]:g} s where it is {np.median(steps):g} s elsewhere; "
            "allowed: a constant step. Likely mistake: missing rows; fill or resample before reading"
        )
    return mean


def _resolution(time: np.ndarray) -> float:
    """Smallest power of ten, down to 1e-6 s, to which all times are rounded; finer times have none."""
    for digits in range(1, 7):
        if np.all(np.abs(np.round(time, digits) - time) < 1e-9):
            return float(10.0**-digits)
    return 0.0
