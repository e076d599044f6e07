"""A record: one ground-acceleration history with its step, where it comes from, and what was done to it."""

import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, known, positive

#: Standard gravity, m/s² (3rd General Conference on Weights and Measures, 1901; exact by definition).
GRAVITY = 9.80665

#: Units of acceleration that readers accept, in m/s².
UNITS = {
    "m/s²": 1.0,
    "m/s2": 1.0,
    "m/s^2": 1.0,
    "m/s**2": 1.0,
    "m/s/s": 1.0,
    "cm/s²": 0.01,
    "cm/s2": 0.01,
    "cm/s^2": 0.01,
    "cm/s/s": 0.01,
    "gal": 0.01,
    "mm/s²": 0.001,
    "mm/s2": 0.001,
    "mm/s^2": 0.001,
    "mm/s/s": 0.001,
    "g": GRAVITY,
    "mg": 0.001 * GRAVITY,
}


class RecordWarning(UserWarning):
    """A record that can be right but smells of a wrong unit."""


@dataclass(frozen=True, eq=False)
class Record:
    """One ground acceleration: `acceleration` in m/s² at a constant step `dt` in s, linear between samples.

    `synthetic` is True for everything that no instrument has measured, and stays with the record into plots and
    files. `provenance` lists where it comes from and each step of processing, in order. `raw` is the record as it
    was read, None while nothing has been done to it. `stationary` is the duration in s of the stationary part of an
    artificial record, None where nobody has stated it. The array is copied and made read-only. Raises `InputError`
    for fewer than two samples, a shape that is not one-dimensional, values that are not finite, a bad step.
    """

    acceleration: np.ndarray
    dt: float
    name: str
    synthetic: bool = False
    provenance: tuple[str, ...] = ()
    raw: "Record | None" = None
    stationary: float | None = None

    def __post_init__(self) -> None:
        a = np.array(self.acceleration, dtype=np.float64)
        if a.ndim != 1 or a.size < 2:
            raise InputError(
                f"record {self.name!r} has acceleration of shape {a.shape}; allowed: one row of at least 2 samples. "
                "Likely mistake: several components at once, or a file that was read empty"
            )
        bad = np.flatnonzero(~np.isfinite(a))
        if bad.size:
            raise InputError(
                f"record {self.name!r} has {bad.size} samples that are not finite, the first at {bad[0]}; "
                "allowed: finite numbers. Likely mistake: a gap in the data; fill or cut it before"
            )
        a.flags.writeable = False
        object.__setattr__(self, "acceleration", a)
        object.__setattr__(
            self, "dt", positive(f"step of record {self.name!r}", self.dt, hint="dt is in seconds")
        )
        object.__setattr__(self, "synthetic", bool(self.synthetic))
        object.__setattr__(self, "provenance", tuple(self.provenance))

    @property
    def time(self) -> np.ndarray:
        """Time of the samples, s, from 0."""
        return self.dt * np.arange(self.acceleration.size)

    @property
    def duration(self) -> float:
        """Time from the first to the last sample, s."""
        return self.dt * (self.acceleration.size - 1)

    @property
    def label(self) -> str:
        """Name for plots and tables, with "(synthetic)" where that is so and the name does not say it."""
        told = not self.synthetic or "synthetic" in self.name.lower()
        return self.name if told else f"{self.name} (synthetic)"

    def processed(self, acceleration: Any, note: str, *, dt: float | None = None) -> "Record":
        """The record with another acceleration (m/s²); `note` says what was done, the raw one stays beside it."""
        return Record(
            acceleration,
            self.dt if dt is None else dt,
            self.name,
            self.synthetic,
            (*self.provenance, note),
            self if self.raw is None else self.raw,
            self.stationary,
        )

    def scaled(self, factor: float) -> "Record":
        """The record times a positive factor."""
        factor = positive(
            f"scale factor of record {self.name!r}", factor, hint="mirror a record with processed()"
        )
        return self.processed(factor * self.acceleration, f"scaled by {factor:.6g}")


def as_records(records: "Record | Iterable[Record]") -> Sequence[Record]:
    """One or several records as a non-empty sequence of `Record`, or `InputError`."""
    suite = [records] if isinstance(records, Record) else list(records)
    if not suite:
        raise InputError("records is empty; allowed: at least one Record")
    for item in suite:
        if not isinstance(item, Record):
            raise InputError(
                f"records hold {item!r}; allowed: Record. Likely mistake: a bare array; wrap it as "
                "Record(acceleration, dt, name)"
            )
    return suite


def unit_factor(units: str) -> float:
    """m/s² per unit of acceleration, or `InputError` that lists the units."""
    lowered = str(units).strip().lower()
    if lowered in ("count", "counts"):
        raise InputError(
            "units are raw counts; allowed: "
            + ", ".join(UNITS)
            + ". Counts are not an acceleration: divide them "
            "by the instrument's sensitivity (counts per m/s²), or give it to the reader"
        )
    return UNITS[known("units of acceleration", lowered, UNITS)]


def check_size(record: Record, units: str, *, any_size: bool = False) -> Record:
    """Return `record` after a look at its peak about the mean, which tells g, gal, m/s² and counts apart.

    Warns above 2 g (few records have ever exceeded it; from memory) and below 0.0002 g (less than what is felt;
    common practice, no source); raises `InputError` above 10 g unless `any_size`. `units` are those of the file.
    """
    peak = float(np.max(np.abs(record.acceleration - record.acceleration.mean()))) / GRAVITY
    said = f"record {record.name!r}, read in {units}, has a peak of {peak:.4g} g"
    if peak > 10.0 and not any_size:
        raise InputError(
            f"{said}; allowed: up to 10 g. Likely mistake: the file is in gal, mm/s² or raw counts; give its own units "
            "(or any_size=True if this is meant)"
        )
    if peak > 2.0:
        warnings.warn(
            f"{said}: are the numbers in gal, or in m/s² instead of g?", RecordWarning, stacklevel=3
        )
    elif 0.0 < peak < 2e-4:
        warnings.warn(f"{said}: are the numbers in g, or not calibrated?", RecordWarning, stacklevel=3)
    elif peak == 0.0:
        warnings.warn(f"{said}: the channel is dead", RecordWarning, stacklevel=3)
    return record
