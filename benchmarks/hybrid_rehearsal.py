"""Speed of virtual tests: 200 of a 20 s record at time scale 50, the rig stepped at its controller's rate.

`figures(runs)` times `runs` of them in two threads and scales to 200. Structure, motion and rig are invented.
"""

import time
from typing import Any

import numpy as np

from frame2d.hybrid import Computed, Declared, KRAlpha, Limits, MatrixSolver, Rig, Sensors
from frame2d.hybrid.virtual import rehearse
from frame2d.materials import Bilinear

K, DT = 2e7, 0.005
LIMITS = Limits((-0.2, 0.2), 1e6, 0.2, 0.05, 0.01)


def make(seed: int, time_scale: float = 50.0) -> tuple[MatrixSolver, Rig]:
    """Two storeys, the lower one tested, 20 s of motion; the device's strength varies by ±20 %."""
    strength = 2e5 * np.random.default_rng(seed).uniform(0.8, 1.2)
    t = np.arange(4001) * DT
    motion = 3.0 * np.sin(9.0 * t) * np.exp(-0.1 * t)
    M, k = np.diag([2e4, 2e4]), np.array([[K, -K], [-K, K]])
    declared = Declared(np.array([[K]]), np.array([[K]]))
    load = -np.outer(motion, np.diag(M))
    solver = MatrixSolver(
        Computed(M, 0.4 * M, k, np.array([[1.0, 0.0]])), declared, KRAlpha(0.9), load, DT, time_scale
    )
    return solver, Rig(Bilinear(k=K, Fy=strength, b=0.03), sensors=Sensors.typical(), seed=seed)


def figures(runs: int = 20) -> list[dict[str, Any]]:
    """One row a figure: name, value, unit, low, high, goal, ok."""
    rehearse(make, LIMITS, [0])  # compiles
    rows = []
    for time_scale, goal in ((50.0, 60.0), (100.0, 120.0)):
        wall, cpu = time.perf_counter(), time.process_time()
        done = rehearse(lambda seed, scale=time_scale: make(seed, scale), LIMITS, list(range(runs)))  # type: ignore[misc]
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        ticks = sum(run.ticks for run in done)
        seconds = wall / runs * 200.0
        rows.append(
            (
                f"200 rehearsals, λ = {time_scale:g}",
                seconds,
                "s",
                0,
                goal,
                f"under {goal:g} s",
                seconds < goal,
            )
        )
        if time_scale == 50.0:
            each = cpu / ticks * 1e9
            rows.append(
                ("processor time of a controller step", each, "ns", 0, 600, "under 600 ns", each < 600)
            )
    keys = ("name", "value", "unit", "low", "high", "goal", "ok")
    return [dict(zip(keys, row, strict=True)) for row in rows]


if __name__ == "__main__":
    for figure in figures():
        print(f"{figure['name']}: {figure['value']:.4g} {figure['unit']} (goal: {figure['goal']})")
