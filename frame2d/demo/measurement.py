"""What the sensors of the demo's first storey would have read in a hybrid test, and what is made of it.

Sensor map and recordings as files, synchronised, checked by statics, reduced to forces and rotations with their
uncertainty, and compared with the truth. `measured_sections` adds what follows from it (`frame2d.demo.updating`).
"""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.analysis import Response
from frame2d.demo.sensors import CLOCKS, SAME, storey_sensors, write_map
from frame2d.demo.skeleton import Laws
from frame2d.hybrid import Outcome
from frame2d.instruments import (
    Closure,
    Quantity,
    Readings,
    Recording,
    SensorMap,
    Zone,
    check_closure,
    coverage,
    read_map,
    read_recording,
    reduce,
    save_readings,
    section_forces,
    synchronise,
    true_quantities,
    virtual_recordings,
    work_of,
    write_quantities,
    write_recording,
)
from frame2d.model.state import State
from frame2d.report import fact, picture, table
from frame2d.written import folder_at

Block = dict[str, Any]

SEED = 5
#: Channels that are declared wrongly on purpose in the second pass: sign of a gauge, unit of a displacement.
TURNED, MISTAKEN = "SG02", "UF"
#: Channels of the brace, which stands on the rig, and the histories that they read.
ON_THE_RIG = {"BE": "elongation", "JS": "elongation", "BF": "force", "JF": "force"}
#: Places whose channels controller and solver log themselves: nothing is added to them, so that they have no truth beside.
LOGGED = ("actuator", "floors above")
#: Step (s) of the readings that closure is checked with: the errors looked for are no matter of single samples.
COARSE = 0.04
#: Quantities of the table and of the picture.
SHOWN = (
    "head of A1 moment", "head of A1 shear", "A1 low axial force", "head of B1 moment", "head of B1 shear",
    "link start moment", "link start rotation", "link end moment", "link end rotation", "splice moment",
    "splice rotation", "brace force", "brace elongation", "floor displacement",
)  # fmt: skip
DRAWN = ("head of A1 moment", "link start moment", "link start rotation", "brace force")
#: Devices whose loop and work are measured: force and deformation.
WORKS = {
    "link start": ("link start moment", "link start rotation"),
    "link end": ("link end moment", "link end rotation"),
    "splice": ("splice moment", "splice rotation"),
    "brace with its pin": ("brace force", "brace elongation"),
}


@dataclass(frozen=True)
class Measurement:
    """Map, recordings, readings and quantities of a test, the truth {name: history by step}, both checks of closure."""

    sensors: SensorMap
    recordings: list[Recording]
    readings: Readings
    quantities: dict[str, Quantity]
    time: np.ndarray
    truth: dict[str, np.ndarray]
    closure: Closure
    spoiled: Closure
    #: Largest part of a hinge's moment by which law and member differ in the computed part.
    gap: float

    def errors(self, name: str) -> tuple[float, float]:
        """Share of samples within ±2σ of the truth, and root mean square of the error over σ."""
        quantity, truth = self.quantities[name], self.truth[name]
        gap = (quantity.value - np.interp(quantity.time, self.time, truth)) / quantity.sigma
        return coverage(quantity, self.time, truth), float(np.sqrt(np.mean(gap[quantity.sigma > 0.0] ** 2)))


def measured_sections(
    folder: Path,
    laws: Laws,
    record: Any,
    factor: float,
    begin: State,
    response: Response,
    outcome: Outcome,
    quick: bool = False,
    progress: bool = True,
) -> tuple[Block, Block, dict[str, Any]]:
    """Sections "measurement" and "updating" of the report after a hybrid test, and their plain numbers.

    `laws` are those of the frame in the test; `begin` is the state of the whole frame in which it began, `response`
    that of the whole frame (N, m, s), `outcome` the rig's histories along the brace. Files go to `folder`. Raises `InputError` if the tested pin was not new
    when the test began, as it cannot be fitted then.
    """
    from frame2d.demo.updating import update, updating_block

    folder_at(folder)
    found = measure(folder, response, outcome)
    updated = update(found, laws, record, factor, begin, response, outcome, quick, progress)
    blocks = measurement_block(folder, found), updating_block(folder, updated)
    return *blocks, {"measurement": numbers(found), "updating": updated.numbers()}


def measure(folder: Path, response: Response, outcome: Outcome, seed: int = SEED) -> Measurement:
    """The whole way from the truth over files of sensors back to quantities, and a pass with two wrong channels."""
    made = storey_sensors(response)
    write_map(folder / "sensors.toml", made)
    sensors = read_map(folder / "sensors.toml", made.frame)
    rig = {
        "elongation": np.concatenate([[0.0], outcome.displacement[:, 0]]),
        "force": np.concatenate([[0.0], outcome.force[:, 0]]),
    }
    time = response.time - response.time[0]
    given = {channel: rig[kind] for channel, kind in ON_THE_RIG.items()}
    recordings = []
    for raw in virtual_recordings(sensors, response, seed, CLOCKS, time=time, given=given):
        path = folder / f"recording_{raw.clock}.csv"
        write_recording(
            path, raw, comment=f"invented sensors of a virtual test, seed {seed}; times of the model"
        )
        recordings.append(read_recording(path, sensors, raw.clock))
    readings = synchronise(sensors, recordings, same=SAME)
    quantities = reduce(sensors, readings)
    truth = true_quantities(sensors, response)
    truth |= {f"brace {kind}": history for kind, history in rig.items()}
    truth = {name: history for name, history in truth.items() if not name.startswith(LOGGED)}
    for place in sensors.places.values():
        if isinstance(place, Zone):
            # Gauges feel the member; its scheme does not iterate, so that the law's moment is a little apart.
            moment = section_forces(response, place.member, place.at)[2]
            truth[f"{place.name} moment"] = moment - moment[0]
    for name, (force, deformation) in WORKS.items():
        work = work_of(sensors, readings, quantities[force], quantities[deformation], f"work of {name}")
        quantities[work.name], truth[work.name] = work, _work(truth[force], truth[deformation])
    save_readings(folder / "measurement.h5", sensors, readings, quantities)
    chosen = {name: quantities[name] for name in listed()}
    write_quantities(folder / "quantities.csv", chosen, comment="invented sensors of a virtual test; SI")
    good, bad = (
        check_closure(own, synchronise(own, recordings, same=SAME, dt=COARSE))
        for own in (sensors, spoiled(sensors))
    )
    gap = _gap(sensors, response)
    return Measurement(sensors, recordings, readings, quantities, time, truth, good, bad, gap)


def listed() -> list[str]:
    """Quantities that are printed and written as CSV."""
    return [*SHOWN, *(f"work of {name}" for name in WORKS)]


def _work(force: np.ndarray, deformation: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(deformation))])


def spoiled(sensors: SensorMap) -> SensorMap:
    """The map with one gauge declared the wrong way round and a displacement in mm declared in m."""
    channels = dict(sensors.channels)
    channels[TURNED] = replace(channels[TURNED], sign=-channels[TURNED].sign)
    channels[MISTAKEN] = replace(channels[MISTAKEN], unit="m")
    return replace(sensors, channels=channels)


def _gap(sensors: SensorMap, response: Response) -> float:
    """Largest difference between a law's moment and its member's there, over the latter's largest."""
    gaps = [0.0]
    for place in sensors.places.values():
        if isinstance(place, Zone):
            moment = section_forces(response, place.member, place.at)[2]
            gaps.append(
                float(np.abs(response.device(place.device).force - moment).max() / np.abs(moment).max())
            )
    return max(gaps)


def numbers(found: Measurement) -> dict[str, Any]:
    """Plain numbers of the measurement, SI."""
    quantities = {}
    for name, quantity in found.quantities.items():
        share, error = found.errors(name) if name in found.truth else (None, None)
        quantities[name] = {
            "unit": quantity.unit, "largest": float(np.abs(quantity.value).max()), "sigma": float(quantity.sigma.max()),
            "within_2_sigma": share, "rms_error_over_sigma": error, "noise_amplification": quantity.amplification,
            "valid": float(quantity.valid.mean()),
        }  # fmt: skip
    return {
        "seed": SEED,
        "channels": len(found.sensors.channels),
        "law_against_member": found.gap,
        "lags_s": {clock: list(lag) for clock, lag in found.readings.lags.items()},
        "mean_share_within_2_sigma": float(np.mean([found.errors(name)[0] for name in found.truth])),
        "quantities": quantities,
        "closure": {"passed": found.closure.passed, "checks": [_plain(c) for c in found.closure.checks],
                    "not_judged": list(found.closure.unseen)},
        "spoiled": {"channels": [TURNED, MISTAKEN], "named": [s.channel for s in found.spoiled.suspects],
                    "texts": [str(s) for s in found.spoiled.suspects]},
    }  # fmt: skip


def _plain(check: Any) -> dict[str, Any]:
    return {"name": check.name, "error": check.error, "bound": check.bound, "passed": check.passed}


def measurement_block(folder: Path, found: Measurement) -> Block:
    """Section "measurement": how it was measured, whether it closes, what came out beside the truth."""
    from frame2d import show
    from frame2d.show.instrument_plots import plot_quantities, plot_sensor_map

    truth = {name: (found.time, history) for name, history in found.truth.items()}
    show.save_figure(plot_sensor_map(found.sensors, numbered=True), folder / "sensor_map.png")
    show.save_figure(plot_quantities(found.quantities, DRAWN, truth), folder / "quantities.png")
    values = numbers(found)
    lag, spread = found.readings.lags["gauges"]
    shares = values["mean_share_within_2_sigma"]
    return {
        "text": [
            "A virtual test: the columns and beams are computed while the test runs, so that their gauges and "
            "transducers read the computed part, as if it had been built. Only the brace stands on the (simulated) rig: JS and "
            "JF are stroke and load cell as its controller logged them, BE and BF a transducer and gauges of the brace's "
            "own. SF is no sensor but the force of the floors above on the first storey, as the solver logs it. Sensors "
            "and their errors are invented; times are the model's.",
            "Truth is what the computed part really did, and for BE and BF what the rig's own channels read. Noise and digits change from sample to sample; zero and gain are drawn once a sensor and "
            "stay, so that a quantity may lie outside ±2σ for most of one test and inside for all of another.",
            f"To show that wrong declarations are found, a second pass declares {TURNED} with the wrong sign and "
            f"{MISTAKEN}, which reads in mm, in m. This is deliberate; nothing else of the report uses it.",
        ],
        "facts": [
            fact("Channels", len(found.sensors.channels), note="map in sensors.toml, raw in recording_main.csv and "
                 "recording_gauges.csv"),
            fact("Lag of the gauges' logger", 1e3 * lag, "ms",
                 f"found ±{1e6 * spread:.2g} µs by {SAME['gauges'][0]} and {SAME['gauges'][1]}; true 137 ms"),
            fact("Everything closes", "within" if found.closure.passed else "exceeded", note="see the first table"),
            fact("Named in the spoiled pass", "; ".join(str(s) for s in found.spoiled.suspects)),
            fact("Moment of a hinge, law against member", 100.0 * found.gap, "%", "largest gap: the test's scheme does not "
                 "iterate; truth is the member's, which the gauges feel"),
            fact("Truth within ±2σ, mean of all quantities", 100.0 * shares, "%", f"{len(found.truth)} quantities, "
                 "in measurement.h5, those below in quantities.csv; 95 % is expected over many tests"),
        ],
        "curves": [_loops(found)],
        "tables": [_closure_table(found), _quantity_table(found)],
        "pictures": [
            picture("sensor_map.png", "Sensors of the first storey on their members; columns and bars that the storey stands on are dark (m).",
                    "Frame with numbered strain gauges, transducers, a load cell and displacement transducers"),
            picture("quantities.png", "Quantities reduced from the channels with ±2σ beside the truth, and the difference.",
                    "Four histories with uncertainty bands and the truth, and their differences"),
        ],
    }  # fmt: skip


def _loops(found: Measurement) -> dict[str, Any]:
    """Measured loops of the devices beside the true ones, thinned to some 800 points."""
    panels = []
    for name, (force, deformation) in WORKS.items():
        turns = found.quantities[deformation].unit == "rad"
        x, y = ("rotation (mrad)", "moment (kN·m)") if turns else ("elongation (mm)", "force (kN)")
        series = []
        for label, u, F in (
            ("measured", found.quantities[deformation].value, found.quantities[force].value),
            ("truth", found.truth[deformation], found.truth[force]),
        ):
            every = max(1, u.size // 800)
            series.append(
                {"name": label, "x": (1e3 * u[::every]).tolist(), "y": (1e-3 * F[::every]).tolist()}
            )
        panels.append({"title": name, "x": x, "y": y, "series": series})
    return {
        "caption": "Loops as measured, beside the true ones; both count from the start of the test.",
        "alt": "Force-deformation loops of two link hinges, the splice and the brace, measured and true",
        "panels": panels, "columns": 2,
    }  # fmt: skip


def _closure_table(found: Measurement) -> dict[str, Any]:
    rows = [
        [good.name, good.says, 100.0 * good.error, 100.0 * good.bound, _verdict(good.passed), 100.0 * bad.error,
         _verdict(bad.passed)]
        for good, bad in zip(found.closure.checks, found.spoiled.checks, strict=True)
    ]  # fmt: skip
    unseen = ", ".join(found.closure.unseen) or "none"
    return table(
        "Statics and kinematics of the channels, as declared and in the spoiled pass.",
        [
            "Check",
            "Statement",
            ("Off by", "%"),
            ("Bound", "%"),
            "Verdict",
            ("Off by, spoiled", "%"),
            "Spoiled",
        ],
        rows,
        f"Root mean square over the largest term; bound 5 % (common practice, no source) and 3σ. Channels too small to be "
        f"judged by any: {unseen}. Energy as a whole is not checked: the columns above turn the joints, and no sensor takes that work.",
    )


def _quantity_table(found: Measurement) -> dict[str, Any]:
    from frame2d.show.instrument_plots import SHOWN as UNITS

    rows = []
    for name in listed():
        quantity = found.quantities[name]
        unit, size = UNITS.get(quantity.unit, (quantity.unit, 1.0))
        share, error = found.errors(name)
        largest, sigma = np.abs(quantity.value).max(), quantity.sigma.max()
        rows.append([name, unit, size * float(largest), size * float(sigma), quantity.amplification, 100.0 * share, error,
                     _verdict(error <= 2.0)])  # fmt: skip
    return table(
        "Quantities with their uncertainty beside the truth.",
        [
            "Quantity",
            "Unit",
            "Largest",
            "Largest σ",
            "Noise ×",
            ("Within 2σ", "%"),
            "Error over σ",
            "Verdict",
        ],
        rows,
        "Noise ×: that of an extrapolated moment over one section's. Error over σ: root mean square over the test; verdict "
        "at 2 (19 of 20 tests). Works ∫F du from the start of the test.",
    )


def _verdict(passed: bool) -> str:
    return "within" if passed else "exceeded"


__all__ = ["Measurement", "measure", "measured_sections", "measurement_block", "spoiled"]
