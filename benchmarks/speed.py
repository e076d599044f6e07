"""Speed, as ratios within one process: medians with spread, compile time apart.

The speed frame is described in `benchmarks.speed_frame`. Independent engines of the same problem stand beside it:
`scipy.integrate.solve_ivp` on the condensed rate equations, and scipy's `splu` for the cost of a factorisation.
"""

import argparse
import json
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from scipy.sparse.linalg import splu

from benchmarks.speed_frame import checksum, frame, motion
from frame2d import Rayleigh, gravity, time_history
from frame2d.analysis.history import _start
from frame2d.analysis.runner import Options
from frame2d.analysis.schemes import chung_hulbert
from frame2d.engine.evaluate import assemble
from frame2d.engine.factor import factorise, solve_factored
from frame2d.engine.implicit import advance
from frame2d.engine.plan import new_room

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


def timed(run: Callable[[], Any], repeats: int) -> np.ndarray:
    """Seconds of each repeat after one that is not counted."""
    run()
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - start)
    return np.array(seconds)


def speed_frame(repeats: int = 7) -> list[dict[str, Any]]:
    """The batch loop, the loop driven from Python, and what was computed."""
    start = time.perf_counter()
    system = frame().compile()
    standing = gravity(system).state
    record = motion()
    first = time_history(system, record, standing, damping=DAMPING, options=OPTIONS)
    warm = time.perf_counter() - start
    steps = first.time.size - 1
    batch = (
        timed(lambda: time_history(system, record, standing, damping=DAMPING, options=OPTIONS), repeats)
        / steps
    )
    counts = first.counts()
    yielded = []
    for name in first.laws():
        loop = first.device(name)
        law = next(place.part.law for place in system.parts if place.part.law is not None)
        yielded.append(np.abs(loop.deformation).max() > law.Fy / law.k)
    single = np.array([by_hand(system, standing, record) for _ in range(3)])
    per_step = 1e6 * batch
    by_python = 1e6 * single.mean(axis=1)
    return [
        figure(
            f"first run with compilation or cache (motion {checksum(record)})", warm, "s", "reported", None
        ),
        figure(
            "batch, whole call",
            per_step,
            "µs/step",
            "within 1.5 times of 10",
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
    ]


def by_hand(system: Any, standing: Any, record: Any) -> np.ndarray:
    """Seconds of every step when Python owns the loop (the same step function as the batch)."""
    import gc

    matrix = DAMPING.matrix(system, standing)
    plan = system.with_damping(matrix)
    room, moving = new_room(plan), standing.copy_motion()
    shape = -system.influence()
    load = standing.load + np.outer(record.acceleration, shape)
    _start(system, plan, room, moving, load[0], matrix, standing.supports, False)
    peak = np.abs(record.acceleration).max() * np.abs(shape) + np.abs(standing.load) + np.abs(moving.f)
    options = OPTIONS.array(system.force_scale(peak))
    scheme = chung_hulbert(0.8).array()
    shift = np.zeros(room.shift.size)
    seconds = np.zeros(len(load) - 1)
    advance(plan, room, standing.copy_motion(), load[0], load[0], shift, shift, record.dt, scheme, options)
    gc.collect()
    gc.freeze()
    gc.disable()
    try:
        for step in range(1, len(load)):
            start = time.perf_counter()
            advance(plan, room, moving, load[step - 1], load[step], shift, shift, record.dt, scheme, options)
            seconds[step - 1] = time.perf_counter() - start
    finally:
        gc.enable()
        gc.unfreeze()
    return seconds


def growth(sizes: tuple[tuple[int, int], ...] = ((6, 2), (24, 4), (48, 8), (48, 32))) -> list[dict[str, Any]]:
    """Cost of one factorisation with solve against scipy's splu on the same matrix."""
    lines = []
    for storeys, bays in sizes:
        system = frame(storeys, bays).compile()
        plan, room = system.plan, new_room(system.plan)
        room.effective[:] = plan.stiffness + 1e4 * plan.mass
        assemble(plan, room, 1.0, True)
        matrix = system.tangent() + 1e4 * system.mass
        right = np.ones(system.count)

        def ours(plan: Any = plan, room: Any = room, right: Any = right) -> None:
            factorise(plan.pattern, room.values, room.lower, room.pivot, room.column)
            room.dx[:] = right
            solve_factored(plan.pattern, room.lower, room.pivot, room.dx)

        def theirs(matrix: Any = matrix, right: Any = right) -> None:
            splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(right)

        mine, other = timed(ours, 7), timed(theirs, 5)
        lines.append(
            figure(
                f"{storeys} x {bays}, {system.count} freedoms: factor and solve",
                1e6 * mine,
                "µs",
                "reported",
                None,
            )
        )
        ratio = other / np.median(mine)
        lines.append(
            figure(
                f"{storeys} x {bays}: splu to ours",
                ratio,
                "ratio",
                "at least 1",
                bool(np.median(ratio) >= 1.0),
            )
        )
    return lines


def ensemble(records: int = 40, repeats: int = 3) -> list[dict[str, Any]]:
    """Records on two threads against one."""
    system = frame().compile()
    standing = gravity(system).state
    motions = [motion(seed) for seed in range(records)]

    def run(record: Any) -> float:
        return time_history(system, record, standing, damping=DAMPING, options=OPTIONS).imbalance() * 0.0

    def with_threads(count: int) -> None:
        with ThreadPoolExecutor(count) as pool:
            list(pool.map(run, motions))

    one, two = timed(lambda: with_threads(1), repeats), timed(lambda: with_threads(2), repeats)
    ratio = one / two
    return [
        figure(
            f"{records} records on 2 threads", ratio, "ratio", "at least 1.8", bool(np.median(ratio) >= 1.8)
        )
    ]


def figures(quick: bool = False) -> list[dict[str, Any]]:
    """All figures; `quick` leaves the largest frames and most records out."""
    lines = speed_frame(3 if quick else 9)
    lines += growth(((6, 2),) if quick else ((6, 2), (24, 4), (48, 8), (48, 32)))
    lines += ensemble(4 if quick else 40, 1 if quick else 3)
    return lines


def main(arguments: argparse.Namespace) -> int:
    """Print the figures, and write them as JSON on request."""
    lines = figures(getattr(arguments, "quick", False))
    for line in lines:
        mark = {True: "ok ", False: "NOT", None: "   "}[line["ok"]]
        print(
            f"{mark} {line['name']:58s} {line['value']:12.4g} [{line['low']:.4g}, {line['high']:.4g}] {line['unit']:10s} {line['goal']}"
        )
    if getattr(arguments, "json", None):
        Path(arguments.json).write_text(json.dumps(lines, indent=1, ensure_ascii=False))
    return 0
