"""What a hybrid test adds to a limit state: commands, tracking, energy error, events, timing."""

from pathlib import Path
from typing import Any

import h5py
import numpy as np

from frame2d.hybrid import Outcome
from frame2d.report.collect import fact, table
from frame2d.written import written


def save_outcome(outcome: Outcome, dt: float, path: Any) -> Path:
    """Histories of a hybrid test to HDF5: time (s), target, command, displacement (m, rad), force (N, N·m) by freedom."""
    target = Path(path)
    with written(target) as beside, h5py.File(beside, "w") as file:
        file["time"] = dt * np.arange(1, outcome.step + 1)
        for name in ("target", "command", "displacement", "force"):
            for k, column in enumerate(getattr(outcome, name).T):
                file.create_dataset(f"{name}/{k}", data=column, compression="gzip")
        for k, column in enumerate((outcome.displacement - outcome.target).T):
            file.create_dataset(f"tracking/{k}", data=column, compression="gzip")
        file.create_dataset("energy error", data=outcome.energy_error, compression="gzip")
        file.create_dataset("step time", data=outcome.step_time, compression="gzip")
    return target


def hybrid_block(outcome: Outcome, file: str, freedoms: tuple[str, ...] = ()) -> dict[str, Any]:
    """Facts, events and curves of a hybrid test as a block; `file` is what `save_outcome` wrote, in the result folder.

    `freedoms` names the interface freedoms. Tracking error: measured less wanted displacement.
    """
    error = outcome.displacement - outcome.target
    count = outcome.target.shape[1]
    names = freedoms or tuple(f"freedom {k + 1}" for k in range(count))
    span = np.ptp(outcome.target, axis=0) if outcome.step else np.zeros(count)
    facts = [
        fact("Ended", outcome.ending),
        fact("Steps", int(outcome.step)),
        fact("Largest tracking error", 1e3 * float(np.abs(error).max(initial=0.0)), "mm"),
        fact(
            "Largest energy error", 100.0 * float(np.abs(outcome.energy_error).max(initial=0.0)), "%", "HSEM"
        ),
        fact("Step time, median", 1e3 * float(np.median(outcome.step_time)) if outcome.step else None, "ms"),
        fact("Step time, longest", 1e3 * float(outcome.step_time.max(initial=0.0)), "ms"),
    ]
    rows = [
        [names[k], 1e3 * float(np.abs(outcome.displacement[:, k]).max(initial=0.0)),
         float(np.abs(outcome.force[:, k]).max(initial=0.0)) / 1e3,
         1e3 * float(np.sqrt(np.mean(error[:, k] ** 2))) if outcome.step else None,
         100.0 * float(np.sqrt(np.mean(error[:, k] ** 2)) / span[k]) if outcome.step and span[k] > 0.0 else None]
        for k in range(count)
    ]  # fmt: skip
    tables = [
        table("Interface freedoms: largest measured values and tracking.",
              ["Freedom", ("Displacement", "mm"), ("Force", "kN"), ("rms tracking error", "mm"), ("NRMSE of the range", "%")],
              rows)
    ]  # fmt: skip
    if outcome.events:
        tables.append(
            table("Events of the guard.", ["Command", "Side", "Trigger", "Action", "What"],
                  [[int(e.sequence), e.side, e.trigger, e.action.name.lower(), e.text] for e in outcome.events[:60]],
                  "" if len(outcome.events) <= 60 else f"The first 60 of {len(outcome.events)}.")
        )  # fmt: skip
    return {"facts": facts, "tables": tables, "curves": _curves(file, names, outcome.step)}


def _curves(file: str, names: tuple[str, ...], steps: int) -> list[dict[str, Any]]:
    if steps < 2:
        return []

    def line(
        name: str, y: str, factor: float, number: int, x: str = "time", x_factor: float = 1.0
    ) -> dict[str, Any]:
        return {
            "name": name,
            "file": file,
            "x": x,
            "y": y,
            "x_factor": x_factor,
            "y_factor": factor,
            "number": number,
        }

    panels = []
    for k, name in enumerate(names[:4]):
        panels.append(
            {"title": name, "x": "time (s)", "y": "error (mm)", "series": [line("", f"tracking/{k}", 1e3, 0)]}
        )
        panels.append(
            {"title": f"{name}: synchrony", "x": "wanted (mm)", "y": "measured (mm)",
             "series": [line("", f"displacement/{k}", 1e3, 0, f"target/{k}", 1e3)]}
        )  # fmt: skip
    energy = {
        "title": "energy error",
        "x": "time (s)",
        "y": "HSEM (%)",
        "series": [line("", "energy error", 100.0, 6)],
    }
    return [
        {"caption": "Tracking error (mm) over time (s), measured against wanted displacement (mm), and energy error (%).",
         "alt": "Tracking error, synchrony and energy error of the hybrid test", "panels": [*panels, energy], "columns": 3}
    ]  # fmt: skip
