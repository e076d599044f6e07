"""Rehearsal of a test: virtual tests with scattered properties, and what they say about the rig.

Each run is a whole test on a simulated rig at its controller's rate. Out come the probability that each limit is hit,
with its confidence interval (E. B. Wilson 1927), the capacities needed, the error against a reference model, and a
recommended time scale (`frame2d.hybrid.time_scale`, confirmed by trial runs at it) and step. Gates: 80 to 85 % of force,
stroke and flow (common practice, no source); a step of at most a tenth of the shortest period that matters, 1 to 10 ms
(common practice). `frame2d.hybrid.rehearse_split` makes the runs of a split frame.
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
from frame2d.hybrid.run_line import RunLine
from frame2d.hybrid.time_scale import FALLING, GATE, Choice, Stability, recommended_time_scale
from frame2d.hybrid.virtual import UNCOVERED, Chance, VirtualRun, chances, virtual_test

#: Runs that are tried at other time scales: those that asked most of the rig.
TRIED = 4


class Trial(NamedTuple):
    """One virtual test before it is run; `weights`: fixed delay compensation, newest target first."""

    solver: FrameSolver
    rig: Rig
    weights: np.ndarray | None = None


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
    #: None if none will do.
    recommended_time_scale: float | None
    recommended_step: float
    #: Margin of the loop at the recommended time scale, if it was asked.
    stability: Stability | None
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
            "least_damping": None if self.stability is None else self.stability.margin.least,
            "not_rehearsed": list(UNCOVERED),
            "words": list(self.words),
        }


def rehearsal(
    make: Callable[[int, float], Trial],
    limits: Limits,
    seeds: Sequence[int],
    time_scale: float,
    reference: np.ndarray,
    watch: Callable[[Response], np.ndarray],
    *,
    stability: Callable[[float], Stability] | None = None,
    threads: int = 2,
    progress: bool = False,
) -> Rehearsal:
    """Virtual tests of ``make(seed, λ)`` at `time_scale`, in `threads`, compared with `reference` through `watch`.

    `reference` (steps + 1,) is the watched history of the model that the test should reproduce, at the test's step or a
    whole fraction of it. ``stability(λ)`` gives the margin of the loop. Limits are noted, not enforced, so that every one
    can be seen. Once the runs are done, those that asked most of the rig are tried at other time scales until one is
    found that can be recommended. `progress` shows a line in the terminal.
    """
    if not len(seeds):
        raise InputError("no seeds for the rehearsal; allowed: one or more")
    wanted = np.asarray(reference, dtype=np.float64)

    def one(seed: int) -> tuple[VirtualRun, float, float]:
        trial = make(seed, time_scale)
        run = virtual_test(trial.solver, trial.rig, limits, trial.weights)
        if not run.completed:
            return run, np.nan, np.nan
        found = watch(trial.solver.response())
        every = max(1, (wanted.size - 1) // max(1, found.size - 1))
        x = wanted[::every][: found.size]
        y = found[: x.size]
        return run, float(nrmse(x, y, "range").value), float(peak_error(x, y))

    done = []
    with (
        ThreadPoolExecutor(int(within("threads", threads, 1, 1024))) as pool,
        RunLine(len(seeds), shown=progress) as line,
    ):
        for entry in pool.map(one, seeds):
            done.append(entry)
            line(entry[0])
    runs = [entry[0] for entry in done]
    first = make(int(seeds[0]), time_scale)
    table = capacities(runs, first.rig, limits)
    each = [capacities([run], first.rig, limits) for run in runs]
    worst = _worst(seeds, each)

    def share_at(scale: float) -> float:
        trials = [make(seed, scale) for seed in worst]
        with ThreadPoolExecutor(threads) as pool:
            tried = list(pool.map(lambda t: virtual_test(t.solver, t.rig, limits, t.weights), trials))
        return _falling(tried, first.rig, limits)

    choice = recommended_time_scale(time_scale, _falling(runs, first.rig, limits), share_at, stability)
    step, better_step = first.solver.dt, recommended_step(first.solver)
    errors, peaks = (np.array([entry[i] for entry in done]) for i in (1, 2))
    counted = chances(runs)
    words = in_words(counted, table, errors, peaks, choice, step, better_step)
    return Rehearsal(
        runs, counted, table, errors, peaks, time_scale, step, choice.time_scale, better_step, choice.stability, words,
    )  # fmt: skip


def _falling(runs: Sequence[VirtualRun], rig: Rig, limits: Limits) -> float:
    """Largest used share of what falls with the time scale; infinite if a run broke down."""
    if not all(run.completed for run in runs):
        return math.inf
    table = capacities(runs, rig, limits)
    return max(table[name].share for name in FALLING)


def _worst(seeds: Sequence[int], each: Sequence[dict[str, Capacity]]) -> list[int]:
    """Seeds of the runs that asked most, of each thing that falls with the time scale and of all together."""
    shares = np.array([[table[name].share for name in FALLING] for table in each])
    order = [int(np.argmax(column)) for column in shares.T] + np.argsort(-shares.max(axis=1)).tolist()
    return [seeds[number] for number in list(dict.fromkeys(order))[:TRIED]]


def capacities(runs: Sequence[VirtualRun], rig: Rig, limits: Limits) -> dict[str, Capacity]:
    """Table of capacities over the runs; stroke holds what remained, as nothing returns between steps."""
    actuators = rig.actuators
    bounds = limits.bounds(rig.freedoms)
    peaks = {
        name: np.array([float(getattr(run.peaks, name).max()) for run in runs])
        for name in ("stroke", "force", "velocity", "flow")
    }
    # As the guard sees it: measured against wanted at the end of each step.
    peaks["tracking"] = np.array(
        [float(np.abs(run.displacement - run.target).max(initial=0.0)) for run in runs]
    )
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
        "tracking error": capacity(peaks["tracking"], float(bounds.tracking.min()), "m"),
        "energy error": capacity(
            np.array([float(np.abs(run.energy_error).max(initial=0.0)) for run in runs]), limits.energy, "-"
        ),
    }  # fmt: skip


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
    choice: Choice,
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
        unit = "" if c.unit == "-" else f" {c.unit}"
        verdict = "within" if c.share <= GATE else "BEYOND"
        lines.append(
            f"{name}: at most {c.most:.4g}{unit} of {c.available:.4g}{unit} ({c.share:.0%}, {verdict} the gate of "
            f"{GATE:.0%})"
        )
    good = np.isfinite(errors)
    if good.any():
        lines.append(
            f"difference from the reference: {np.median(errors[good]):.2%} of the range (most {errors[good].max():.2%}), "
            f"peak {np.median(peaks[good]):+.2%}, device strength scattered"
        )
    lines += choice.words
    lines.append(f"recommended step: at most {better_step * 1e3:g} ms (rehearsed at {step * 1e3:g} ms)")
    lines.append(f"not rehearsed, for they rest with machines, network and people: {', '.join(UNCOVERED)}")
    return tuple(lines)


__all__ = ["Capacity", "Rehearsal", "Trial", "capacities", "recommended_step", "rehearsal"]
