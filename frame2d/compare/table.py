"""One call for all indices of a pair of histories, as a table whose rows carry their definitions."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.compare.delay import correlation_delay, local_delay
from frame2d.compare.differences import DENOMINATORS, nrmse, rmse, signal_energy_error
from frame2d.compare.frequency import frequency_index
from frame2d.compare.histories import pair, step
from frame2d.compare.loops import loop_errors
from frame2d.compare.magnitude_phase import russell, sprague_geers
from frame2d.compare.peaks import largest_difference, peak, residual_difference
from frame2d.compare.time_frequency import power_band, time_frequency_misfit
from frame2d.compare.tracking import tracking_indicator
from frame2d.compare.work import end_work_error, largest_work_error, work_error
from frame2d.errors import InputError, known


@dataclass(frozen=True)
class Index:
    """One row: `value` is None where the index is not defined for these histories, and `note` says why."""

    name: str
    value: float | None
    unit: str
    definition: str
    note: str = ""

    def __str__(self) -> str:
        value = "undefined" if self.value is None else f"{self.value:.4g} {self.unit}".rstrip()
        return f"{self.name:<26} {value:>16}  {self.definition}" + (f"  [{self.note}]" if self.note else "")


@dataclass(frozen=True)
class Comparison:
    """All indices of one pair of histories: print it, index it by name, or take it as a dict."""

    title: str
    rows: tuple[Index, ...]

    def __getitem__(self, name: str) -> float:
        """Value of the index `name`; raises `InputError` for an unknown or undefined one."""
        index = self.index(name)
        if index.value is None:
            raise InputError(f"index {name} is undefined: {index.note}")
        return index.value

    def index(self, name: str) -> Index:
        """Row of the index `name`; raises `InputError` for an unknown one."""
        rows = {row.name: row for row in self.rows}
        found: Index = rows[known("index", name, rows)]
        return found

    def __iter__(self) -> Iterator[Index]:
        return iter(self.rows)

    def as_dict(self) -> dict[str, float | None]:
        """Values by name; None where undefined."""
        return {row.name: row.value for row in self.rows}

    def as_table(self) -> list[dict[str, Any]]:
        """Rows as plain data: name, value, unit, definition, note."""
        return [dict(vars(row)) for row in self.rows]

    def __str__(self) -> str:
        return "\n".join([self.title, *map(str, self.rows)])


def compare(
    reference: Any,
    compared: Any,
    dt: float,
    *,
    forces: tuple[Any, Any] | None = None,
    unit: str = "",
    title: str = "",
    band: tuple[float, float] | None = None,
    residual_samples: int = 1,
) -> Comparison:
    """Every index of `compared` against `reference`, sampled at `dt` (s); lags are positive.

    `forces` (reference, compared) adds the indices of work and loops, the histories then being deformations.
    `unit` is printed beside dimensional indices. `band` (Hz) is that of the time-frequency misfit, the one
    with 99 % of the reference's power unless given. An index that the histories leave undefined (a zero or
    constant reference) is a row that says so; histories that cannot be compared at all raise `InputError`.
    """
    x, y = pair(reference, compared)
    dt = step(dt)
    rows = [
        *_sizes(x, y, unit, residual_samples),
        *_peaks(x, y, dt),
        *_phases(x, y, dt, unit),
        *_time_frequency(x, y, dt, band),
    ]
    if forces is not None:
        F, G = pair(forces[0], forces[1], ("reference force", "compared force"))
        pair(x, F, ("reference", "reference force"))
        rows += _loops(x, F, y, G)
    return Comparison(title or f"{x.size} samples at {dt:g} s", tuple(rows))


def _row(name: str, unit: str, definition: str, value: Callable[[], float]) -> Index:
    try:
        return Index(name, float(value()), unit, definition)
    except InputError as error:
        return Index(name, None, unit, definition, str(error))


def _sizes(x: np.ndarray, y: np.ndarray, unit: str, samples: int) -> list[Index]:
    rows = [_row("rmse", unit, "√mean (y − x)²", lambda: rmse(x, y))]
    return [
        *rows,
        *(_normalised(x, y, name) for name in DENOMINATORS),
        _row("signal_energy_error", "-", "(Σy² − Σx²)/Σx²", lambda: signal_energy_error(x, y)),
        _row("largest_difference", "-", "max|y − x| / max|x|", lambda: largest_difference(x, y)),
        _row(
            "residual_difference",
            unit,
            f"mean of y − x over the last {samples} samples" if samples > 1 else "y − x at the last sample",
            lambda: residual_difference(x, y, samples),
        ),
    ]


def _normalised(x: np.ndarray, y: np.ndarray, denominator: str) -> Index:
    definition = f"rmse / D, D = {DENOMINATORS[denominator]}"
    return _row(f"nrmse_{denominator}", "-", definition, lambda: nrmse(x, y, denominator).value)


def _peaks(x: np.ndarray, y: np.ndarray, dt: float) -> list[Index]:
    def rows(name: str, sign: int, what: str) -> list[Index]:
        error = f"({what} y − {what} x)/{what} x"
        late = f"time of {what} y after {what} x"
        return [
            _row(f"{name}_error", "-", error, lambda: peak(x, y, dt, sign).error),
            _row(f"{name}_lateness", "s", late, lambda: peak(x, y, dt, sign).lateness),
        ]

    return [*rows("peak", 0, "max|·|"), *rows("positive_peak", 1, "max"), *rows("negative_peak", -1, "min")]


def _phases(x: np.ndarray, y: np.ndarray, dt: float, unit: str) -> list[Index]:
    squared = f"({unit})²" if unit else ""
    fei = "Guo et al. 2014, l = 2: Σ(O/I)|I|²/Σ|I|²"
    sg, ru = "Sprague & Geers 2003", "Russell 1997"
    ti = "Mercan & Ricles 2007: ½(A − T)"
    xc = "largest correlation coefficient, means removed"
    return [
        _row("sprague_geers_magnitude", "-", f"{sg}: √(Σy²/Σx²) − 1", lambda: sprague_geers(x, y).magnitude),
        _row("sprague_geers_phase", "-", f"{sg}: arccos(Σxy/√(Σx²Σy²))/π", lambda: sprague_geers(x, y).phase),
        _row("sprague_geers_combined", "-", f"{sg}: √(M² + P²)", lambda: sprague_geers(x, y).combined),
        _row("russell_magnitude", "-", f"{ru}: sgn m·log10(1 + |m|)", lambda: russell(x, y).magnitude),
        _row("russell_combined", "-", f"{ru}: √(π/4·(M² + P²))", lambda: russell(x, y).combined),
        _row("fei_amplitude", "-", f"{fei}, |FEI|", lambda: frequency_index(x, y, dt).amplitude),
        _row("fei_frequency", "Hz", f"{fei}, Σ|I|²f/Σ|I|²", lambda: frequency_index(x, y, dt).frequency),
        _row("fei_delay", "s", f"{fei}, −arg FEI/(2π feq)", lambda: frequency_index(x, y, dt).delay),
        _row("correlation_delay", "s", f"lag of the {xc}", lambda: correlation_delay(x, y, dt).delay),
        _row("correlation", "-", xc, lambda: correlation_delay(x, y, dt).correlation),
        _row(
            "local_delay",
            "s",
            "analytic signals, mean weighted by a²",
            lambda: local_delay(x, y, dt).mean_delay,
        ),
        _row(
            "local_gain",
            "-",
            "analytic signals, mean weighted by a²",
            lambda: local_delay(x, y, dt).mean_gain,
        ),
        _row("tracking_indicator", squared, f"{ti}, at the end", lambda: tracking_indicator(x, y)[-1]),
    ]


def _time_frequency(x: np.ndarray, y: np.ndarray, dt: float, band: tuple[float, float] | None) -> list[Index]:
    source = "Kristeková et al. 2009"
    names = ("envelope_misfit", "phase_misfit", "envelope_score", "phase_score")
    try:
        band = band or power_band(x, dt)
        misfit = time_frequency_misfit(x, y, dt, band)
    except InputError as error:
        return [Index(name, None, "-", source, str(error)) for name in names]
    where = f"{source}, Morlet ω0 = 6, {band[0]:.3g} to {band[1]:.3g} Hz"
    return [
        Index("envelope_misfit", misfit.EM, "-", f"{where}: √(Σ(|V| − |W|)²/Σ|W|²)"),
        Index("phase_misfit", misfit.PM, "-", f"{where}: √(Σ(|W|·arg(V/W)/π)²/Σ|W|²)"),
        Index("envelope_score", misfit.envelope_score, "of 10", f"{source}: 10·exp(−EM)"),
        Index("phase_score", misfit.phase_score, "of 10", f"{source}: 10·(1 − PM)"),
    ]


def _loops(u: np.ndarray, F: np.ndarray, v: np.ndarray, G: np.ndarray) -> list[Index]:
    return [
        _row("work_error", "-", "(E_y − E_x)/E_x at the end, E = ∫F du", lambda: work_error(u, F, v, G)),
        _row("end_work_error", "-", "(E_y − E_x) at the end / max|E_x|", lambda: end_work_error(u, F, v, G)),
        _row("largest_work_error", "-", "max|E_y − E_x| / max|E_x|", lambda: largest_work_error(u, F, v, G)),
        _row(
            "half_cycle_energy_error",
            "-",
            "max|ΔE| of a half-cycle / largest |E| of one",
            lambda: loop_errors(u, F, v, G).energy,
        ),
        _row(
            "secant_error",
            "-",
            "max|Δk| of a half-cycle / largest |k|",
            lambda: loop_errors(u, F, v, G).secant,
        ),
        _row(
            "half_cycle_force_error",
            "-",
            "max|ΔF| of a half-cycle's peak / largest |F|",
            lambda: loop_errors(u, F, v, G).peak_force,
        ),
    ]
