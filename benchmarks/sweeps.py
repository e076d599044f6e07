"""Sweeps: incremental runs of the demo frame on threads and on worker processes, and what storing and resuming cost.

``python -m benchmarks sweeps [--runs 48] [--json F]``: so many runs of the demo frame under rotated copies of its
synthetic record. The figure for 240 runs (20 records × 12 intensities) is scaled from them. Invented building, record.
"""

import argparse
import os
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from typing import Any

import numpy as np

from benchmarks.deadline import row, show
from frame2d.analysis import Rayleigh
from frame2d.campaign import IntensityRun, counts, incremental, sweep
from frame2d.demo.building import demo_frame
from frame2d.demo.motions import demo_record


def figures(runs: int = 48) -> list[dict[str, Any]]:
    """One row a figure: name, value, unit, low, high, goal, ok."""
    record = demo_record()
    suite = [
        replace(record, acceleration=np.roll(record.acceleration, 200 * k), name=f"rotated {k}")
        for k in range(max(runs // 4, 1))
    ]
    jobs = incremental(suite, [0.5, 1.0, 1.5, 2.0])
    run = IntensityRun.of(demo_frame(), damping=Rayleigh(0.03, (1, 3)), drift_limit=0.10)
    run(**jobs[0].arguments)  # compiles
    cores = os.cpu_count() or 1
    with tempfile.TemporaryDirectory() as folder:
        single, _ = timed(lambda: sweep(run, jobs, workers=1))
        threads, done = timed(lambda: sweep(run, jobs, folder, workers=2))
        resumed, _ = timed(lambda: sweep(run, jobs, folder))
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        sweep(run, jobs[:2], executor=pool)  # compiles
        processes, other = timed(lambda: sweep(run, jobs, executor=pool))
    same = all(a.values == b.values for a, b in zip(done, other, strict=True))
    ended = counts(done)
    return [
        row("runs", len(jobs), "-"),
        row("cores", cores, "-"),
        row("one thread", single, "s"),
        row("two threads, every run stored", threads, "s"),
        row("speed-up of two threads", single / threads, "-"),
        row("two processes", processes, "s"),
        row("taking all runs over from disk", resumed, "s"),
        row("240 runs on two threads, scaled", threads / len(jobs) * 240, "s"),
        row("processes give the same bits as threads", float(same), "-", "1", same),
        row("runs that did not converge", ended["not converged"] + ended["failed"], "-"),
    ]


def timed(call: Any) -> tuple[float, Any]:
    """Wall time of a call and what it returned."""
    begun = time.perf_counter()
    found = call()
    return time.perf_counter() - begun, found


def main(arguments: argparse.Namespace) -> int:
    """Print the figures, and write them as JSON on request."""
    return show(figures(getattr(arguments, "runs", 48)), arguments)
