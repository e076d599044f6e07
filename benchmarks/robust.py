"""Convergence: random frames under random motions, each of which must complete, collapse by the stated drift, or end
with the one clear error and its partial response.

Frames of 1 to 6 storeys and 1 to 3 bays, seeded, with smooth, pinched, slack, softening and bilinear devices at beam ends
and in braces, P-Delta columns and a leaning column; motions of seeded noise scaled to reach ductilities up to about ten.
A second, sharp family has what iteration likes least: hinges that harden by 1e-7 of their stiffness or not at all, gaps
that close on a hundred times the stiffness, steep softening with and without residual strength, `BoucWen` with n up to 20
and `BoucWenStiffened`. Collapse is a storey drift ratio of 10 %, or loss of gravity equilibrium.
"""

import argparse
import json
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from benchmarks.speed_frame import motion
from frame2d import AnalysisError, BeamColumn, Brace, Frame, Outcome, Rayleigh, gravity, modes, time_history
from frame2d.materials import (
    Bilinear,
    BoucWen,
    BoucWenStiffened,
    Contact,
    DeterioratingBilinear,
    DeterioratingPeakOriented,
    Elastic,
    Parallel,
    Pinched,
    Slack,
)
from frame2d.materials.deterioration import Backbone

E, G = 210e9, 9.81
DRIFT_LIMIT = 0.10
#: Deformation at which hinges yield or, in laws without a kink, elastic and yielding line meet, rad.
YIELD_ROTATION = 0.004


def device(rng: np.random.Generator, strength: float, yield_at: float) -> Any:
    """One law of random kind with a given strength and yield deformation."""
    k = strength / yield_at
    kind = rng.integers(6)
    if kind == 0:
        return BoucWen(k=k, Fy=strength, a=0.01, n=float(rng.uniform(1.0, 3.0)))
    if kind == 1:
        return BoucWen(k=k, Fy=strength, a=0.02, zeta_s=0.8, q=0.1, p=0.5, delta_eta=0.01, delta_nu=0.005)
    if kind == 2:
        return Bilinear(k=k, Fy=strength, b=float(rng.uniform(0.0, 0.05)))
    if kind == 3:
        points = ((yield_at, strength), (8.0 * yield_at, 1.2 * strength))
        return Pinched(positive=points, negative=tuple((-u, -F) for u, F in points), kf=0.3, kd=0.4)
    if kind == 4:
        side = Backbone(strength, 1.1 * strength, 6.0 * yield_at, 12.0 * yield_at, 0.2)
        return DeterioratingPeakOriented(k, side, strength=80.0, capping=80.0, unloading=80.0)
    inner = Slack(Bilinear(k=k, Fy=strength, b=0.02), float(rng.uniform(0.05, 0.5)) * yield_at)
    return Parallel((inner, Elastic(0.02 * k), Contact(0.5 * k, 8.0 * yield_at)))


def sharp_device(rng: np.random.Generator, strength: float, yield_at: float) -> Any:
    """One law of the sharp family."""
    k = strength / yield_at
    kind = rng.integers(7)
    if kind == 0:
        return Bilinear(k=k, Fy=strength, b=float(rng.choice([0.0, 1e-9, 1e-7])))
    if kind == 1:
        return Parallel((Bilinear(k=k, Fy=strength, b=1e-6), Contact(100.0 * k, 4.0 * yield_at)))
    if kind == 2:
        side = Backbone(strength, 1.05 * strength, 2.0 * yield_at, 3.0 * yield_at, 0.2)
        return DeterioratingBilinear(k, side, strength=60.0, unloading=60.0)
    if kind == 3:
        side = Backbone(strength, 1.02 * strength, 3.0 * yield_at, 4.0 * yield_at, 0.0)
        return Parallel((DeterioratingPeakOriented(k, side), Elastic(0.01 * k)))
    if kind == 4:
        return Slack(Bilinear(k=k, Fy=strength, b=1e-7), float(rng.uniform(0.5, 2.0)) * yield_at)
    if kind == 5:
        return BoucWenStiffened(k=k, Fy=strength, a=0.01, n=float(rng.uniform(1.0, 8.0)), beta=0.7)
    return BoucWen(k=k, Fy=strength, a=1e-4, n=float(rng.uniform(4.0, 20.0)))


def random_frame(rng: np.random.Generator, device: Any = device) -> Frame:
    """One frame of the families above."""
    frame = Frame("random")
    storeys, bays = int(rng.integers(1, 7)), int(rng.integers(1, 4))
    height, bay = float(rng.uniform(3.0, 4.0)), float(rng.uniform(4.0, 8.0))
    mass = float(rng.uniform(10e3, 40e3))
    column = BeamColumn(E, A=0.0149, I=float(rng.uniform(1.5, 5.0)) * 1e-4, geometry="p-delta")
    braced = rng.random() < 0.4
    weight = mass * (bays + 1) * G
    for level in range(storeys + 1):
        for axis in range(bays + 1):
            name = f"{level}.{axis}"
            frame.node(name, bay * axis, height * level, "fixed" if level == 0 else None)
            if level:
                frame.mass(name, mass)
                frame.load(name, fy=-0.5 * mass * G)
                frame.member(f"column {name}", f"{level - 1}.{axis}", name, column)
        if not level:
            continue
        share = (storeys - level + 1.5) / storeys
        for axis in range(bays):
            Mp = 0.06 * weight * share * height * float(rng.uniform(0.7, 1.3))
            start, end = (device(rng, Mp, YIELD_ROTATION) for _ in range(2))
            beam = BeamColumn(E, A=0.0085, I=2.5e-4, start=start, end=end)
            frame.member(f"beam {name}.{axis}", f"{level}.{axis}", f"{level}.{axis + 1}", beam, device=True)
        if braced:
            law = device(rng, 0.15 * weight * share, 0.002)
            frame.member(f"brace {level}", f"{level - 1}.0", f"{level}.1", Brace(law), device=True)
        frame.floor(f"floor {level}", [f"{level}.{axis}" for axis in range(bays + 1)])
    frame.leaning_column("lean", -3.0, {f"floor {k}": 0.5 * weight for k in range(1, storeys + 1)})
    return frame


class Run(NamedTuple):
    """How one frame and motion went."""

    outcome: str
    #: Largest storey drift ratio.
    drift: float
    imbalance: float
    #: Largest deformation of a beam's hinge over its yield deformation.
    ductility: float


def one(seed: int, sharp: bool = False) -> Run:
    """One frame and motion."""
    rng = np.random.default_rng(seed)
    system = random_frame(rng, sharp_device if sharp else device).compile()
    try:
        standing = gravity(system).state
        count = min(3, modes(system, standing, 3).omega.size)
        damping = Rayleigh(0.03, (1, count)) if count > 1 else None
        record = motion(seed, duration=10.0, peak=float(rng.uniform(0.2, 1.2)) * G)
        response = time_history(system, record, standing, damping=damping, drift_limit=DRIFT_LIMIT)
    except AnalysisError as error:
        response = error.response
        assert response.outcome is Outcome.NOT_CONVERGED and "no equilibrium" in str(error)
    drift = max(float(np.abs(values).max()) for values in response.drifts().values())
    hinges = [name for name in response.laws() if name.startswith("beam")]
    reached = max(float(np.abs(response.device(name).deformation).max()) for name in hinges) / YIELD_ROTATION
    return Run(response.outcome.name, drift, response.imbalance(), reached)


def figures(count: int = 500) -> list[dict[str, Any]]:
    """Shares of each outcome over `count` seeded frames of the family, and of a third as many of the sharp one."""
    return [*_family(count, False), *_family(max(count // 3, 1), True)]


def _family(count: int, sharp: bool) -> list[dict[str, Any]]:
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda seed: one(seed, sharp), range(count)))
    outcomes = Counter(run.outcome for run in found)
    settled = (outcomes["COMPLETED"] + outcomes["COLLAPSED"]) / count
    drifts = np.array([run.drift for run in found])
    ductilities = np.array([run.ductility for run in found if run.outcome == "COMPLETED"] or [0.0])
    imbalance = [run.imbalance for run in found if run.outcome == "COMPLETED"]
    failed = [seed for seed, run in enumerate(found) if run.outcome == "NOT_CONVERGED"]
    kind = "sharp: " if sharp else ""
    rows = [(f"completed or collapsed, of {count}", settled, "share", "over 0.99")]
    for name in ("COMPLETED", "COLLAPSED", "NOT_CONVERGED"):
        seeds = f" (seeds {failed[:10]})" if name == "NOT_CONVERGED" and failed else ""
        rows.append((name.lower().replace("_", " ") + seeds, outcomes[name] / count, "share", "reported"))
    rows.append(("median largest drift", float(np.median(drifts)), "ratio", "reported"))
    for name, value in (
        ("median", np.median(ductilities)),
        ("95 %", np.quantile(ductilities, 0.95)),
        ("largest", ductilities.max()),
    ):
        label = f"{name} ductility of hinges in completed runs"
        rows.append((label, float(value), "of yield", "up to about ten"))
    rows.append(
        ("median imbalance of completed runs", float(np.median(imbalance or [0.0])), "of input", "reported")
    )
    return [
        {
            "name": kind + name, "value": value, "unit": unit, "low": value, "high": value, "goal": goal,
            "ok": value > 0.99 if goal == "over 0.99" else None,
        }
        for name, value, unit, goal in rows
    ]  # fmt: skip


def main(arguments: argparse.Namespace) -> int:
    """Print the shares, and write them as JSON on request."""
    lines = figures(getattr(arguments, "count", None) or 500)
    for line in lines:
        mark = {True: "ok ", False: "NOT", None: "   "}[line["ok"]]
        print(f"{mark} {line['name']:50s} {line['value']:10.4g} {line['unit']:10s} {line['goal']}")
    if getattr(arguments, "json", None):
        Path(arguments.json).write_text(json.dumps(lines, indent=1, ensure_ascii=False))
    return 0
