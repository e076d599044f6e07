"""From results to the plain data of a summary: limit states, comparisons, facts and tables."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.campaign import Measured, Result
from frame2d.compare import compare
from frame2d.errors import InputError
from frame2d.report.scene import write_scene

if TYPE_CHECKING:
    from frame2d.hybrid import Outcome


def fact(name: str, value: Any, unit: str = "", note: str = "") -> dict[str, Any]:
    """One line of facts."""
    return {"name": name, "value": value, "unit": unit, "note": note}


def table(
    caption: str, columns: Sequence[str | tuple[str, str]], rows: Iterable[Sequence[Any]], note: str = ""
) -> dict[str, Any]:
    """A table; columns are names or (name, unit)."""
    heads = [{"name": c, "unit": ""} if isinstance(c, str) else {"name": c[0], "unit": c[1]} for c in columns]
    return {"caption": caption, "columns": heads, "rows": [list(row) for row in rows], "note": note}


def picture(file: str, caption: str, alt: str) -> dict[str, str]:
    """A picture of the folder."""
    return {"file": file, "caption": caption, "alt": alt}


def limit_state_entry(
    result: Result,
    folder: Any,
    reference: Measured | None = None,
    *,
    outcome: "Outcome | None" = None,
    freedoms: tuple[str, ...] = (),
) -> dict[str, Any]:
    """Entry of a limit state in `summary["limit_states"]`; writes histories and animation below `folder`.

    Files that the campaign stored are used where they are, as long as they lie in `folder`; others are written into
    `folder`/limit_states. `reference` is compared with the test: roof displacement, base shear, each device's force.
    `outcome` of a hybrid test (`HybridRunner.outcomes`) adds tracking, energy error, events and timing; `freedoms`
    names those of its interface.
    """
    root = Path(folder).resolve()
    own = root / "limit_states"
    files: dict[str, str] = {}
    stored = None if result.folder is None else result.folder.resolve()
    if stored is not None and stored.is_relative_to(root) and (stored / "measured.h5").is_file():
        files["measured"] = (stored / "measured.h5").relative_to(root).as_posix()
    else:
        own.mkdir(exist_ok=True)
        result.measured.save(own / f"{result.key}.h5")
        files["measured"] = f"limit_states/{result.key}.h5"
    if stored is not None and (stored / "response.h5").is_file():
        response = result.response()
        if "dt" in response.extra:
            own.mkdir(exist_ok=True)
            path = write_scene(response, own / f"{result.key}.scene.json", f"at {result.limit_state}")
            files["scene"] = path.relative_to(root).as_posix()
    entry: dict[str, Any] = {**result.as_data(), "files": files}
    if reference is not None:
        own.mkdir(exist_ok=True)
        reference.save(own / f"{result.key}.reference.h5")
        files["reference"] = f"limit_states/{result.key}.reference.h5"
        entry["reference"] = peaks(reference)
        entry["comparison"] = comparison(result.measured, reference)
    if outcome is not None:
        from frame2d.report.hybrid_block import hybrid_block, save_outcome

        own.mkdir(exist_ok=True)
        time = result.measured.time
        path = save_outcome(outcome, float(time[1] - time[0]), own / f"{result.key}.test.h5")
        block = hybrid_block(outcome, path.relative_to(root).as_posix(), freedoms)
        entry["blocks"] = [{"title": "On the rig", **block}]
    return entry


def peaks(test: Measured) -> dict[str, Any]:
    """Peaks of a test as plain numbers, SI."""
    try:
        slope: float | None = test.regression()
    except InputError:
        slope = None
    return {
        "origin": test.origin,
        "outcome": test.outcome,
        "peak_drift": {name: float(np.abs(d).max()) for name, d in test.drifts.items()},
        "peak_base_shear_N": float(np.abs(test.shear).max()),
        "peak_roof_m": float(np.abs(test.roof).max()),
        "slope_N_per_m": slope,
        "lost_J": {name: float(loop.lost[-1]) for name, loop in test.devices.items()},
        "energy_imbalance": test.imbalance,
        "counts": test.counts,
    }


def comparison(test: Measured, reference: Measured) -> list[dict[str, Any]]:
    """All indices of roof displacement and base shear, and of the loop of each device in both."""
    time = reference.time
    step = float(time[1] - time[0])
    if test.time[-1] < time[-1] - step:
        time = time[time <= test.time[-1] + 1e-9]

    def pair(mine: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        same = mine.size == time.size and np.allclose(test.time, time, atol=1e-9)
        return other[: time.size], mine if same else np.interp(time, test.time, mine)

    found = []
    for name, unit, mine, other in (
        ("roof displacement", "m", test.roof, reference.roof),
        ("base shear", "N", test.shear, reference.shear),
    ):
        x, y = pair(mine, other)
        found.append({"quantity": name, "unit": unit, "rows": compare(x, y, step, unit=unit).as_table()})
    for name, loop in test.devices.items():
        if name not in reference.devices:
            continue
        u, v = pair(loop.deformation, reference.devices[name].deformation)
        F, G = pair(loop.force, reference.devices[name].force)
        unit = "rad" if loop.turns else "m"
        try:
            rows = _of_a_loop(u, F, v, G)
        except InputError:
            continue
        found.append({"quantity": name, "unit": unit, "rows": rows})
    return found


def _of_a_loop(u: np.ndarray, F: np.ndarray, v: np.ndarray, G: np.ndarray) -> list[dict[str, Any]]:
    from frame2d.compare import nrmse, peak_error, work_error

    return [
        {"name": "nrmse_range", "value": nrmse(F, G, "range").value, "unit": "-",
         "definition": "rmse / D of the force, D = max x − min x", "note": ""},
        {"name": "peak_error", "value": peak_error(F, G), "unit": "-",
         "definition": "(max|y| − max|x|)/max|x| of the force", "note": ""},
        {"name": "work_error", "value": work_error(u, F, v, G), "unit": "-",
         "definition": "(E_y − E_x)/E_x at the end, E = ∫F du", "note": ""},
    ]  # fmt: skip
