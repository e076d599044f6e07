"""Run the demo: gravity, modes, push, three intensities of an earthquake; write numbers, pictures and an animation."""

import json
import os
import time
from pathlib import Path
from typing import Any

import numpy as np

from frame2d import __version__
from frame2d.analysis import Rayleigh, Response, gravity, modes, push, time_history
from frame2d.demo.building import demo_frame
from frame2d.errors import InputError
from frame2d.motions.en1998 import ElasticSpectrum
from frame2d.motions.record import Record
from frame2d.motions.synthetic import Envelope, synthetic_record

CAUTION = (
    "Results support, and never replace, design to the local code by licensed engineers. The building and the "
    "synthetic record are invented."
)

#: Factor of each limit state on the synthetic record of the 475-year target (JOB: exponent k = 3, EN 1998-1 2.1).
INTENSITIES = {"damage limitation": 0.585, "significant damage": 1.0, "near collapse": 1.73}
DT = 0.005


def demo_record(quick: bool = False) -> Record:
    """Synthetic record, matched to the EN 1998-1 type 1 spectrum of ground B, ag = 2.5 m/s²; labelled synthetic."""

    envelope = Envelope(1.0, 3.0, 2.0) if quick else Envelope(2.0, 10.0, 8.0)
    target = ElasticSpectrum(ag=2.5, ground="B")
    return synthetic_record(target, seed=7, dt=DT, envelope=envelope, name="synthetic record", tolerance=0.15)


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
    """Run everything into folder `out`; returns what `summary.json` holds. `quick`: shorter motion, no video."""
    folder = Path(out)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"out is {str(out)!r}, a file; allowed: a folder, new or old")
    folder.mkdir(parents=True, exist_ok=True)
    clock: dict[str, float] = {}
    started = time.perf_counter()

    def lap(name: str) -> None:
        clock[name] = round(time.perf_counter() - started - sum(clock.values()), 3)
        echo(f"  {name}: {clock[name]:.1f} s")

    echo(CAUTION)
    frame = demo_frame()
    echo(frame.summary())
    frame.save(folder / "frame.json")
    system = frame.compile()
    lap("frame compiled")
    standing = gravity(system)
    found = modes(system, standing.state, 5)
    lap("gravity and modes")
    curve = push(system, standing.state, "modal", node="A5", target=0.02 * 18.0, steps=150)
    curve.save(folder / "push.h5")
    lap("push")
    record = demo_record(quick)
    lap("synthetic record")
    runs: dict[str, Response] = {}
    for name, factor in INTENSITIES.items():
        runs[name] = time_history(
            system, record, standing.state, factor=factor, damping=Rayleigh(0.03, (1, 3)), drift_limit=0.10
        )
        runs[name].save(folder / f"{name.replace(' ', '_')}.h5")
        lap(name)
    weak = weak_motion()
    weak_result: dict[str, Any] = {"read": False, "reason": "the extra `records` is not installed"}
    if weak is not None:
        scale = 1.5 / float(np.abs(weak.acceleration).max())
        response = time_history(
            system, weak, standing.state, factor=scale, damping=Rayleigh(0.03, (1, 3)), dt=DT
        )
        weak_result = {
            "read": True,
            "note": "weak motion, scaled only to show the path from a real file; not design input",
            "factor": scale,
            **figures_of(response),
        }
        lap("recorded sample")
    pictures = draw(folder, frame, found, curve, runs, quick)
    lap("pictures")
    summary = {
        "version": __version__,
        "caution": CAUTION,
        "invented": True,
        "periods_s": found.period.round(6).tolist(),
        "effective_mass_share": (found.effective_mass / found.total_mass).round(6).tolist(),
        "push": {
            "peak_base_shear_N": float(np.max(curve.factor)),
            "peak_at_m": float(curve.displacement("A5")[int(np.argmax(curve.factor))]),
        },
        "record": {
            "name": record.name,
            "synthetic": True,
            "dt_s": record.dt,
            "samples": int(record.acceleration.size),
        },
        "runs": {name: {"factor": INTENSITIES[name], **figures_of(run)} for name, run in runs.items()},
        "recorded_sample": weak_result,
        "pictures": pictures,
        "seconds": clock,
    }
    write_json(folder / "summary.json", summary)
    echo(f"written to {folder}")
    return summary


def figures_of(response: Response) -> dict[str, Any]:
    """Peaks, residuals, energies, counts of one run as plain numbers."""
    drifts, energies = response.drifts(), response.energies()
    return {
        "outcome": response.outcome.value,
        "peak_drift": {name: float(np.abs(drift).max()) for name, drift in drifts.items()},
        "residual_drift": {name: float(drift[-1]) for name, drift in drifts.items()},
        "peak_base_shear_N": float(np.abs(response.base_shear()).max()),
        "peak_roof_m": float(np.abs(response.floor(list(drifts)[-1])).max()),
        "energies_J": {name: float(values[-1]) for name, values in energies.items()},
        "energy_imbalance": response.imbalance(),
        "devices": {
            name: {
                "peak_deformation": float(np.abs(response.device(name).deformation).max()),
                "peak_force": float(np.abs(response.device(name).force).max()),
                "work_J": float(response.device(name).work[-1]),
            }
            for name in response.laws()
            if name.startswith(("link", "pin", "splice"))
        },
        "counts": response.counts(),
    }


def draw(
    folder: Path, frame: Any, found: Any, curve: Response, runs: dict[str, Response], quick: bool
) -> list[str]:
    """Pictures, VTK series and animation; returns the file names."""
    from frame2d import show

    last = runs["near collapse"]
    figures = {
        "frame.png": show.plot_frame(frame),
        "modes.png": show.plot_modes(found, 3),
        "push.png": show.plot_push(curve),
        "drifts.png": show.plot_drifts(runs),
        "loops.png": show.plot_loops(last),
        "energy.png": show.plot_energy(last),
    }
    names = []
    for name, figure in figures.items():
        show.save_figure(figure, folder / name)
        names.append(name)
    every = max(1, last.time.size // (8 if quick else 200))
    show.write_series(last, folder / "vtk", every=every)
    names.append("vtk")
    if not quick:
        show.animate(last, folder / "motion.gif", every=max(1, last.time.size // 100))
        names.append("motion.gif")
    return names


def write_json(path: Path, data: Any) -> None:
    """Write beside and move into place."""
    beside = path.with_name(path.name + ".part")
    beside.write_text(json.dumps(data, indent=1, ensure_ascii=False))
    os.replace(beside, path)
