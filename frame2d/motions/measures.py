"""Measures of a record: peaks, Arias intensity, significant duration, cumulative absolute velocity.

Every integral is exact for acceleration that is linear between samples, the reading that response spectra use too.
"""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import InputError
from frame2d.motions.record import GRAVITY, Record


def velocity(record: Record) -> np.ndarray:
    """Ground velocity at the samples, m/s, from rest."""
    a = record.acceleration
    return np.concatenate([[0.0], np.cumsum(0.5 * record.dt * (a[1:] + a[:-1]))])


def displacement(record: Record) -> np.ndarray:
    """Ground displacement at the samples, m, from rest."""
    a, v, dt = record.acceleration, velocity(record), record.dt
    return np.concatenate([[0.0], np.cumsum(dt * v[:-1] + dt * dt * (2.0 * a[:-1] + a[1:]) / 6.0)])


def pga(record: Record) -> float:
    """Peak ground acceleration max|a|, m/s²."""
    return float(np.max(np.abs(record.acceleration)))


def pgv(record: Record) -> float:
    """Peak ground velocity max|v|, m/s, also where acceleration crosses zero between samples."""
    a, v = record.acceleration, velocity(record)
    i = np.flatnonzero(a[:-1] * a[1:] < 0.0)
    crossing = v[i] + 0.5 * record.dt * a[i] ** 2 / (a[i] - a[i + 1])
    return float(max(np.max(np.abs(v)), np.max(np.abs(crossing), initial=0.0)))


def pgd(record: Record) -> float:
    """Peak ground displacement max|d| at the samples, m."""
    return float(np.max(np.abs(displacement(record))))


def _husid(record: Record) -> np.ndarray:
    """∫a² dt up to each sample, m²/s³."""
    a = record.acceleration
    return np.concatenate([[0.0], np.cumsum(record.dt / 3.0 * (a[:-1] ** 2 + a[:-1] * a[1:] + a[1:] ** 2))])


def arias(record: Record) -> float:
    """Arias intensity π/(2g)·∫a² dt, m/s (Arias 1970, A measure of earthquake intensity)."""
    return float(np.pi / (2.0 * GRAVITY) * _husid(record)[-1])


def significant_duration(record: Record, low: float = 0.05, high: float = 0.95) -> float:
    """Time between `low` and `high` of the final ∫a² dt, s (Trifunac & Brady 1975: 0.05 to 0.95).

    The build-up is taken linear between samples. Raises `InputError` for a record without motion.
    """
    if not 0.0 <= low < high <= 1.0:
        raise InputError(
            f"significant duration from {low!r} to {high!r}; allowed: shares with 0 ≤ low < high ≤ 1"
        )
    husid = _husid(record)
    if husid[-1] == 0.0:
        raise InputError(f"record {record.name!r} has no motion, so no significant duration")
    marks = np.array([low, high]) * husid[-1]
    after = np.clip(np.searchsorted(husid, marks, side="left"), 1, husid.size - 1)
    rise = husid[after] - husid[after - 1]
    share = np.divide(marks - husid[after - 1], rise, out=np.zeros(2), where=rise > 0.0)
    start, end = record.dt * (after - 1 + share)
    return float(end - start)


def cumulative_absolute_velocity(record: Record) -> float:
    """∫|a| dt, m/s, without threshold (EPRI 1988, A criterion for determining exceedance; from memory)."""
    a0, a1 = record.acceleration[:-1], record.acceleration[1:]
    crossing = a0 * a1 < 0.0
    spread = np.where(crossing, np.abs(a0 - a1), 1.0)
    area = np.where(crossing, (a0**2 + a1**2) / spread, np.abs(a0 + a1))
    return float(0.5 * record.dt * np.sum(area))


@dataclass(frozen=True)
class Measures:
    """The usual measures of one record, in SI units (see the functions of the same names)."""

    pga: float
    pgv: float
    pgd: float
    arias: float
    duration_5_95: float
    duration_5_75: float
    cumulative_absolute_velocity: float


def measures(record: Record) -> Measures:
    """All measures of `record`."""
    return Measures(
        pga(record),
        pgv(record),
        pgd(record),
        arias(record),
        significant_duration(record),
        significant_duration(record, 0.05, 0.75),
        cumulative_absolute_velocity(record),
    )
