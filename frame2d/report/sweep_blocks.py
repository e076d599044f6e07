"""Sweeps in a report: a matrix of runs as a table, incremental runs and fragility as curves."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from frame2d.campaign import Curve, Finished, Fragility, counts, tabulated
from frame2d.report.collect import fact, table


def matrix_table(
    runs: Iterable[Finished],
    key: str,
    rows: str,
    columns: str,
    *,
    caption: str,
    factor: float = 1.0,
    unit: str = "",
) -> dict[str, Any]:
    """Values of `key` times `factor` by two axes; cells of runs that did not complete say so."""
    everything = list(runs)
    found = tabulated(everything, key, rows, columns)
    lines = [
        [name, *[
            status or "not run" if value is None else factor * value
            for value, status in zip(values, states, strict=True)
        ]]
        for name, values, states in zip(found["rows"], found["values"], found["status"], strict=True)
    ]  # fmt: skip
    said = ", ".join(f"{number} {status}" for status, number in counts(everything).items() if number)
    heads: list[str | tuple[str, str]] = [rows, *[(name, unit) for name in found["columns"]]]
    return table(caption, heads, lines, f"{len(everything)} runs: {said}.")


def intensity_curves(
    curves: Sequence[Curve], *, caption: str, demand: str, factor: float = 1.0, limit: float | None = None
) -> dict[str, Any]:
    """Demand (times `factor`, labelled `demand`) across, intensity upwards; curves end where nothing is known."""
    series: list[dict[str, Any]] = []
    for curve in curves:
        known = np.isfinite(curve.demand)
        x = [0.0, *(factor * curve.demand[known]).tolist()]
        series.append({"name": curve.record, "x": x, "y": [0.0, *curve.factor[known].tolist()], "dots": True})
    if limit is not None:
        top = max(float(curve.factor.max()) for curve in curves)
        series.append(
            {
                "name": "limit",
                "x": [factor * limit, factor * limit],
                "y": [0.0, top],
                "number": 6,
                "dots": False,
            }
        )
    if len(curves) > 6:
        for k, entry in enumerate(series):
            entry["name"] = "" if k < len(curves) else entry["name"]
            entry["number"] = entry.get("number", k % 6)
    return {
        "caption": caption, "alt": f"Factor on the record against {demand} for {len(curves)} records", "x": demand,
        "y": "factor on the record (–)", "series": series,
    }  # fmt: skip


def fragility_block(
    fragility: Fragility, curves: Sequence[Curve], *, limit: str, unit: str = "factor on the record (–)"
) -> dict[str, Any]:
    """Median, dispersion and probability curve of reaching `limit` (text)."""
    top = 2.5 * fragility.median
    x = np.linspace(0.01 * top, top, 60)
    return {
        "facts": [
            fact(f"Median at which {limit} is reached", fragility.median),
            fact("Logarithmic standard deviation", fragility.beta),
            fact("Records", fragility.records),
            fact("of which reached it", fragility.reached),
            fact("without a result beyond some factor", fragility.unknown, "", "counted as not reached, never as collapse"),
        ],
        "curves": [
            {"caption": f"Probability of reaching {limit} by intensity, {len(curves)} records.",
             "alt": f"Lognormal curve with median {fragility.median:.3g} and dispersion {fragility.beta:.3g}",
             "x": unit, "y": "probability (–)", "series": [{"name": "", "x": x.tolist(), "y": fragility.probability(x).tolist()}]}
        ],
    }  # fmt: skip
