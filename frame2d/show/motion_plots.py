"""Pictures of ground motions: histories, spectra of a suite with mean and target, an adjustment, a ranked choice."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.errors import InputError
from frame2d.motions.adjustment import Adjustment
from frame2d.motions.choice import Choice
from frame2d.motions.measures import displacement, velocity
from frame2d.motions.record import Record, as_records
from frame2d.motions.selection import Suite
from frame2d.motions.spectra import response_spectra
from frame2d.motions.suite_rules import SHARE, SPAN
from frame2d.motions.target import Target
from frame2d.show.look import BLUE, FAINT, GREEN, INK, ORANGE, VERMILION, caption, dress, new_figure, style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Records shown in one picture of histories.
_MOST = 12


def plot_motion(record: Record) -> "Figure":
    """Ground acceleration, velocity and displacement of one record."""
    figure = new_figure(8.0, 5.6)
    rows = figure.subplots(3, 1, sharex=True)
    curves = (
        ("acceleration (m/s²)", record.acceleration, BLUE),
        ("velocity (m/s)", velocity(record), GREEN),
        ("displacement (m)", displacement(record), VERMILION),
    )
    for axes, (label, values, colour) in zip(rows, curves, strict=True):
        axes.plot(record.time, values, color=colour, linewidth=0.8)
        peak = int(np.argmax(np.abs(values)))
        axes.plot(record.time[peak], values[peak], "o", color=INK, markersize=3)
        dress(axes, "", label)
        axes.set_title(f"peak {values[peak]:.3g} at {record.time[peak]:.2f} s", fontsize=8, loc="right")
    rows[-1].set_xlabel("time (s)", fontsize=9)
    rows[0].set_title(record.label, fontsize=9.5, loc="left")
    caption(figure, "; ".join(record.provenance) or "no provenance stated")
    return figure


def plot_records(records: Record | Iterable[Record]) -> "Figure":
    """Accelerations of several records (at most 12) to one scale, each with its label."""
    suite = as_records(records)
    if len(suite) > _MOST:
        raise InputError(f"{len(suite)} records for one picture of histories; allowed: up to {_MOST}")
    figure = new_figure(8.0, 1.0 + 0.85 * len(suite))
    rows = figure.subplots(len(suite), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
    for axes, record in zip(rows, suite, strict=True):
        axes.plot(record.time, record.acceleration, color=BLUE, linewidth=0.7)
        dress(axes, "", "m/s²")
        peak = np.max(np.abs(record.acceleration))
        axes.set_title(record.label, fontsize=8.5, loc="left", pad=2)
        axes.set_title(f"peak {peak:.2f} m/s²", fontsize=8.5, loc="right", pad=2)
    rows[-1].set_xlabel("time (s)", fontsize=9)
    return figure


def plot_spectra(
    records: Record | Iterable[Record],
    target: Target,
    T1: float | None = None,
    *,
    factors: Sequence[float] | None = None,
    periods: Any = None,
    title: str = "",
) -> "Figure":
    """Pseudo-acceleration of each record, their mean and the target; with `T1` the span and 90 % line of EN 1998-1.

    `factors` multiply the records; `periods` in s, None: 150 from 0.02 to 4 s.
    """
    suite = as_records(records)
    T = np.geomspace(0.02, 4.0, 150) if periods is None else np.asarray(periods, dtype=float)
    f = np.ones(len(suite)) if factors is None else np.asarray(factors, dtype=float)
    PSA = f[:, None] * response_spectra(suite, T, target.damping).PSA
    goal = target.acceleration(T)
    figure = new_figure(7.6, 4.6)
    axes = figure.subplots()
    if T1 is not None:
        axes.axvspan(SPAN[0] * T1, SPAN[1] * T1, color="#eef3f8", zorder=0)
        axes.axvline(T1, color=FAINT, linewidth=0.8)
        axes.annotate(
            "T1",
            (T1, 1.0),
            (3, -2),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            fontsize=8,
            va="top",
        )
    for i, row in enumerate(PSA):
        axes.plot(T, row, color=FAINT, linewidth=0.8, label="records" if i == 0 else None)
    axes.plot(T, PSA.mean(axis=0), color=BLUE, linewidth=2.0, label=f"mean of {len(suite)}")
    axes.plot(T, goal, color=VERMILION, linewidth=1.8, linestyle="--", label="target")
    if T1 is not None:
        axes.plot(
            T, SHARE * goal, color=VERMILION, linewidth=0.9, linestyle=":", label=f"{SHARE:.0%} of the target"
        )
    axes.set_xscale("log")
    _plain_periods(axes, T)
    dress(
        axes, "period (s)", f"pseudo-acceleration (m/s²), damping {target.damping:.0%}", title or target.name
    )
    axes.set_ylim(bottom=0.0)
    axes.legend(fontsize=8, frameon=False)
    made = sum(record.synthetic for record in suite)
    names = ", ".join(
        f"{r.name} ×{x:.2f}" if factors is not None else r.name for r, x in zip(suite, f, strict=True)
    )
    said = (
        ""
        if not made
        else ("; all synthetic" if made == len(suite) else f"; {made} of {len(suite)} synthetic")
    )
    caption(figure, names + said)
    return figure


def plot_suite(suite: Suite, target: Target, T1: float) -> "Figure":
    """Spectra of a selected suite with its factors, and whether it passes the suite rules."""
    verdict = (
        "passes the suite rules of EN 1998-1" if suite.report.passed else "FAILS the suite rules of EN 1998-1"
    )
    if suite.report.open:
        verdict += f" ({len(suite.report.open)} open)"
    return plot_spectra(
        suite.records, target, T1, factors=suite.factors.tolist(), title=f"{verdict}, score {suite.score:.3f}"
    )


def plot_adjustment(fit: Adjustment, before: Record) -> "Figure":
    """Spectrum over target and histories before and after an adjustment."""
    figure = new_figure(8.0, 6.4)
    top, middle, bottom = figure.subplots(3, 1, height_ratios=(1.4, 1.0, 1.0))
    order = np.argsort(fit.periods)
    T = fit.periods[order]
    top.axhline(1.0, color=INK, linewidth=0.8)
    top.plot(T, fit.ratio_before[order], **style(1), linewidth=1.0, label="before")
    top.plot(T, fit.ratio_after[order], color=BLUE, linewidth=1.6, label="after")
    top.set_xscale("log")
    _plain_periods(top, T)
    dress(top, "period (s)", "spectrum over target", fit.record.label)
    top.legend(fontsize=8, frameon=False)
    for axes, curve, label in ((middle, None, "acceleration (m/s²)"), (bottom, velocity, "velocity (m/s)")):
        for record, colour, width in ((before, VERMILION, 0.8), (fit.record, BLUE, 0.8)):
            axes.plot(
                record.time,
                record.acceleration if curve is None else curve(record),
                color=colour,
                linewidth=width,
            )
        dress(axes, "time (s)", label)
    return figure


def plot_choice(choice: Choice, most: int = 12) -> "Figure":
    """Scores of the records ranked for one test, and the spectrum of the best beside the target."""
    shown = min(most, len(choice.records))
    figure = new_figure(9.0, 4.4)
    left, right = figure.subplots(1, 2, width_ratios=(1.0, 1.2))
    allowed = np.isfinite(choice.score[:shown])
    length = np.where(allowed, choice.score[:shown], np.max(choice.score[np.isfinite(choice.score)]))
    places = np.arange(shown)[::-1]
    left.barh(places, length, color=[BLUE if fine else "#e4e4e4" for fine in allowed], height=0.65)
    left.set_yticks(places, [record.label for record in choice.records[:shown]])
    for place, reason in zip(places, choice.excluded[:shown], strict=True):
        if reason:
            left.annotate(
                reason, (0.0, place), (4, 0), textcoords="offset points", fontsize=7, va="center", color=INK
            )
    dress(left, "score, smaller is better", "", choice.limit_state or "ranking")
    T = np.geomspace(0.02, 4.0, 150)
    best = choice.records[0]
    PSA = choice.factors[0] * response_spectra(best, T, choice.target.damping).PSA
    right.plot(T, PSA, color=BLUE, linewidth=1.4, label=f"{best.label} ×{choice.factors[0]:.2f}")
    right.plot(
        T, choice.target.acceleration(T), color=VERMILION, linestyle="--", linewidth=1.6, label="target"
    )
    right.set_xscale("log")
    _plain_periods(right, T)
    dress(right, "period (s)", "pseudo-acceleration (m/s²)")
    right.set_ylim(bottom=0.0)
    right.legend(fontsize=8, frameon=False)
    caption(figure, f"{choice.target.name}; score of: {', '.join(choice.criteria)}")
    return figure


def plot_ductility(
    periods: np.ndarray, ductility: np.ndarray, reduction: np.ndarray, title: str = ""
) -> "Figure":
    """Reduction of strength against period, one curve for each ductility; `reduction` is [ductility, period]."""
    figure = new_figure(7.0, 4.2)
    axes = figure.subplots()
    for i, (mu, row) in enumerate(zip(ductility, np.atleast_2d(reduction), strict=True)):
        axes.plot(periods, row, **style(i), linewidth=1.3, label=f"μ = {mu:g}")
        axes.axhline(mu, color=ORANGE, linewidth=0.6, linestyle=":", label="R = μ" if i == 0 else None)
    axes.set_xscale("log")
    _plain_periods(axes, np.asarray(periods))
    dress(axes, "period (s)", "elastic demand over strength", title)
    axes.legend(fontsize=8, frameon=False)
    return figure


def _plain_periods(axes: Any, T: np.ndarray) -> None:
    """Round periods as ticks of a logarithmic axis."""
    from matplotlib.ticker import NullLocator

    ticks = [t for t in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 4.0, 10.0) if T.min() <= t <= T.max()]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.xaxis.set_minor_locator(NullLocator())
