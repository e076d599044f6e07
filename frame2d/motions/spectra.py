"""Elastic response spectra of one record or a whole suite, compiled and threaded."""

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, known
from frame2d.motions.oscillator import history, step_of
from frame2d.motions.peaks import peaks
from frame2d.motions.record import Record, as_records


@dataclass(frozen=True, eq=False)
class Spectra:
    """Response spectra: every array is [record, damping, period], without the axes that were given as one value.

    `SD` largest |u|, m; `SV` largest |u̇| relative to the ground, m/s; `SA` largest absolute |ü + a|, m/s². At T = 0
    the oscillator is rigid: SD = SV = 0 and SA = PSA = peak ground acceleration.
    """

    periods: np.ndarray
    damping: np.ndarray
    SD: np.ndarray
    SV: np.ndarray
    SA: np.ndarray
    #: Where peaks were looked for: "continuous" (inside steps too) or "samples".
    at: str
    names: tuple[str, ...]
    _rigid: np.ndarray

    @property
    def PSV(self) -> np.ndarray:
        """Pseudo-velocity ω·SD, m/s."""
        omega = np.divide(
            2.0 * np.pi, self.periods, out=np.zeros_like(self.periods), where=self.periods > 0.0
        )
        return np.asarray(omega * self.SD)

    @property
    def PSA(self) -> np.ndarray:
        """Pseudo-acceleration ω²·SD, m/s²; the peak ground acceleration at T = 0."""
        omega = np.divide(
            2.0 * np.pi, self.periods, out=np.zeros_like(self.periods), where=self.periods > 0.0
        )
        return np.where(self.periods > 0.0, omega**2 * self.SD, self._rigid)


def response_spectra(
    records: Record | Iterable[Record],
    periods: Any,
    damping: Any = 0.05,
    *,
    at: str = "continuous",
    tail: float | None = None,
    threads: int | None = None,
) -> Spectra:
    """Elastic spectra of `records` (one or several) at `periods` (s, 0 allowed) and `damping` ratios (0 ≤ ζ < 1).

    The response is exact for acceleration that is linear between samples (see `frame2d.motions.peaks`). Peaks
    are those of the continuous response, or of its samples (``at="samples"``). After the record, over `tail` seconds,
    the ground falls to zero within one step and rests; None takes the longest damped period, in which each history
    turns at least once. Records run in `threads` threads (None: one per core) with the lock released.
    Raises `InputError` for periods or damping out of range.
    """
    suite = as_records(records)
    T, zeta = checked_periods(periods), checked_damping(damping)
    known("spectra at", at, ("continuous", "samples"))
    moving = np.flatnonzero(T.ravel() > 0.0)
    grid_T = np.tile(T.ravel()[moving], zeta.size)
    grid_zeta = np.repeat(zeta.ravel(), moving.size)
    if tail is None:
        tail = float(np.max(grid_T / np.sqrt(1.0 - grid_zeta**2), initial=0.0))
    elif not (np.isfinite(tail) and tail >= 0.0):
        raise InputError(f"tail is {tail!r}; allowed: seconds, 0 or more")
    steps = {dt: step_of(grid_T, grid_zeta, dt) for dt in {record.dt for record in suite}}
    found = np.zeros((len(suite), grid_T.size, 3))

    def run(i: int) -> None:
        record = suite[i]
        omega, ratio, matrices = steps[record.dt]
        rest = int(np.ceil(tail / record.dt - 1e-9))
        peaks(record.acceleration, record.dt, rest, matrices, omega, ratio, at == "continuous", found[i])

    in_threads(run, len(suite), threads)
    whole = np.zeros((3, len(suite), zeta.size, T.size))
    whole[..., moving] = np.moveaxis(found, 2, 0).reshape(3, len(suite), zeta.size, moving.size)
    rigid = np.array([np.max(np.abs(record.acceleration)) for record in suite])
    whole[2][..., T.ravel() == 0.0] = rigid[:, None, None]
    shape = (() if isinstance(records, Record) else (len(suite),)) + zeta.shape + T.shape
    names = tuple(record.label for record in suite)
    still = np.broadcast_to(rigid[:, None, None], whole.shape[1:]).reshape(shape)
    return Spectra(T, zeta, *(part.reshape(shape) for part in whole), at=at, names=names, _rigid=still)  # type: ignore[arg-type, misc]


def response_history(record: Record, period: float, damping: float = 0.05) -> tuple[np.ndarray, np.ndarray]:
    """Exact relative displacement (m) and velocity (m/s) of one oscillator at the samples of `record`."""
    T, zeta = checked_periods(period), checked_damping(damping)
    if T.ndim or zeta.ndim or T == 0.0:
        raise InputError(
            f"response_history takes one period above 0 and one damping ratio, not {period!r}, {damping!r}"
        )
    out = np.empty((2, record.acceleration.size))
    history(record.acceleration, step_of(T, zeta, record.dt)[2][0], out)
    return out[0], out[1]


def checked_periods(periods: Any) -> np.ndarray:
    """Periods as a float array (scalar or one-dimensional), 0 to 100 s, or `InputError`."""
    T = np.asarray(periods, dtype=np.float64)
    if T.ndim > 1 or T.size == 0 or not np.all((T >= 0.0) & (T <= 100.0)):
        raise InputError(
            f"periods are {periods!r}; allowed: one value or one row, each from 0 to 100 s. "
            "Likely mistake: frequencies in Hz, or circular frequencies"
        )
    return T


def checked_damping(damping: Any) -> np.ndarray:
    """Damping ratios as a float array (scalar or one-dimensional), 0 ≤ ζ < 1, or `InputError`."""
    zeta = np.asarray(damping, dtype=np.float64)
    if zeta.ndim > 1 or zeta.size == 0 or not np.all((zeta >= 0.0) & (zeta < 1.0)):
        raise InputError(
            f"damping is {damping!r}; allowed: ratios from 0 to below 1. Likely mistake: 5 for 5 %"
        )
    return zeta


def in_threads(run: Callable[[int], None], count: int, threads: int | None) -> None:
    """Call ``run(0) … run(count − 1)``, the first alone (it may compile), the others in threads."""
    run(0)
    workers = min(count - 1, threads or os.cpu_count() or 1)
    if workers <= 1:
        for i in range(1, count):
            run(i)
        return
    with ThreadPoolExecutor(workers) as pool:
        for _ in pool.map(run, range(1, count)):
            pass
