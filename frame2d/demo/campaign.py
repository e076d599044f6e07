"""The demo's campaign: three limit states and a repetition, hybrid tests on the simulated rig beside the computed frame."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from frame2d.analysis import ensemble
from frame2d.campaign import (
    Campaign,
    ComputedRunner,
    Criteria,
    DeviceCapacity,
    HybridRunner,
    LimitState,
    Result,
    StaysElastic,
)
from frame2d.demo import laboratory
from frame2d.demo.motions import BOUNDS, LIMIT_STATES, TARGET
from frame2d.demo.skeleton import Laws
from frame2d.hybrid import CHECKS
from frame2d.materials.law import Law
from frame2d.motions import Choice, Criterion, Record, candidates, distance_from_median
from frame2d.sections import european

#: Stroke of the actuator that a test may use, m: 85 % of the limit (common practice, no source).
STROKE = 0.85 * 0.12


class Campaigned(NamedTuple):
    """Limit states, their tests on the rig, the same on the iterated whole frame, and who ran the tests."""

    states: list[LimitState]
    tests: list[Result]
    references: list[Result]
    runner: HybridRunner


def criteria_of(pool: list[Record], T1: float, laws: Laws) -> dict[str, list[Criterion]]:
    """For each limit state: stroke of the actuator, and how far the roof's demand is from the median of the pool."""
    system, standing = laboratory.demo_split(laws).whole_system, laboratory.standing(laws)

    def demands(response: Any) -> tuple[float, float]:
        roof = response.floor(response.system.frame.levels()[-1][0])
        return float(abs(response.device(laboratory.TESTED).deformation).max()), float(abs(roof).max())

    found = {}
    once = candidates(pool, TARGET, T1, bounds=BOUNDS)
    for state in LIMIT_STATES:
        fitted = once.fitted(TARGET.scaled(state.factor()))
        scaled = [record.scaled(float(k)) for record, k in zip(pool, fitted.factors, strict=True)]
        runs = ensemble(system, scaled, standing, keep=demands, damping=laboratory.demo_damping(laws))
        values = [run.result for run in runs if run is not None]
        distance = distance_from_median([roof for _, roof in values])
        found[state.name] = [
            Criterion("stroke (m)", [stroke for stroke, _ in values], weight=0.5, limit=STROKE),
            Criterion("roof, ln from median", distance, weight=0.5),
        ]
    return found


def capacities() -> Criteria:
    """Capacities of the demo's devices and of what must stay elastic."""
    steel = 355e6 / 210e9
    rotation = dict(zip((s.name for s in LIMIT_STATES), (0.010, 0.025, 0.040), strict=True))
    rotation["damage limitation again"] = rotation["damage limitation"]
    # EN 1998-1:2004, 4.4.3.2 with ductile non-structural elements, from memory.
    drift = dict.fromkeys(("damage limitation", "damage limitation again"), 0.0075)
    bent = "EN 1998-3 annex B for weakened beams, about (from memory); fatigue line invented"
    return Criteria(
        devices=(
            DeviceCapacity("link *", rotation, one_cycle=0.2, elastic=0.002, fit=0.004, source=bent),
            DeviceCapacity("splice *", rotation, one_cycle=0.15, elastic=0.002, fit=0.004, source=bent),
            DeviceCapacity("pin *", 0.056, energy=150e3, fit=0.002, source="0.8 a, a = 70 mm (from memory); energy invented"),
        ),
        elastic=(
            StaysElastic("column [AB]*", 0.5 * european("HE 300 B").depth, steel, "fy/E of S355"),
            StaysElastic("column [CD]*", 0.5 * european("HE 260 B").depth, steel, "fy/E of S355"),
        ),
        drift=drift,
    )  # fmt: skip


def limit_states(choices: dict[str, Choice], laws: Laws, quiet: float = 4.0) -> list[LimitState]:
    """Damage limitation, significant damage, near collapse, damage limitation again; new devices after the middle two.

    Links and splices leave first and let the frame come back, then the pins: the frame cannot stand without all at once.
    """
    devices = laboratory.demo_split(laws).whole.devices()
    pins = tuple(name for name in devices if name.startswith("pin"))
    others = tuple(name for name in devices if name not in pins)
    found = []
    for key, (name, choice) in zip(("dl", "sd", "nc"), choices.items(), strict=True):
        state = LimitState(name, choice.records[0], float(choice.factors[0]), key, quiet=quiet)
        found.append(state if key == "dl" else replace(state, replace="all", groups=(others, pins)))
    again = replace(found[0], name="damage limitation again", short="dl2", repeats=found[0].name)
    return [*found, again]


def run_campaign(
    states: list[LimitState], laws: Laws, actual: Law, folder: Path, echo: Callable[[str], Any]
) -> Campaigned:
    """All limit states on the rig whose pin is `actual`, and on the computed frame; stored in `folder`."""
    runner = HybridRunner(
        laboratory.demo_split(laws),
        lambda limit_state, state: laboratory.demo_test(
            limit_state.padded, limit_state.factor, None, state, laws=laws, actual=actual
        ),
        laboratory.along_brace(),
        {laboratory.TESTED: 0},
        override=CHECKS,
        about=(laws, actual),
    )
    tests = Campaign(runner, states, capacities(), folder / "campaign", echo).run()
    computed = ComputedRunner(
        laboratory.demo_split(laws).whole_system,
        {"damping": laboratory.demo_damping(laws), "drift_limit": 0.10},
        origin="reference",
    )
    references = Campaign(computed, states, capacities(), folder / "reference").run()
    return Campaigned(states, tests, references, runner)


__all__ = ["STROKE", "Campaigned", "capacities", "criteria_of", "limit_states", "run_campaign"]
