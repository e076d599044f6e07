"""Incremental runs: one frame, many records, rising factors; curves of intensity against demand, and fragility.

Vamvatsikos & Cornell, "Applied incremental dynamic analysis", 2004 (from memory); lognormal fragility from the
intensities at which records reach a limit, with records that never did, by maximum likelihood (Baker, "Efficient
analytical fragility function fitting using dynamic structural analysis", 2015; that truncated analyses are fitted so
was checked against the readme of the author's scripts, github.com, 2026, and the likelihood of censored values is
derived). A run that does not converge says nothing about collapse: the record counts as not having reached the limit
up to its last completed factor below.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from scipy.optimize import minimize
from scipy.stats import norm

from frame2d.analysis import Outcome, gravity, time_history
from frame2d.campaign.sweep import COLLAPSED, COMPLETED, Finished, Job, grid
from frame2d.errors import InputError, positive
from frame2d.model.frame import Frame
from frame2d.model.schema import from_data, to_data


@dataclass(frozen=True)
class IntensityRun:
    """Callable for `sweep`: the frame under gravity and one record times a factor; peaks as plain numbers.

    Carries the frame as text, so that processes and clusters can run it; each compiles it once. `options` go to
    `time_history`.
    """

    frame: str
    options: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, frame: Frame, **options: Any) -> "IntensityRun":
        """From a `Frame` and options of `time_history` (damping, dt, drift_limit, …)."""
        return cls(json.dumps(to_data(frame), sort_keys=True), options)

    def __call__(self, record: Any, factor: float) -> dict[str, Any]:
        """Status, peak and residual drift ratios, base shear (N), roof displacement (m), energies (J) of one run."""
        system, state = _standing(self.frame)
        response = time_history(system, record, state, factor=factor, **self.options)
        drifts = response.drifts()
        levels = system.frame.levels()
        peak = {name: float(np.abs(drift).max()) for name, drift in drifts.items()}
        return {
            "status": COLLAPSED if response.outcome is Outcome.COLLAPSED else COMPLETED,
            "peak_drift": peak,
            "largest_drift": max(peak.values(), default=0.0),
            "residual_drift": {name: float(drift[-1]) for name, drift in drifts.items()},
            "base_shear_N": float(np.abs(response.base_shear()).max()),
            "roof_m": float(np.abs(response.floor(levels[-1][0])).max()) if levels else 0.0,
            "imbalance": response.imbalance(),
            "steps": int(response.time.size),
        }


@lru_cache(maxsize=8)
def _standing(text: str) -> tuple[Any, Any]:
    """System and state under gravity, compiled once in a process."""
    system = from_data(json.loads(text)).compile()
    frame = system.frame
    cases = {load.case for load in frame.node_loads} | {load.case for load in frame.member_loads}
    loaded = "gravity" in cases
    return system, gravity(system).state if loaded else system.rest()


def incremental(records: Sequence[Any] | Mapping[str, Any], factors: Iterable[float]) -> list[Job]:
    """Jobs of every record at every factor."""
    rising = [positive("factor", factor) for factor in factors]
    return grid(record=records, factor={f"{factor:.6g}": factor for factor in rising})


class Curve(NamedTuple):
    """One record: rising factors, demand at each (NaN where nothing is known), status at each."""

    record: str
    factor: np.ndarray
    demand: np.ndarray
    status: tuple[str, ...]


def curves(runs: Iterable[Finished], demand: str = "largest_drift") -> list[Curve]:
    """Curves of an incremental sweep; a collapsed run has an infinite demand, one that did not converge none."""
    by: dict[str, list[tuple[float, float, str]]] = {}
    for run in runs:
        value = {COMPLETED: run.values.get(demand, np.nan), COLLAPSED: np.inf}.get(run.status, np.nan)
        entry = (float(run.job.place["factor"]), float(value), run.status)
        by.setdefault(run.job.place["record"], []).append(entry)
    found = []
    for record, points in by.items():
        points.sort()
        found.append(
            Curve(
                record,
                np.array([p[0] for p in points]),
                np.array([p[1] for p in points]),
                tuple(p[2] for p in points),
            )
        )
    return found


class Reached(NamedTuple):
    """Factor at which a record first reaches a limit, or (`reached` False) the largest up to which it surely did not."""

    record: str
    factor: float
    reached: bool


def reaches(curve: Curve, limit: float) -> Reached:
    """Linear between completed runs; a collapse is passed half-way between its factor and the one below.

    Not knowing breaks the curve: beyond a run that did not converge nothing is concluded.
    """
    positive("limit", limit, hint="in the unit of the demand; drifts are ratios, not %")
    below, value = 0.0, 0.0
    for factor, demand in zip(curve.factor.tolist(), curve.demand.tolist(), strict=True):
        if np.isnan(demand):
            break
        if demand >= limit:
            share = 0.5 if np.isinf(demand) else (limit - value) / (demand - value)
            return Reached(curve.record, below + share * (factor - below), True)
        below, value = factor, demand
    return Reached(curve.record, below, False)


class Fragility(NamedTuple):
    """Lognormal probability of reaching a limit: median factor and logarithmic standard deviation.

    `records` took part, `reached` of them reached the limit, `unknown` broke off before they did, by a run without
    result, and none is known of the others beyond their last factor.
    """

    median: float
    beta: float
    records: int
    reached: int
    unknown: int

    def probability(self, factor: Any) -> np.ndarray:
        """P(limit reached | factor)."""
        return np.asarray(norm.cdf(np.log(np.asarray(factor, dtype=float) / self.median) / self.beta))


def fragility(found: Iterable[Curve], limit: float) -> Fragility:
    """Fit by maximum likelihood: density at factors where records reached the limit, survival where they did not.

    Raises `InputError` where fewer than two records reached the limit, or all at one factor.
    """
    everything = list(found)
    points = [reaches(curve, limit) for curve in everything]
    hit = np.log([p.factor for p in points if p.reached])
    open_ = np.log([p.factor for p in points if not p.reached and p.factor > 0.0])
    if hit.size < 2 or np.ptp(hit) == 0.0:
        raise InputError(
            f"{hit.size} of {len(points)} records reach the limit {limit:g} at different factors; allowed: two or more. "
            "Likely mistake: factors that end too early, or a limit in % instead of a ratio"
        )
    unknown = sum(
        not point.reached and bool(np.isnan(curve.demand).any())
        for point, curve in zip(points, everything, strict=True)
    )
    mean, spread = float(hit.mean()), float(hit.std())
    if open_.size:

        def against(x: np.ndarray) -> float:
            scale = np.exp(x[1])
            return -float(norm.logpdf(hit, x[0], scale).sum() + norm.logsf(open_, x[0], scale).sum())

        best = minimize(
            against, [mean, np.log(spread)], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10}
        )
        mean, spread = float(best.x[0]), float(np.exp(best.x[1]))
    return Fragility(float(np.exp(mean)), spread, len(points), int(hit.size), int(unknown))
