"""Whether the steps of a test come in time, and whether a killed test loses any: two parts, paced at 1024 Hz, and kills.

The demo split, and a computed part of 24 storeys and 4 bays, are stepped at 1024 Hz against the simulated rig in this
process, the journal on, in batched mode; an empty paced loop runs just before and just after, so that what the machine
itself misses is seen. Durability and deadlines trade: `frame2d.hybrid.deadline`. Frames, motion and rig are invented.

``python -m benchmarks deadline [--seconds 60] [--kills 50] [--full] [--part demo|tall] [--json F]``
"""

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks import hybrid_kills
from benchmarks.speed_frame import frame, motion
from frame2d.analysis import StiffnessMass, static
from frame2d.demo import laboratory
from frame2d.demo.motions import demo_record
from frame2d.elements import Brace
from frame2d.hybrid import (
    Actuator,
    Controller,
    FrameSolver,
    FrameSpecimen,
    LinearlyImplicit,
    Rig,
    Sensors,
    balanced,
    condensed_network,
)
from frame2d.hybrid.actuator import loop_lag
from frame2d.hybrid.deadline import EDGES, Timing, empty_loop, paced_run
from frame2d.materials import BoucWen
from frame2d.motions.record import Record
from frame2d.substructure import split

RATE = 1024.0
#: Goal for 99.9 % of the steps, s.
GOAL = 0.25e-3


def tall(seconds: float) -> tuple[FrameSolver, Rig]:
    """24 storeys and 4 bays with yielding beam ends and second-order columns, a brace of the first storey tested."""
    whole = frame(24, 4)
    law = BoucWen(k=6e7, Fy=4e5, a=0.02, beta=0.6)
    whole.member("tested brace", "0.0", "1.1", Brace(law), device=True)
    parts = split(whole, ["tested brace"])
    low, high = whole.nodes["0.0"], whole.nodes["1.1"]
    run, rise = high.x - low.x, high.y - low.y
    weights = {"ux": run, "uy": rise}
    along = np.array([[weights[component] for _, component in parts.interface]]) / np.hypot(run, rise)
    state = static(parts.whole_system).state
    specimen = FrameSpecimen.of(parts, state, along)
    dt = 1.0 / RATE
    shaking = laboratory.small_motion(_record(), dt, round(seconds * RATE))
    solver = FrameSolver(
        parts, along, specimen.declared(0.05), LinearlyImplicit(0.8), shaking, dt=dt, damping=StiffnessMass(0.2, 0.0),
        state=balanced(parts.computed_system, parts.share(state)["computed"]), history=False,
    )  # fmt: skip
    actuator, plain = Actuator(), Controller()
    fed = plain.kp * loop_lag(actuator, plain, float(specimen.stiffness[0, 0]))
    rig = Rig(condensed_network(specimen), actuator, Controller(kff=fed), Sensors.typical(), seed=3)
    return solver, rig


def _record() -> Record:
    made = motion()
    return Record(made.acceleration, made.dt, made.name, synthetic=True)


def row(name: str, value: float, unit: str, goal: str = "", ok: bool | None = None) -> dict[str, Any]:
    """One figure as all benchmarks write them."""
    return {"name": name, "value": value, "unit": unit, "low": None, "high": None, "goal": goal, "ok": ok}


def of(name: str, figures: Timing, idle: int | None = None) -> list[dict[str, Any]]:
    """Figures of one loop; `idle`: what the empty loops missed."""
    held = f"under {1e6 * GOAL:.0f} µs" if idle is not None else ""
    rows = [
        row(f"{name}: step p50", 1e6 * figures.p50, "µs"),
        row(f"{name}: step p99", 1e6 * figures.p99, "µs"),
        row(f"{name}: step p99.9", 1e6 * figures.p999, "µs", held, None if idle is None else figures.p999 < GOAL),
        row(f"{name}: step max", 1e6 * figures.most, "µs"),
        row(f"{name}: woken late, p99.9", 1e6 * figures.late_p999, "µs"),
        row(f"{name}: woken late, max", 1e6 * figures.late_most, "µs"),
        row(
            f"{name}: missed of {figures.steps}", figures.missed, "-",
            "" if idle is None else f"at most the empty loop's {idle}", None if idle is None else figures.missed <= idle,
        ),
    ]  # fmt: skip
    rows[0]["histogram"] = {"edges_us": list(EDGES), "counts": list(figures.histogram)}
    return rows


def demo(seconds: float) -> tuple[FrameSolver, Rig]:
    """The demo split under a small motion."""
    shaking = laboratory.small_motion(demo_record(), 1.0 / RATE, round(seconds * RATE))
    solver = laboratory.demo_solver(shaking, dt=1.0 / RATE, time_scale=1.0, history=False)
    return solver, laboratory.real_time_rig()


#: Computed parts by short name: what it is called, what makes solver and rig for so many seconds.
PARTS = {"demo": ("demo split", demo), "tall": ("24 storeys, 4 bays", tall)}


def figures(seconds: float = 60.0, kills: int = 50, part: str | None = None) -> list[dict[str, Any]]:
    """All figures; `kills` = 0 leaves the kills out, `part` takes one of `PARTS` alone."""
    rows = []
    for name, make in PARTS.values() if part is None else [PARTS[part]]:
        rows += paced(name, *make(seconds), seconds)
    if kills:
        rows += hybrid_kills.figures(kills)
    return rows


def paced(name: str, computed: FrameSolver, specimen: Rig, seconds: float) -> list[dict[str, Any]]:
    """Figures of one computed part, between two empty loops."""
    before = empty_loop(RATE, seconds)
    steps, outcome = paced_run(computed.fresh, specimen, laboratory.wide_limits(), rate=RATE)
    after = empty_loop(RATE, seconds)
    print(f"{name}\n{steps.text()}\nempty loop before\n{before.text()}\nempty loop after\n{after.text()}")
    # Two empty loops are as long as two runs: the worse of the two is what this machine does by itself.
    idle = max(before.missed, after.missed)
    return [
        *of("empty loop before", before), *of(name, steps, idle), *of("empty loop after", after),
        row(f"{name}: freedoms", computed.system.count, "-"),
        row(f"{name}: times the journal held a step", outcome.journal_waits, "-", "0", outcome.journal_waits == 0),
        row(f"{name}: whole run", outcome.step, "steps", f"{computed.steps}", outcome.step == computed.steps),
        row(f"{name}: tracking", 1e3 * float(np.abs(outcome.displacement - outcome.target).max()), "mm"),
        row(f"{name}: largest target", 1e3 * float(np.abs(outcome.target).max()), "mm"),
    ]  # fmt: skip


def main(arguments: argparse.Namespace) -> int:
    """Print the figures, and write them as JSON on request."""
    kills = 500 if getattr(arguments, "full", False) else getattr(arguments, "kills", 50)
    part = getattr(arguments, "part", None)
    return show(figures(getattr(arguments, "seconds", 60.0), kills, part), arguments)


def show(rows: list[dict[str, Any]], arguments: argparse.Namespace) -> int:
    """Print figures, and write them as JSON on request."""
    for line in rows:
        mark = {True: "ok ", False: "NOT", None: "   "}[line["ok"]]
        print(f"{mark} {line['name']:50s} {line['value']:10.4g} {line['unit']:6s} {line['goal']}")
    if getattr(arguments, "json", None):
        Path(arguments.json).write_text(json.dumps(rows, indent=1, ensure_ascii=False))
    return 0
