"""Run the demo: the whole campaign of the invented building, from component tests to `report.html`."""

import time
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.analysis import Response, gravity, modes, push, time_history
from frame2d.campaign.states import load_state
from frame2d.demo import laboratory, sections
from frame2d.demo.campaign import Campaigned, criteria_of, limit_states, run_campaign
from frame2d.demo.component_tests import components, fitted_laws, specimen_pin
from frame2d.demo.ladder import climb, twist
from frame2d.demo.measurement import measured_sections
from frame2d.demo.motions import DT, Motions, demo_choices, demo_pool, demo_suite
from frame2d.demo.skeleton import Laws
from frame2d.errors import InputError
from frame2d.motions import Record
from frame2d.report import build_report, limit_state_entry, picture, write_summary
from frame2d.written import folder_at

CAUTION = (
    "Results support, and never replace, design to the local code by licensed engineers. A rig has independent hardware "
    "interlocks; software limits are the second line, never the first. People stay clear of a loaded frame. Building, "
    "devices, component tests, laboratory and synthetic records are invented."
)


class Clock:
    """Seconds of each stage, told as they pass."""

    def __init__(self, echo: Any) -> None:
        self.echo, self.seconds = echo, dict[str, float]()
        self.begun = self.last = time.perf_counter()

    def lap(self, name: str) -> None:
        """End a stage."""
        now = time.perf_counter()
        self.seconds[name] = round(now - self.last, 3)
        self.last = now
        self.echo(f"  {name}: {self.seconds[name]:.1f} s")


def weak_motion() -> Record | None:
    """The weak strong-motion sample that ObsPy ships, read where it is installed; None without the `records` extra."""
    try:
        import obspy
    except ImportError:
        return None
    from frame2d.motions import band_pass, baseline, read_strong_motion

    path = Path(obspy.__file__).parent / "io/nied/tests/data/test.knet"
    if not path.is_file():
        return None
    found = read_strong_motion(path)
    return band_pass(baseline(found[0]), 0.1, 25.0)


def run_demo(out: Any, quick: bool = False, echo: Any = print) -> dict[str, Any]:
    """Run everything into folder `out`; returns what `summary.json` holds. `quick`: short motions, few fits, no video."""
    folder = Path(out)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"out is {str(out)!r}, a file; allowed: a folder, new or old")
    folder_at(folder)
    echo(CAUTION)
    clock = Clock(echo)

    found = components(folder / "component_tests", quick, progress=not quick)
    laws, actual = fitted_laws(found), specimen_pin()
    clock.lap("component tests fitted")

    frame = laboratory.demo_split(laws).whole
    echo(frame.summary())
    frame.save(folder / "frame.json")
    system = frame.compile()
    standing = gravity(system)
    shapes = modes(system, standing.state, 5)
    T1 = float(shapes.period[0])
    curve = push(system, standing.state, "modal", node="A5", target=0.02 * 18.0, steps=150)
    curve.save(folder / "push.h5")
    clock.lap("gravity, modes, push")

    pool = demo_pool(quick)
    suite = demo_suite(pool, T1)
    choices = demo_choices(pool, T1, criteria_of(pool, T1, laws))
    motions = Motions(pool, suite, choices)
    clock.lap("motions")

    ladder = climb(laws, motions, quick, progress=not quick)
    rotation = twist(ladder, motions)
    clock.lap("reduction and cuts")

    states = limit_states(choices, laws, quiet=1.0 if quick else 4.0)
    worst = states[2]
    rehearsed = laboratory.demo_rehearsal(
        worst.record, worst.factor, 4 if quick else 40, paced=0.25 if quick else 2.0, folder=folder / "rehearsal",
        echo=echo, laws=laws, progress=not quick,
    )  # fmt: skip
    clock.lap("rehearsal")

    done = run_campaign(states, laws, actual, folder, echo)
    clock.lap("campaign")

    measurement, updating, numbers = measure(folder, done, laws, quick)
    clock.lap("measurement and updating")

    sample = recorded_sample(system, standing.state, laws)
    clock.lap("recorded sample")

    pictures = draw(folder, done.tests[2].response(), quick)
    clock.lap("pictures")

    summary = {
        "title": "Hybrid test of an invented five-storey frame with replaceable devices",
        "subtitle": "Demonstration: from component tests to verdicts, on a simulated rig",
        "date": date.today().isoformat(),
        "invented": True,
        "caution": [CAUTION],
        "job": sections.job_block(),
        "building": sections.building_block(folder, ladder, frame, shapes, curve, rotation),
        "fits": sections.fits_block(folder, found),
        "reduction": sections.reduction_block(folder, ladder),
        "cuts": sections.cuts_block(folder, ladder),
        "motions": sections.motions_block(folder, motions, T1),
        "capacity": sections.capacity_block(rehearsed),
        "rehearsal": sections.rehearsal_block(rehearsed),
        "limit_states": entries(folder, done),
        "measurement": measurement,
        "updating": updating,
        "measured": numbers,
        "periods_s": shapes.period.tolist(),
        "push_peak_N": float(curve.factor.max()),
        "rehearsed": rehearsed,
        "recorded_sample": sample,
        "pictures": pictures,
        "seconds": clock.seconds,
    }
    summary["building"]["pictures"] += pictures
    write_summary(folder, summary)
    page = build_report(folder)
    clock.lap("report")
    echo(f"written to {folder}; open {page}")
    return summary


def measure(folder: Path, done: Campaigned, laws: Laws, quick: bool) -> tuple[Any, Any, Any]:
    """Sections of the near-collapse test's instruments, and of what follows from it for the laws."""
    begin = load_state(folder / "campaign" / "2_sd" / "state.h5")
    test, state = done.tests[2], done.states[2]
    outcome = done.runner.outcomes.get(test.limit_state)
    if outcome is None:
        note = {
            "text": ["Taken over from an earlier run: the readings of the rig are not in memory any more."]
        }
        return note, note, {}
    return measured_sections(
        folder, laws, state.padded, test.factor, begin, test.response(), outcome, quick, progress=not quick
    )


def entries(folder: Path, done: Campaigned) -> list[dict[str, Any]]:
    """Limit states of the report, each test beside its reference."""
    return [
        limit_state_entry(
            test, folder, reference.measured, outcome=done.runner.outcomes.get(test.limit_state), freedoms=("brace",)
        )
        for test, reference in zip(done.tests, done.references, strict=True)
    ]  # fmt: skip


def recorded_sample(system: Any, state: Any, laws: Laws) -> dict[str, Any]:
    """The frame under a real record that ObsPy ships: weak motion, scaled only to show the path from a file."""
    weak = weak_motion()
    if weak is None:
        return {"read": False, "reason": "the extra `records` is not installed"}
    factor = 1.5 / float(np.abs(weak.acceleration).max())
    response = time_history(system, weak, state, factor=factor, damping=laboratory.demo_damping(laws), dt=DT)
    return {
        "read": True,
        "note": "weak motion, scaled only to show the path from a real file; not design input",
        "factor": factor,
        "outcome": response.outcome.value,
        "peak_drift": {name: float(np.abs(drift).max()) for name, drift in response.drifts().items()},
        "energy_imbalance": response.imbalance(),
    }


def draw(folder: Path, last: Response, quick: bool) -> list[dict[str, str]]:
    """VTK series and animation of the near-collapse test, and its loops."""
    from frame2d import show

    show.save_figure(show.plot_loops(last), folder / "loops.png")
    show.save_figure(show.plot_energy(last), folder / "energy.png")
    show.write_series(last, folder / "vtk", every=max(1, last.time.size // (8 if quick else 200)))
    if quick:
        return []
    show.animate(last, folder / "motion.gif", every=max(1, last.time.size // 80))
    return [picture("motion.gif", "The near-collapse test: deformed frame, enlarged, with drifts and states of the devices.",
                    "Animation of the frame during the near-collapse test")]  # fmt: skip
