"""From strain gauges and transducers back to moments, rotations and energies, on an invented portal with devices.

A virtual test writes what its sensors would have written, with errors; the quantities come back with an uncertainty and
are compared with the truth; one gauge that is wired the wrong way round is found by statics and energy. Everything here
is invented: frame, instruments and their errors.

Run it: python examples/strain_gauges.py
"""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from frame2d import BeamColumn, Frame, Response
from frame2d.analysis import cyclic, gravity
from frame2d.elements import Brace
from frame2d.fitting import Effort
from frame2d.instruments import (
    Actuator,
    Bar,
    Channel,
    Clock,
    End,
    Joint,
    Panel,
    Point,
    Section,
    SensorMap,
    Storey,
    Zone,
    check_closure,
    coverage,
    measured_loops,
    reduce,
    refit_devices,
    sensor_map,
    synchronise,
    true_quantities,
    virtual_recordings,
    with_laws,
)
from frame2d.materials import Bilinear, BoucWen
from frame2d.sections import european
from frame2d.units import kN, m, mm

LINK = BoucWen(k=3.0e7, Fy=80e3, a=0.02, n=1.5)  # N·m/rad, N·m
PANEL = Bilinear(k=2.0e7, Fy=80e3, b=0.05)  # N·m/rad, N·m
PIN = Bilinear(k=6.0e7, Fy=150e3, b=0.03)  # N/m, N
FY = 355e6
#: Rates (Hz) and lag (s) of the two invented loggers, and the channels that see the same motion on both.
CLOCKS = {"main": Clock(50.0), "slow": Clock(20.0, lag=0.35)}
SAME = {"slow": ("UF", "JS")}


def portal() -> Frame:
    """One storey, one bay: a beam with weakened ends, a yielding joint panel and a brace with a pin."""
    frame = Frame("invented portal")
    column = BeamColumn.from_section(european("HE 260 B"))
    beam = BeamColumn.from_section(
        european("IPE 300"), start=LINK, end=LINK, start_inset=0.3 * m, end_inset=0.3 * m
    )
    for axis, x in (("A", 0.0), ("B", 5.0)):
        frame.node(f"{axis}0", x, 0.0, support="fixed")
        frame.node(f"{axis}1", x, 3.5 * m)
        frame.load(f"{axis}1", fy=-150 * kN)
        frame.member(f"column {axis}", f"{axis}0", f"{axis}1", column)
    frame.member("beam", "A1", "B1", beam, device=True)
    frame.member("brace", "A0", "B1", Brace(PIN), device=True)
    frame.panel_zone("panel", "A1", ["column A"], PANEL)
    frame.floor("floor", ["A1", "B1"])
    return frame


def instruments(frame: Frame) -> SensorMap:
    """Twenty-three channels of two loggers: gauges on columns and beam, transducers, diagonals, load cell, actuator."""
    places: list[Any] = [
        Section(f"{a} {end}", f"column {a}", at, 0.26 * m, FY)
        for a in "AB"
        for end, at in (("low", 0.7), ("high", 2.7))
    ]
    places += [
        Section("beam left", "beam", 1.0, 0.3 * m, FY),
        Section("beam right", "beam", 4.0, 0.3 * m, FY),
    ]
    pair = ("beam left", "beam right")
    places += [
        Zone("left hinge", "beam: start hinge", "beam", 0.3, pair, 0.1, 0.5, 0.35),
        Zone("right hinge", "beam: end hinge", "beam", 4.7, pair, 4.5, 4.9, 0.35),
        End("beam at A", "beam", "A1", pair),
        End("beam at B", "beam", "B1", pair),
        End("head of A", "column A", "A1 column", ("A low", "A high")),
        End("head of B", "column B", "B1", ("B low", "B high")),
        Panel("panel", "panel", 0.24 * m, 0.28 * m, ("beam at A",)),
        Bar("brace", "brace"),
        Point("floor", "A1"),
        Actuator("jack", "A1"),
        Joint("A", "A1", ("head of A", "beam at A")),
        Joint("B", "B1", ("head of B", "beam at B")),
        Storey("first", ("jack",), ("head of A", "head of B"), ("brace",)),
    ]  # fmt: skip
    gauge: dict[str, Any] = {"noise": 1.5, "resolution": 1.0, "zero": 2.0, "gain_error": 0.005}
    slow: dict[str, Any] = {
        "noise": 0.002,
        "resolution": 0.001,
        "zero": 0.003,
        "gain_error": 0.002,
        "clock": "slow",
    }
    channels = []
    for number, (where, face) in enumerate(
        [(f"{a} {end}", face) for a in "AB" for end in ("low", "high") for face in ("left", "right")]
        + [(where, face) for where in pair for face in ("top", "bottom")],
        1,
    ):
        channels.append(Channel(f"SG{number:02d}", "strain", where, "µε", face=face, **gauge))
    for number, (where, face) in enumerate(
        [(where, face) for where in ("left hinge", "right hinge") for face in ("top", "bottom")], 1
    ):
        channels.append(Channel(f"LT{number}", "transducer", where, "mm", face=face, **slow))
    channels += [
        Channel("D1", "diagonal", "panel", "mm", face="rising", **slow),
        Channel("D2", "diagonal", "panel", "mm", sign=-1, face="falling", **slow),
        Channel("BE", "elongation", "brace", "mm", **slow),
        Channel("BF", "force", "brace", "kN", noise=0.3, resolution=0.1, gain_error=0.005),
        Channel(
            "UF", "displacement", "floor", "mm", noise=0.01, resolution=0.01, gain_error=0.002, clock="slow"
        ),
        Channel("JS", "stroke", "jack", "mm", noise=0.01, resolution=0.01, gain_error=0.002),
        Channel("JF", "force", "jack", "kN", sign=-1, noise=0.5, resolution=0.1, gain_error=0.005),
    ]
    return sensor_map(frame, places, channels, name="invented instruments", balanced=True)


def loading(points: int = 40) -> np.ndarray:
    """Growing cycles of the floor's displacement, m, ending at rest near zero."""
    peaks = [0.0, 12, -12, 25, -25, 45, -45, 45, -45, 6.0]
    parts = [np.linspace(a, b, points, endpoint=False) for a, b in pairwise(peaks)]
    return np.concatenate([*parts, [peaks[-1]]]) * mm


def virtual_test(points: int = 40) -> Response:
    """Gravity, then the cycles, led by the jack at A1."""
    system = portal().compile()
    standing = gravity(system)
    start = standing.displacement("A1")[-1]
    return cyclic(system, standing.state, {"floor": 1.0}, node="A1", history=start + loading(points))


def run(points: int = 40, seed: int = 1, wrong: str = "D2") -> dict[str, Any]:
    """Truth, sensors, quantities, closure with good channels and with the sign of `wrong` turned, refitted brace."""
    response = virtual_test(points)
    sensors = instruments(portal())
    time = 4.0 / points * np.arange(response.time.size)
    recordings = virtual_recordings(sensors, response, seed, CLOCKS, time=time)
    readings = synchronise(sensors, recordings, same=SAME)
    quantities = reduce(sensors, readings)
    truth = {name: (time, value) for name, value in true_quantities(sensors, response).items()}
    turned = replace(readings, values={**readings.values, wrong: -readings[wrong]})
    loops = measured_loops(sensors, quantities)
    assumed = with_laws(portal(), {"brace": Bilinear(k=0.8 * PIN.k, Fy=1.2 * PIN.Fy, b=PIN.b)})
    effort = Effort(population=4, generations=6, starts=1, iterations=30)
    refit = refit_devices(assumed, {"brace": loops["brace"]}, effort=effort, profile="none", progress=False)
    return {
        "sensors": sensors,
        "readings": readings,
        "quantities": quantities,
        "truth": truth,
        "coverage": {name: coverage(quantity, *truth[name]) for name, quantity in quantities.items()},
        "closure": check_closure(sensors, readings),
        "turned": check_closure(sensors, turned),
        "loops": loops,
        "refit": refit,
    }


if __name__ == "__main__":
    from frame2d.show import save_figure
    from frame2d.show.instrument_plots import plot_measured_loops, plot_quantities, plot_sensor_map

    found = run()
    for line in found["readings"].processing:
        print(line)
    for quantity in found["quantities"].values():
        print(f"{quantity}; truth within ±2σ for {100 * found['coverage'][quantity.name]:.0f} % of the time")
    # Over many tests it is 95 %; gain and zero are drawn once a test and stay.
    print(found["closure"])
    print("with one channel turned round:")
    print("\n".join(str(suspect) for suspect in found["turned"].suspects))
    print(found["refit"])
    names = ["left hinge moment", "left hinge rotation", "panel distortion", "head of A shear"]
    brace = found["refit"].devices["brace"]
    pictures = {
        "sensor_map.png": plot_sensor_map(found["sensors"]),
        "quantities.png": plot_quantities(found["quantities"], names, found["truth"]),
        "brace.png": plot_measured_loops(
            {"brace": found["loops"]["brace"]}, {"brace": brace.before}, {"brace": brace.after}
        ),
    }
    folder = Path("out/strain_gauges")
    for name, figure in pictures.items():
        print(save_figure(figure, folder / name))
