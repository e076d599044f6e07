"""Speed, as ratios within one process: medians with spread, compile time apart.

The speed frame is described in `benchmarks.speed_frame`. Independent engines of the same problem stand beside it: scipy's
`solve_ivp` (`speed_ivp`), vectorised numpy (`speed_twin`), scipy's `splu` for the cost of a factorisation
(`speed_growth`). Work of one thread is timed by its processor time, so that other programs disturb it less; single steps
and ensembles by the clock.
"""

import argparse
import gc
import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks import motions_speed
from benchmarks.speed_frame import __doc__ as RECIPE
from benchmarks.speed_frame import checksum, frame, motion
from benchmarks.speed_growth import SIZES, growth, processor_seconds
from benchmarks.speed_ivp import Problem, TooSlow
from benchmarks.speed_twin import Twin
from frame2d import Rayleigh, gravity, time_history
from frame2d.analysis import StepByStep
from frame2d.analysis.ensemble import ensemble as run_ensemble
from frame2d.analysis.runner import Options

DAMPING = Rayleigh(0.03, (1, 3))
OPTIONS = Options(tolerance=1e-6)


def figure(name: str, values: Any, unit: str, goal: str, ok: bool | None) -> dict[str, Any]:
    """One line of the result: median with the spread of the repeats."""
    values = np.atleast_1d(np.asarray(values, dtype=float))
    return {
        "name": name,
        "value": float(np.median(values)),
        "unit": unit,
        "low": float(values.min()),
        "high": float(values.max()),
        "goal": goal,
        "ok": ok,
    }


def speed_frame(repeats: int = 7) -> list[dict[str, Any]]:
    """The batch loop, the loop driven from Python, and what was computed."""
    start = time.perf_counter()
    system = frame().compile()
    standing = gravity(system).state
    record = motion()
    first = time_history(system, record, standing, damping=DAMPING, options=OPTIONS)
    warm = time.perf_counter() - start
    steps = first.time.size - 1

    def whole() -> Any:
        return time_history(system, record, standing, damping=DAMPING, options=OPTIONS)

    batch = processor_seconds(whole, repeats) / steps
    counts = first.counts()
    yielded = []
    for name in first.laws():
        loop = first.device(name)
        law = next(place.part.law for place in system.parts if place.part.law is not None)
        yielded.append(np.abs(loop.deformation).max() > law.Fy / law.k)
    by_steps = [by_hand(system, standing, record) for _ in range(5)]
    single = np.array([seconds for seconds, _ in by_steps])
    per_step = 1e6 * batch
    by_python = 1e6 * np.array([worked / steps for _, worked in by_steps])
    return [
        figure(
            f"first run with compilation or cache (motion {checksum(record)})", warm, "s", "reported", None
        ),
        figure(
            "batch, whole call",
            per_step,
            "µs/step",
            "at most 15 (1.5 times 10)",
            bool(np.median(per_step) <= 15.0),
        ),
        figure("iterations", counts["iterations"] / steps, "per step", "reported", None),
        figure("yielded hinges", np.mean(yielded), "share", "at least 0.7", bool(np.mean(yielded) >= 0.7)),
        figure("energy imbalance", first.imbalance(), "of input", "below 0.001", first.imbalance() < 1e-3),
        figure("step by step from Python", by_python, "µs/step", "reported", None),
        figure(
            "step by step to batch",
            by_python / np.median(per_step),
            "ratio",
            "at most 2.5",
            bool(np.median(by_python) / np.median(per_step) <= 2.5),
        ),
        figure(
            "p99.9 of a step from Python",
            1e6 * np.quantile(single, 0.999, axis=1),
            "µs",
            "below 100 on a quiet machine",
            bool(np.median(np.quantile(single, 0.999, axis=1)) < 1e-4),
        ),
        figure(
            "the same of each step's least in five runs",
            1e6 * np.quantile(single.min(axis=0), 0.999),
            "µs",
            "what the work takes without other programs",
            None,
        ),
    ]


def by_hand(system: Any, standing: Any, record: Any) -> tuple[np.ndarray, float]:
    """Seconds of every step when Python owns the loop, and processor seconds of all."""

    def made() -> StepByStep:
        peak = float(np.abs(record.acceleration).max())
        return StepByStep(
            system, standing, dt=record.dt, peak=peak, ground=record.acceleration[0], damping=DAMPING,
            options=OPTIONS, rows=record.acceleration.size,
        )  # fmt: skip

    made().step(record.acceleration[1])
    frame, ground = made(), record.acceleration.tolist()
    seconds = np.zeros(len(ground) - 1)
    gc.collect()
    gc.freeze()
    gc.disable()
    worked = time.thread_time()
    try:
        for step in range(1, len(ground)):
            start = time.perf_counter()
            frame.step(ground[step])
            seconds[step - 1] = time.perf_counter() - start
    finally:
        gc.enable()
        gc.unfreeze()
    return seconds, time.thread_time() - worked


def other_solvers(steps: int | None = None) -> list[dict[str, Any]]:
    """The numpy twin, and solve_ivp at the error that the engine makes at the step of the motion."""
    system = frame().compile()
    standing = gravity(system).state
    record = motion()
    if steps is not None:
        record = record._replace(acceleration=record.acceleration[: steps + 1])
    rows = record.acceleration.size

    def run(dt: float | None = None) -> Any:
        return time_history(system, record, standing, damping=DAMPING, options=OPTIONS, dt=dt)

    ours = run()
    taken = processor_seconds(run, 9)
    damping = DAMPING.matrix(system, standing)
    shape = system.influence()
    peak = (
        np.abs(record.acceleration).max() * np.abs(shape) + np.abs(standing.load) + np.abs(standing.motion.f)
    )
    load = standing.load - np.outer(record.acceleration, shape)
    twin = Twin(system, standing, damping)
    start = time.thread_time()
    found = twin.run(load, record.dt, OPTIONS.tolerance * system.force_scale(peak))
    by_numpy = (time.thread_time() - start) / taken
    differs = np.abs(found - ours.log.q[:rows]).max() / np.abs(ours.log.q).max()
    roof = system.free_number(f"{len(system.frame.floors)}.0", "ux")
    reference = run(record.dt / 16).log.q[::16, roof][:rows]
    largest = np.abs(reference).max()
    error = float(np.abs(ours.log.q[:rows, roof] - reference).max() / largest)
    lines = [
        figure(
            "error of the roof's displacement", error, "of its peak", "reported, against a step of 1/16", None
        ),
        figure("numpy twin to ours", by_numpy, "ratio", "at least 25", bool(np.median(by_numpy) >= 25.0)),
        figure("numpy twin differs from ours", differs, "of the peak", "below 1e-5", bool(differs < 1e-5)),
    ]
    problem = Problem(system, standing, damping, record)
    best: tuple[float, float, float] | None = None
    for method in ("BDF", "LSODA"):
        between = at_equal_error(problem, method, roof, reference, error, np.inf if best is None else best[2])
        if between is None:
            stopped = figure(
                f"solve_ivp, {method}, stopped after", best[2] if best else 0.0, "s", "slower", None
            )
            lines.append(stopped)
            continue
        lines.append(figure(f"solve_ivp, {method}, at equal error", between, "s", "reported", None))
        if best is None or between[1] < best[1]:
            best = between
    if best is not None:
        ratio = np.array(best) / np.median(taken)
        lines.append(
            figure("solve_ivp to ours at equal error", ratio, "ratio", "at least 60", bool(ratio[1] >= 60.0))
        )
    return lines


def at_equal_error(
    problem: Problem, method: str, roof: int, reference: np.ndarray, error: float, most: float
) -> tuple[float, float, float] | None:
    """Seconds at the looser tolerance, at that error (log-log between the two), at the tighter tolerance around it.

    None where the solver takes more than `most` seconds at the tighter one.
    """
    before: tuple[float, float] | None = None
    for rtol in (1e-3, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6, 3e-7, 1e-7):
        try:
            q, seconds = problem.solve(method, rtol, most)
        except TooSlow:
            return None
        own = float(np.abs(q[:, roof] - reference).max() / np.abs(reference).max())
        if own <= error:
            if before is None:
                return seconds, seconds, seconds
            share = np.log(before[0] / error) / np.log(before[0] / own)
            return before[1], float(before[1] * (seconds / before[1]) ** share), seconds
        before = own, seconds
    return None


def ensembles(records: int = 40, repeats: int = 3) -> list[dict[str, Any]]:
    """Records on two threads against one, by the clock; and the processor time that both take."""
    system = frame().compile()
    standing = gravity(system).state
    motions = [motion(seed) for seed in range(records)]

    def clocks(threads: int) -> tuple[float, float]:
        start, worked = time.perf_counter(), time.process_time()
        run_ensemble(
            system, motions, standing, threads=threads, keep=lambda response: response.imbalance(),
            damping=DAMPING, options=OPTIONS,
        )  # fmt: skip
        return time.perf_counter() - start, time.process_time() - worked

    clocks(2)
    # In turn, so that a busy spell of the machine meets both.
    pairs = np.array([[clocks(1), clocks(2)] for _ in range(repeats)])
    ratio = pairs[:, 0, 0] / pairs[:, 1, 0]
    cores = pairs[:, 1, 1] / pairs[:, 1, 0]
    extra = pairs[:, 1, 1] / pairs[:, 0, 1]
    name = f"{records} records on 2 threads"
    return [
        figure(f"{name}, to 1 thread", ratio, "ratio", "at least 1.8", bool(np.median(ratio) >= 1.8)),
        figure(f"{name}: processors in use", cores, "cores", "2 on a quiet machine", None),
        figure(f"{name}: processor time to that of 1", extra, "ratio", "near 1", None),
    ]


def figures(quick: bool = False) -> list[dict[str, Any]]:
    """All figures; `quick` leaves the largest frames and most records out."""
    lines = speed_frame(3 if quick else 15)
    lines += other_solvers(200 if quick else None)
    lines += growth(figure, SIZES[:1] if quick else SIZES)
    lines += ensembles(4 if quick else 40, 1 if quick else 5)
    if not quick:
        lines += [{**line, "goal": line["goal"] or "reported"} for line in motions_speed.figures()]
    return lines


def main(arguments: argparse.Namespace) -> int:
    """Print recipe and figures, and write the figures as JSON on request."""
    print(f"{RECIPE}\nChecksum of the motion: {checksum(motion())}\n")
    lines = figures(getattr(arguments, "quick", False))
    for line in lines:
        mark = {True: "ok ", False: "NOT", None: "   "}[line["ok"]]
        print(
            f"{mark} {line['name']:58s} {line['value']:12.4g} [{line['low']:.4g}, {line['high']:.4g}] {line['unit']:10s} {line['goal']}"
        )
    if getattr(arguments, "json", None):
        Path(arguments.json).write_text(json.dumps(lines, indent=1, ensure_ascii=False))
    return 0
