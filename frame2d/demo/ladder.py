"""Reduction of the demo's building, each step proved: building, plane frame, cut, stick model."""

from typing import Any, NamedTuple

import numpy as np

from frame2d.demo.motions import Motions
from frame2d.demo.prototype import DEMO_FRAME, prototype
from frame2d.demo.skeleton import Laws
from frame2d.fitting import Effort
from frame2d.reduction import (
    Building,
    BuildingModel,
    BuildingModes,
    Cut,
    CutRanking,
    Fidelity,
    FrameModel,
    PlaneReduction,
    Rig,
    Stick,
    building_modes,
    candidate_cuts,
    fidelity,
    plane_frame,
    rank_cuts,
    stick_model,
)

#: What the invented laboratory has: one actuator of 1 MN and 250 mm each way.
LABORATORY = Rig(actuators=1, force=1e6, stroke=0.25)
#: The device type that the laboratory wants to see tested.
MUST_TEST = ("pin 1",)


class Ladder(NamedTuple):
    """Every level with the table that proves it against the one before."""

    building: Building
    modes: BuildingModes
    plane: PlaneReduction
    ranking: CutRanking
    stick: Stick
    tables: dict[str, Fidelity]


def cuts_of(frame: Any, quick: bool) -> list[Cut]:
    """One storey with or without part of the next, and each device of the first storey by itself."""
    ratios = (0.0, 0.5) if quick else (0.0, 0.4, 0.5, 0.6)
    every = candidate_cuts(frame, storeys=1, ratios=ratios, drives=("top", "horizontal", "all"))
    return [cut for cut in every if not cut.is_device or any(name.endswith(" 1") for name in cut.tested)]


def climb(laws: Laws, motions: Motions, quick: bool = False, progress: bool = True) -> Ladder:
    """Reduce the building with these laws, and prove each step on the suite at all limit states."""
    suites = motions.suites()
    if quick:
        suites = {name: records[:1] for name, records in list(suites.items())[1:2]}
    cases = {name: [(record, 1.0) for record in records] for name, records in suites.items()}
    strong = list(suites.values())[-1][0]

    building = prototype(laws=laws)
    modes = building_modes(building.compile())
    plane = plane_frame(building, DEMO_FRAME, leaning_at=20.0)
    frame = FrameModel("plane frame", plane.frame)
    reference = BuildingModel("building", building, DEMO_FRAME, plane.share)
    tables = {"building to plane frame": fidelity(reference, frame, cases, progress=progress)}

    ranking = rank_cuts(
        plane.frame, [strong], cuts_of(plane.frame, quick), rig=LABORATORY, must_test=MUST_TEST, least_tested=0.1,
        progress=progress,
    )  # fmt: skip
    built = ranking.best.model
    assert built is not None  # a feasible cut was built
    best = FrameModel(f"test model: {ranking.best.cut.name}", built.frame)
    tables["plane frame to test model"] = fidelity(frame, best, cases, progress=progress)

    effort = Effort(population=3, generations=10 if quick else 30, starts=1, iterations=15)
    drifts = (0.005, 0.01) if quick else (0.0025, 0.005, 0.0075, 0.01, 0.015, 0.02)
    stick = stick_model(
        frame, "BoucWen", free=["pinching"], effort=effort, amplitudes=drifts, progress=progress
    )
    tables["plane frame to stick model"] = fidelity(frame, stick.model, cases, progress=progress)
    return Ladder(building, modes, plane, ranking, stick, tables)


def twist(ladder: Ladder, motions: Motions) -> float:
    """Largest rotation (rad) of the roof when two records act along x and y at once."""
    from frame2d.reduction import building_history

    first, second = motions.suite.best.scaled()[:2]
    response = building_history(ladder.building.compile(), first, second)
    top = list(ladder.building.floors)[-1]
    return float(np.abs(response.centre(top)[:, 2]).max())


__all__ = ["LABORATORY", "MUST_TEST", "Ladder", "climb", "cuts_of", "twist"]
