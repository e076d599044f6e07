"""Speed of rehearsals: 200 virtual tests of the demo split, 20 s of motion, the rig stepped at its controller's rate.

``python -m benchmarks rehearsal [--runs 200] [--json F]``; fewer runs are scaled to 200, the trial runs at other time scales
with them, which are as many for few runs as for 200. Device strength, delay, noise and seed are scattered; each run's
histories are compared with the reference. Building, record and rig are invented.
"""

import argparse
import time
from typing import Any

from benchmarks.deadline import row, show
from frame2d.demo import laboratory
from frame2d.demo.motions import demo_record


def figures(runs: int = 200) -> list[dict[str, Any]]:
    """One row a figure: name, value, unit, low, high, goal, ok."""
    record = demo_record()
    reference = laboratory.demo_reference(record)
    laboratory.rehearse_demo(record, 1.0, 1, time_scale=1.0, reference=reference)  # compiles
    rows = []
    for scale, goal in ((50.0, 60.0), (100.0, 120.0)):
        wall, cpu = time.perf_counter(), time.process_time()
        done = laboratory.rehearse_demo(record, 1.0, runs, time_scale=scale, reference=reference)
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        ticks = sum(run.ticks for run in done.runs)
        seconds = wall / runs * 200.0
        rows += [
            row(
                f"200 rehearsals, λ = {scale:g}, on 2 threads",
                seconds,
                "s",
                f"under {goal:g} s",
                seconds < goal,
            ),
            row(f"processor time of 200, λ = {scale:g}", cpu / runs * 200.0, "s"),
            row("processor time of a controller step, all in all", cpu / ticks * 1e9, "ns"),
            row("runs that completed", sum(run.completed for run in done.runs), "-", f"{runs}"),
        ]
    return rows


def main(arguments: argparse.Namespace) -> int:
    """Print the figures, and write them as JSON on request."""
    return show(figures(getattr(arguments, "runs", 200)), arguments)
