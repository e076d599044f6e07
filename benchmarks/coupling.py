"""Partitioned integration: measured order, difference from the unsplit frame, gap, interface energy and cost, in numbers.

First the undamped oscillator whose mass and spring are divided, against its exact motion; then the demo frame (invented)
with its first-storey link and twin columns split off, under a strong motion, against the unsplit frame.
"""

import argparse
import json
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from frame2d import Rayleigh, chung_hulbert, gravity, newmark, time_history
from frame2d.analysis import first_order_alpha
from frame2d.demo.building import demo_frame
from frame2d.substructure import (
    Coupled,
    GravouilCombescure,
    MatrixPart,
    PegonMagonette,
    PrakashHjelmstad,
    coupled_history,
    parts_of,
    shared_damping,
    split,
)

METHODS = (GravouilCombescure(), PrakashHjelmstad(), PegonMagonette())
SCHEMES = (newmark(), chung_hulbert(0.8), first_order_alpha(0.8))
RATIOS = (1, 2, 5)
TESTED = ["column A1", "column B1", "link 1"]


def oscillator(dt: float, ratio: int, method: Any, scheme: Any) -> tuple[float, Coupled]:
    """Largest error over the peak, 600 and 400 kg, 20 and 10 kN/m, the first part coarser by `ratio`."""
    one = np.ones((1, 1))
    start = {"u0": np.array([0.01]), "v0": np.array([0.1])}
    parts = [
        MatrixPart("A", 600.0 * one, 0.0 * one, 2e4 * one, one, ratio * dt, scheme, **start),
        MatrixPart("B", 400.0 * one, 0.0 * one, 1e4 * one, -one, dt, scheme, **start),
    ]
    coupled = coupled_history(parts, 1.2, method=method)
    history, omega = coupled.responses["A"], np.sqrt(30.0)
    exact = 0.01 * np.cos(omega * history.time) + 0.1 / omega * np.sin(omega * history.time)
    return float(np.abs(history.u[:, 0] - exact).max() / np.abs(exact).max()), coupled


def orders() -> list[dict[str, Any]]:
    """Errors and order of every method, scheme and ratio of steps."""
    rows = []
    for scheme in SCHEMES:
        for ratio in RATIOS:
            for method in METHODS:
                (coarse, _), (fine, coupled) = (oscillator(dt, ratio, method, scheme) for dt in (1e-3, 5e-4))
                rows.append(
                    {
                        "scheme": scheme.name,
                        "ratio": ratio,
                        "method": method.name,
                        "error": fine,
                        "order": float(np.log2(coarse / fine)),
                        "interface energy": float(coupled.interface_energy[-1]),
                        "gap_m": coupled.gap(),
                    }
                )
    return rows


def frames(dt: float = 0.01, steps: int = 300) -> list[dict[str, Any]]:
    """The demo frame in two parts against the unsplit one; the tested part is finer by each ratio."""
    t = dt * np.arange(steps + 1)
    record = SimpleNamespace(acceleration=5.0 * np.sin(8.0 * t) * np.minimum(1.0, t), dt=dt)
    frame = demo_frame()
    cut = split(frame, TESTED, tested_share={"A1": 0.5, "B1": 0.5})
    state = gravity(cut.whole_system).state
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 3)))
    whole = time_history(cut.whole_system, record, state, damping=damping)
    peak, taken = float(np.abs(whole.log.q).max()), float(whole.energies()["input"].max())
    rows = []
    for ratio in RATIOS:
        for method in METHODS:
            parts = parts_of(
                cut, {"computed": dt, "tested": dt / ratio}, damping=damping, record=record, states=cut.share(state)
            )  # fmt: skip
            clock = time.process_time()
            coupled = coupled_history(parts, steps * dt, method=method)
            clock = time.process_time() - clock
            wanted = whole.log.q @ cut.expand("computed").T.toarray()
            moved = coupled.responses["computed"].log.q
            rows.append(
                {
                    "ratio": ratio,
                    "method": method.name,
                    "difference": float(np.abs(moved - wanted).max()) / peak,
                    "gap": coupled.gap() / peak,
                    "interface work": float(np.abs(coupled.interface_work).max()) / taken,
                    "evaluations": float(coupled.evaluations[1:].mean()),
                    "ms per finest step": 1e3 * clock / (steps * ratio),
                }
            )
    return rows


def main(args: argparse.Namespace) -> int:
    """Print both tables, write them as JSON on request."""
    result = {"oscillator": orders(), "frame": frames()}
    print(
        f"{'scheme':30}{'ratio':>6}  {'method':22}{'error':>10}{'order':>7}{'interface energy':>18}{'gap':>10}"
    )
    for row in result["oscillator"]:
        print(
            f"{row['scheme']:30}{row['ratio']:>6}  {row['method']:22}{row['error']:>10.2e}{row['order']:>7.2f}"
            f"{row['interface energy']:>18.2e}{row['gap_m']:>10.1e}"
        )
    print(
        f"\n{'ratio':>6}  {'method':22}{'difference':>11}{'gap':>10}{'work/input':>11}{'evaluations':>12}{'ms/step':>9}"
    )
    for row in result["frame"]:
        print(
            f"{row['ratio']:>6}  {row['method']:22}{row['difference']:>11.2e}{row['gap']:>10.1e}"
            f"{row['interface work']:>11.1e}{row['evaluations']:>12.2f}{row['ms per finest step']:>9.2f}"
        )
    if args.json:
        Path(args.json).write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    return 0
