"""Rehearsal of a test in one call: virtual tests with scattered properties, and what they say about the rig.

Each run is a whole test on a simulated rig at its controller's rate. Out come the probability that each limit is hit,
with its confidence interval (E. B. Wilson 1927), the capacities needed, the error against a reference model, and a
recommended time scale and step. Gates: 80 to 85 % of force, stroke and flow (common practice, no source); a step of at
most a tenth of the shortest period that matters, 1 to 10 ms (common practice).
"""

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np

from frame2d.analysis.response import Response
from frame2d.compare import nrmse, peak_error
from frame2d.errors import InputError, within
from frame2d.hybrid.frame_solver import FrameSolver
from frame2d.hybrid.limits import Limits
from frame2d.hybrid.rig import Rig
from frame2d.hybrid.virtual import Chance, VirtualRun, chances, virtual_test

#: Share of a capacity that a test may use.
GATE = 0.8
#: Time scales from which one is recommended: the trade slows tests 1 to 200 times.
TIME_SCALES = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0)


class Capacity(NamedTuple):
    """One capacity of the rig: what the runs needed (median, and the most of all), and what there is; SI units."""

    median: float
    most: float
    available: float
    unit: str

    @property
    def share(self) -> float:
        """Most over available."""
        return self.most / self.available


class Rehearsal(NamedTuple):
    """What a rehearsal found; `nrmse` (of the range) and `peak_error` of the watched history, one number a run."""

    runs: list[VirtualRun]
    chances: dict[str, Chance]
    capacities: dict[str, Capacity]
    nrmse: np.ndarray
    peak_error: np.ndarray
    time_scale: float
    step: float
    recommended_time_scale: float
    recommended_step: float
    words: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        """Plain numbers and words."""
        finite = np.isfinite(self.nrmse)
        return {
            "runs": len(self.runs),
            "time_scale": self.time_scale,
            "step_s": self.step,
            "chances": {name: chance._asdict() for name, chance in self.chances.items()},
            "capacities": {name: {**c._asdict(), "share": c.share} for name, c in self.capacities.items()},
            "nrmse_median": float(np.median(self.nrmse[finite])) if finite.any() else None,
            "nrmse_most": float(self.nrmse[finite].max()) if finite.any() else None,
            "peak_error_median": float(np.median(self.peak_error[finite])) if finite.any() else None,
            "recommended_time_scale": self.recommended_time_scale,
            "recommended_step_s": self.recommended_step,
            "words": list(self.words),
        }


def rehearsal(
    make: Callable[[int], tuple[FrameSolver, Rig]],
    limits: Limits,
    seeds: Sequence[int],
    reference: np.ndarray,
    watch: Callable[[Response], np.ndarray],
    *,
    weights: np.ndarray | None = None,
    threads: int = 2,
) -> Rehearsal:
    """Virtual tests of ``make(seed) -> (solver, rig)``, in `threads`, compared with `reference` through `watch`.

    `reference` (steps + 1,) is the watched history of the model that the test should reproduce, at the test's step or a
    whole fraction of it; `weights`: delay compensation, newest target first. Limits are noted, not enforced, so that
    every one can be seen.
    """
    if not len(seeds):
        raise InputError("no seeds for the rehearsal; allowed: one or more")
    wanted = np.asarray(reference, dtype=np.float64)

    def one(seed: int) -> tuple[VirtualRun, float, float, Rig, float, float]:
        solver, rig = make(seed)
        run = virtual_test(solver, rig, limits, weights)
        if not run.completed:
            return run, np.nan, np.nan, rig, solver.time_scale, solver.dt
        found = watch(solver.response())
        every = max(1, (wanted.size - 1) // max(1, found.size - 1))
        x = wanted[::every][: found.size]
        y = found[: x.size]
        return (
            run,
            float(nrmse(x, y, "range").value),
            float(peak_error(x, y)),
            rig,
            solver.time_scale,
            solver.dt,
        )

    with ThreadPoolExecutor(int(within("threads", threads, 1, 1024))) as pool:
        done = list(pool.map(one, seeds))
    runs = [entry[0] for entry in done]
    rig, time_scale, step = done[0][3], done[0][4], done[0][5]
    table = capacities(runs, rig, limits)
    solver = make(int(seeds[0]))[0]
    better_scale = recommended_time_scale(table, time_scale)
    better_step = recommended_step(solver)
    errors, peaks = (np.array([entry[i] for entry in done]) for i in (1, 2))
    counted = chances(runs)
    words = in_words(counted, table, errors, peaks, time_scale, better_scale, step, better_step)
    return Rehearsal(runs, counted, table, errors, peaks, time_scale, step, better_scale, better_step, words)


def capacities(runs: Sequence[VirtualRun], rig: Rig, limits: Limits) -> dict[str, Capacity]:
    """Table of capacities over the runs; stroke holds what remained, as nothing returns between steps."""
    actuators = rig.actuators
    bounds = limits.bounds(rig.freedoms)
    peaks = {
        name: np.array([float(getattr(run.peaks, name).max()) for run in runs])
        for name in ("stroke", "force", "velocity", "flow", "error")
    }
    residual = np.array(
        [float(np.abs(run.displacement[-1]).max()) if len(run.displacement) else 0.0 for run in runs]
    )
    reach = float(np.minimum(np.abs(bounds.low), np.abs(bounds.high)).min())
    flow = min(actuator.flow_gain for actuator in actuators)

    def capacity(values: np.ndarray, available: float, unit: str) -> Capacity:
        return Capacity(float(np.median(values)), float(values.max()), available, unit)

    return {
        "force": capacity(peaks["force"], min(float(bounds.force.min()), min(a.stalled_force for a in actuators)), "N"),
        "stroke": capacity(peaks["stroke"], min(reach, min(a.half_stroke for a in actuators)), "m"),
        "residual stroke": capacity(residual, min(reach, min(a.half_stroke for a in actuators)), "m"),
        "velocity": capacity(
            peaks["velocity"], min(float(bounds.velocity.min()), min(a.no_load_velocity for a in actuators)), "m/s"
        ),
        "oil flow": capacity(peaks["flow"], flow, "m³/s"),
        "tracking error": capacity(peaks["error"], float(bounds.tracking.min()), "m"),
    }  # fmt: skip


def recommended_time_scale(table: dict[str, Capacity], time_scale: float) -> float:
    """Fastest of `TIME_SCALES` at which velocity, flow and tracking, which go with 1/λ, stay within the gate."""
    share = max(table[name].share for name in ("velocity", "oil flow", "tracking error"))
    needed = time_scale * share / GATE
    return next((scale for scale in TIME_SCALES if scale >= needed), math.ceil(needed))


def recommended_step(solver: FrameSolver, share: float = 0.95) -> float:
    """A tenth of the shortest period among the modes that carry `share` of the mass, kept within 1 to 10 ms, s."""
    M, _, K, _, influence = solver.condensed()
    from scipy.linalg import eigh

    values, shapes = eigh(K, M)
    effective = (shapes.T @ influence) ** 2
    order = np.argsort(effective)[::-1]
    many = int(np.searchsorted(np.cumsum(effective[order]) / effective.sum(), share)) + 1
    shortest = 2.0 * np.pi / np.sqrt(max(values[order[:many]].max(), 1e-12))
    whole = math.floor(min(max(0.1 * shortest, 1e-3), 1e-2) * 1e3 + 1e-9)
    return 1e-3 * whole


def in_words(
    counted: dict[str, Chance],
    table: dict[str, Capacity],
    errors: np.ndarray,
    peaks: np.ndarray,
    time_scale: float,
    better_scale: float,
    step: float,
    better_step: float,
) -> tuple[str, ...]:
    """The findings as sentences with numbers."""
    lines = []
    for name, chance in counted.items():
        what = "the run breaks down" if name == "breakdown" else f"the limit of {name} is hit"
        lines.append(
            f"{what}: {chance.value:.0%} of the runs (95 % interval {chance.low:.0%} to {chance.high:.0%})"
        )
    for name, c in table.items():
        verdict = "within" if c.share <= GATE else "BEYOND"
        lines.append(
            f"{name}: at most {c.most:.4g} {c.unit} of {c.available:.4g} {c.unit} ({c.share:.0%}, {verdict} the gate of "
            f"{GATE:.0%})"
        )
    good = np.isfinite(errors)
    if good.any():
        lines.append(
            f"difference from the reference: {np.median(errors[good]):.2%} of the range (most {errors[good].max():.2%}), "
            f"peak {np.median(peaks[good]):+.2%}, device strength scattered"
        )
    lines.append(f"recommended time scale: {better_scale:g} (rehearsed at {time_scale:g})")
    lines.append(f"recommended step: at most {better_step * 1e3:g} ms (rehearsed at {step * 1e3:g} ms)")
    return tuple(lines)


__all__ = ["Capacity", "Rehearsal", "capacities", "recommended_step", "recommended_time_scale", "rehearsal"]
