"""Reduce a building to what a laboratory can test, and prove each step: building, plane frame, test model, stick.

The building is the demo's: invented, as the records are. Every step prints its table; the main part draws the pictures.
"""

from pathlib import Path
from typing import Any

import numpy as np

from frame2d.demo.prototype import DEMO_FRAME, prototype
from frame2d.fitting import Effort
from frame2d.motions import ElasticSpectrum, Envelope, Record, synthetic_record
from frame2d.reduction import (
    BuildingModel,
    FrameModel,
    Rig,
    building_history,
    building_modes,
    candidate_cuts,
    fidelity,
    plane_frame,
    rank_cuts,
    stick_model,
)

#: Factors of the limit states on a 475-year record.
STATES = {"damage limitation": 0.585, "significant damage": 1.0}


def invented_records(count: int, short: bool) -> list[Record]:
    """Synthetic records for the EN 1998-1 type 1 spectrum of ground B, ag = 2.5 m/s²."""
    envelope = Envelope(0.5, 1.5, 1.0) if short else Envelope(2.0, 10.0, 8.0)
    target = ElasticSpectrum(ag=2.5, ground="B")
    return [
        synthetic_record(
            target,
            seed=seed,
            dt=0.005,
            envelope=envelope,
            tolerance=0.3 if short else 0.15,
            name=f"synthetic {seed}",
        )
        for seed in range(1, count + 1)
    ]


def run(count: int = 3, short: bool = False, progress: bool = False) -> dict[str, Any]:
    """All steps; `count` records a limit state."""
    records = invented_records(count, short)
    cases = {state: [(record, factor) for record in records] for state, factor in STATES.items()}

    # The building twists: its mass lies beside its stiffness. Both ground components act at once.
    building = prototype()
    system = building.compile()
    modes = building_modes(system)
    twisting = building_history(system, records[0], records[-1])

    # Building → plane frame: share of mass and weight, and what the hypothesis behind it costs.
    plane = plane_frame(building, DEMO_FRAME, leaning_at=20.0)
    reference = BuildingModel(f"building, frame {DEMO_FRAME}", building, DEMO_FRAME, plane.share)
    frame = FrameModel("plane frame", plane.frame)
    first = fidelity(reference, frame, cases, progress=progress)

    # Plane frame → test model: cuts are generated, run and ranked. One device of each kind must be tested.
    wanted = ["link 1", "pin 1", "splice 1"]
    drives = ("top", "horizontal") if short else ("top", "horizontal", "horizontal and vertical", "all")
    ratios = (0.0, 0.5) if short else (0.0, 0.4, 0.5, 0.6)
    cuts = candidate_cuts(
        plane.frame, storeys=1 if short else 2, ratios=ratios, drives=drives, devices=not short
    )
    ranking = rank_cuts(
        plane.frame,
        records[:1],
        cuts,
        rig=Rig(4, 1e6, 0.25),
        must_test=wanted,
        least_tested=0.1,
        progress=progress,
    )
    model = FrameModel(ranking.best.cut.name, ranking.best.model.frame)
    second = fidelity(frame, model, cases, progress=progress)

    # Test model → stick with a level for the actuator at the cut.
    cut = next((f"{column} cut" for column in ranking.best.cut.columns), None)
    effort = Effort(population=3, generations=10, starts=1, iterations=15) if short else None
    stick = stick_model(
        model,
        "BoucWen",
        free=["pinching"],
        actuators={"actuator": cut} if cut else None,
        effort=effort,
        amplitudes=(0.005, 0.01) if short else (0.0025, 0.005, 0.0075, 0.01, 0.015, 0.02),
        progress=progress,
    )
    third = fidelity(model, stick.model, cases, progress=progress)
    return {
        "building": building,
        "modes": modes,
        "twist": float(np.abs(twisting.centre("floor 5")[:, 2]).max()),
        "plane": plane,
        "ranking": ranking,
        "stick": stick,
        "tables": {"plane frame": first, "test model": second, "stick": third},
    }


if __name__ == "__main__":
    from frame2d.show.look import save_figure
    from frame2d.show.reduction_plots import plot_cuts, plot_fidelity, plot_plan, plot_stick

    out = Path("out/reduce_building")
    out.mkdir(parents=True, exist_ok=True)
    found = run(progress=True)
    print(found["building"].summary(), "\n")
    print(found["modes"].text(), "\n")
    print(f"largest rotation of the roof: {1e3 * found['twist']:.2f} mrad\n")
    print(found["plane"].text(), "\n")
    print(found["ranking"].text(), "\n")
    print(found["stick"].text(), "\n")
    save_figure(plot_plan(found["building"]), out / "plan.png")
    save_figure(plot_cuts(found["ranking"]), out / "cuts.png")
    save_figure(plot_stick(found["stick"]), out / "stick.png")
    found["ranking"].to_csv(out / "cuts.csv")
    for name, table in found["tables"].items():
        print(table, "\n")
        table.to_csv(out / f"fidelity_{name.replace(' ', '_')}.csv")
        save_figure(plot_fidelity(table), out / f"fidelity_{name.replace(' ', '_')}.png")
