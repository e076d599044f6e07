"""After the demo's test: the tested pin fitted again to its measured loop, models rerun, the error divided.

The rig measures the brace with its pin from end to end; the pin's own deformation is that less what the elastic brace
takes, u − F/k. Only the tested pin's law is changed: those of the other storeys were computed, not tested.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.analysis import Response, time_history
from frame2d.campaign.whole import whole_response
from frame2d.component_tests import CyclicTest, from_arrays
from frame2d.demo.laboratory import (
    TESTED,
    along_brace,
    demo_damping,
    demo_solver,
    demo_specimen,
    demo_split,
)
from frame2d.demo.skeleton import Laws
from frame2d.errors import InputError
from frame2d.fitting import Effort, Fit, errors_of, fit
from frame2d.hybrid import Command, FrameSpecimen, Outcome, balanced, part_state
from frame2d.instruments import AfterTest, after_test, follow_specimen, signals_of
from frame2d.materials.drive import drive
from frame2d.materials.law import Law
from frame2d.model.state import State
from frame2d.report import fact, picture, table
from frame2d.substructure import Split
from frame2d.substructure.joined import twin

if TYPE_CHECKING:
    from frame2d.demo.measurement import Measurement

Block = dict[str, Any]

#: Quantities whose error is divided.
DIVIDED = ("floor 5 displacement", "floor 1 displacement", "base shear", f"{TESTED} force", f"{TESTED} work")
#: What the loop of one test tells of the pin; its decay and how its slip begins and ends stay the component test's.
FREE = ("k", "Fy", "a", "n", "zeta_s", "p", "q", "psi")
#: Ranges about the law of before: an earthquake's loop is too irregular to take them from the loop itself.
NEAR = {
    "k": (0.6, 1.6),
    "Fy": (0.6, 1.5),
    "n": (0.7, 1.5),
    "q": (0.3, 2.0),
    "p": (0.3, 2.5),
    "psi": (0.4, 1.6),
}
#: A pin counts as new if its model's force differs by less than this share of the range from that of a new one.
AS_NEW = 0.01


@dataclass(frozen=True)
class Retested(Laws):
    """Laws of the frame with another one in the tested pin alone."""

    own: Any = None

    def at(self, kind: str, level: int) -> Any:
        """The law of a device of this kind at a storey; the tested pin has its own."""
        return self.own if (kind, level) == ("pin", 1) else super().at(kind, level)


@dataclass(frozen=True)
class Updated:
    """The refit with the loop that it was made to, the led brace by "before" and "after", the division."""

    loop: CyclicTest
    before: Law
    fit: Fit
    led: dict[str, dict[str, float]]
    test: AfterTest

    def numbers(self) -> dict[str, Any]:
        """Plain numbers, SI."""
        errors = {"before": errors_of(self.before, self.loop), "after": errors_of(self.fit.law, self.loop)}
        return {
            "law": {p.name: {"before": float(getattr(self.before, p.name)), "after": p.value, "low": p.low,
                             "high": p.high, "status": p.status} for p in self.fit.parameters if p.name in FREE},
            "loop": {name: {"force_nrmse": e.force, "energy_at_end": e.end_energy} for name, e in errors.items()},
            "led_brace": self.led,
            "division": {
                name: {"total": d.total, **{p.name: p.part for p in d.parts},
                       "distances": {p.name: p.distance for p in d.parts}}
                for name, d in self.test.divisions.items()
            },
            "before_and_after": self.test.before_and_after(),
        }  # fmt: skip


def update(
    found: "Measurement",
    laws: Laws,
    record: Any,
    factor: float,
    begin: State,
    response: Response,
    outcome: Outcome,
    quick: bool = False,
    progress: bool = True,
) -> Updated:
    """Refit, reruns, division; arguments as in `frame2d.demo.measurement.measured_sections`.

    Raises `InputError` if the tested pin was not new when the test began.
    """
    parts = demo_split(laws)
    if not _new(parts, begin, response):
        raise InputError(
            f"{TESTED} had yielded before this test, which tells a fit nothing of what it was when new; allowed: a test that "
            "began with a new pin. Likely mistake: the state after an earlier limit state without replacement"
        )
    loop = pin_loop(found, parts, response)
    effort = Effort(population=4, generations=10 if quick else 25, starts=1 if quick else 2, iterations=40)
    before = laws.at("pin", 1)
    near = {
        name: (low * getattr(before, name), high * getattr(before, name))
        for name, (low, high) in NEAR.items()
    }
    refit = fit(before, loop, free=FREE, bounds=near, effort=effort, profile="none", progress=progress)
    retested = Retested(laws.link, laws.pin, laws.splice, refit.law)
    led = {
        name: _led(demo_specimen(begin, own), outcome)
        for name, own in (("before", laws), ("after", retested))
    }
    damping = demo_damping(laws)

    def whole(own: Laws) -> Mapping[str, Any]:
        system = demo_split(own).whole_system
        state = begin if own == laws else balanced(system, begin)
        return _signals(time_history(system, record, state, factor=factor, damping=damping))

    def reduced(own: Laws) -> Mapping[str, Any]:
        divided = demo_split(own)
        state = joined_state(divided, begin)
        return _signals(time_history(divided.joined_system, record, state, factor=factor, damping=damping))

    def computed(own: Laws) -> Mapping[str, Any]:
        specimen, solver = demo_specimen(begin, own), demo_solver(record, factor, begin, laws=laws)
        moved, forces = [], []
        while solver.step < solver.steps:
            answer = specimen.apply(Command(solver.step + 1, solver.predict(), 1.0))
            solver.correct(answer.force)
            moved.append(answer.displacement.copy())
            forces.append(answer.force[0])
        force = {TESTED: np.concatenate([[0.0], forces])}
        return _signals(
            whole_response(parts, begin, solver.response(), np.array(moved), along_brace(), force)
        )

    signals = _signals(response)
    divided = after_test(
        {name: signals[name] for name in DIVIDED},
        computed=computed, reduced=reduced, reference=whole, assumed=laws, refitted=retested,
    )  # fmt: skip
    return Updated(loop, before, refit, led, divided)


def pin_loop(found: "Measurement", parts: Split, response: Response) -> CyclicTest:
    """Loop of the pin alone by the actuator's channels, from the force and deformation in which the test began."""
    _, brace = parts.whole.members[TESTED].member.law.laws  # type: ignore[attr-defined]
    start = response.device(TESTED)
    force = start.force[0] + found.quantities["actuator force"].value
    stretch = start.deformation[0] + found.quantities["actuator elongation"].value
    time = found.quantities["actuator force"].time
    return from_arrays(TESTED, stretch - force / brace.k, force, time=time, kind="translation")


def joined_state(parts: Split, begin: State) -> State:
    """State of the joined parts that moves and remembers as the whole does in `begin`; for cuts that release nothing."""
    whole, joined = parts.whole_system, parts.joined_system
    back = {twin(parts, node): node for node in parts.tested.nodes}
    return part_state(whole, begin, joined, back)


def _new(parts: Split, begin: State, response: Response) -> bool:
    """Whether the tested brace's model, led as in the test from where it began, does as a new one would."""
    system = parts.whole_system
    place = next(p for p in system.parts if p.member == TESTED and p.part.law is not None)
    law: Any = place.part.law
    first = system.memory_at[place.number]
    memory = begin.motion.m0[first : first + place.part.memory.size].copy()
    moved = response.device(TESTED).deformation
    old, new = drive(law, moved, memory=memory).force, drive(law, moved).force
    return bool(np.sqrt(np.mean((old - new) ** 2)) <= AS_NEW * np.ptp(old))


def _led(specimen: FrameSpecimen, outcome: Outcome) -> dict[str, float]:
    """The model of the brace led through the achieved displacements beside the forces that were measured."""
    loop = follow_specimen(specimen, outcome.displacement).device(TESTED)
    force, measured = loop.force[1:] - loop.force[0], outcome.force[:, 0]
    moved = np.diff(outcome.displacement[:, 0])
    works = [float(np.sum(0.5 * (F[1:] + F[:-1]) * moved)) for F in (force, measured)]
    return {
        "force_nrmse": float(np.sqrt(np.mean((force - measured) ** 2)) / np.ptp(measured)),
        "peak_error": float(np.abs(force).max() / np.abs(measured).max() - 1.0),
        "energy_error": works[0] / works[1] - 1.0,
    }


def _signals(response: Response) -> dict[str, Any]:
    return signals_of(response, [TESTED])


def updating_block(folder: Path, found: Updated) -> Block:
    """Section "updating": the refit, errors before and after, and the division."""
    from frame2d import show
    from frame2d.show.instrument_plots import plot_error_division, plot_measured_loops

    show.save_figure(plot_error_division(found.test.divisions), folder / "division.png")
    loops = plot_measured_loops({TESTED: found.loop}, {TESTED: found.before}, {TESTED: found.fit.law})
    show.save_figure(loops, folder / "pin_refit.png")
    values = found.numbers()
    text = [
        "The pin of the tested brace is fitted again to the loop that the actuator's stroke and load cell measured, less "
        f"what the elastic brace takes. Free are {', '.join(FREE)}; what one test tells too little of (decay, the split of "
        "the loop's width) stays as the component test gave it. The laws of all other devices stay too, those of the other "
        "pins among them: in this test they were computed.",
        "Then every model is run again under the achieved motion, and the error of the prediction (whole frame, implicit, "
        "laws as before the test) is divided along a chain: test, all computed with the same scheme, joined parts implicit, "
        "whole frame implicit, whole frame with the law of before. The cut of this demo releases nothing, so the part of "
        "the reduction should be nothing but rounding. A negative part makes up for others.",
    ]
    return {
        "text": text,
        "facts": [
            fact("Energy of the loop by the fitted law", 100.0 * values["loop"]["after"]["energy_at_end"], "% off",
                 f"before {100.0 * values['loop']['before']['energy_at_end']:+.2f} %"),
            fact("Force of the loop by the fitted law", 100.0 * values["loop"]["after"]["force_nrmse"], "% NRMSE",
                 f"before {100.0 * values['loop']['before']['force_nrmse']:.2f} %; of the range"),
        ],
        "tables": _tables(found, values),
        "pictures": [
            picture("pin_refit.png", "Measured loop of the pin with the law before and after the refit.",
                    "Force-deformation loops, measured and by both laws"),
            picture("division.png", "Error of the prediction, divided among rig, integration, reduction and law.",
                    "Stacked bars of the parts of the error of each quantity"),
        ],
        "curves": [_histories(found)],
    }  # fmt: skip


def _tables(found: Updated, values: dict[str, Any]) -> list[dict[str, Any]]:
    rows = [
        [name, p["before"], p["after"], p["low"], p["high"], p["status"]] for name, p in values["law"].items()
    ]
    led = [
        [f"law {name} the test", 100.0 * e["force_nrmse"], 100.0 * e["peak_error"], 100.0 * e["energy_error"]]
        for name, e in found.led.items()
    ]
    parts = [
        [name, 100.0 * d["total"], *(100.0 * d[part] for part in ("rig", "integration", "reduction", "law"))]
        for name, d in values["division"].items()
    ]
    sides = []
    for row in values["before_and_after"]:
        size, unit = _shown(row["quantity"])
        peaks = (size * row[key] for key in ("peak of the test", "peak before", "peak after"))
        sides.append([row["quantity"], 100.0 * row["error before"], 100.0 * row["error after"], unit, *peaks])
    return [
        table("The tested pin's law before and after, with 95 % intervals (SI).",
              ["Parameter", "Before", "After", "From", "To", "Status"], rows,
              "Intervals under white noise of the measured force alone: what the fixed parameters are off by is not in them"),
        table("The brace led through the displacements that the rig achieved, beside the forces that it measured.",
              ["Model", ("Force, NRMSE of the range", "%"), ("Peak force", "%"), ("Energy", "%")], led),
        table("Error of the prediction (NRMSE of the test's range) and its parts.",
              ["Quantity", ("Total", "%"), ("Rig", "%"), ("Integration", "%"), ("Reduction", "%"), ("Law", "%")], parts,
              "Parts add up to the total; derived in frame2d.instruments.division"),
        table("Whole frame before and after the refit, beside the test.",
              ["Quantity", ("Error before", "%"), ("Error after", "%"), "Unit", "Peak of the test", "Peak before",
               "Peak after"], sides),
    ]  # fmt: skip


def _shown(quantity: str) -> tuple[float, str]:
    for word, shown in (("displacement", (1e3, "mm")), ("work", (1e-3, "kJ"))):
        if quantity.endswith(word):
            return shown
    return 1e-3, "kN"


def _histories(found: Updated) -> dict[str, Any]:
    """First floor's displacement and the pin's work in test, prediction and rerun, thinned to some 800 points."""
    names = {"test": "test", "prediction": "before the test", "reference": "law refitted"}
    panels = []
    for quantity in (DIVIDED[1], DIVIDED[4]):
        size, unit = _shown(quantity)
        series = []
        for run, label in names.items():
            time, values = found.test.runs[run][quantity]
            every = max(1, len(time) // 800)
            series.append(
                {"name": label, "x": time[::every].tolist(), "y": (size * values[::every]).tolist()}
            )
        panels.append({"title": quantity, "x": "time (s)", "y": f"{quantity} ({unit})", "series": series})
    return {
        "caption": "First floor and work of the tested brace: the test beside the whole frame with the law before and after.",
        "alt": "Histories of displacement and work in the test and in two runs of the whole frame",
        "panels": panels, "columns": 2,
    }  # fmt: skip


__all__ = ["Retested", "Updated", "joined_state", "pin_loop", "update", "updating_block"]
