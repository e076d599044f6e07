"""Sensors of the demo's first storey, invented: gauges, transducers, load cell; and their map as a TOML file.

Columns and beams are computed in the demo's test, so that their sensors read the computed part; the brace stands on the
rig. Sensor errors are of the size that good equipment has (common practice, no source).
"""

import json
from pathlib import Path
from typing import Any

from frame2d.analysis import Response
from frame2d.demo.laboratory import TESTED
from frame2d.demo.skeleton import HEIGHT
from frame2d.instruments import (
    Actuator,
    Bar,
    Channel,
    Clock,
    End,
    Joint,
    Point,
    Section,
    SensorMap,
    Storey,
    Zone,
    read_map,
    section_forces,
    sensor_map,
)

FY = 355e6
#: Distances (m) of the gauge sections from the foot of a column of the first and second storey, along link and splice.
COLUMN_AT, ABOVE_AT, LINK_AT, SPLICE_AT = (0.6, 2.4), (1.2, 3.0), (0.6, 1.2), (1.6, 4.0)
#: Depths of the instrumented members (distance of the gauges), m.
DEPTH = {"A": 0.30, "B": 0.30, "C": 0.26, "D": 0.26, "link": 0.27, "splice": 0.36}
#: Loggers: rate (Hz) and lag (s) in the time of the model, and the channels that see one motion on both.
CLOCKS = {"main": Clock(200.0), "gauges": Clock(250.0, lag=0.137)}
SAME = {"gauges": ("BE", "JS")}

GAUGE: dict[str, Any] = {"clock": "gauges", "noise": 1.0, "resolution": 0.5, "zero": 1.0, "gain_error": 0.004}
LENGTH: dict[str, Any] = {
    "clock": "gauges",
    "noise": 0.002,
    "resolution": 0.001,
    "zero": 0.003,
    "gain_error": 0.002,
}
FORCE: dict[str, Any] = {"clock": "gauges", "noise": 0.4, "resolution": 0.1, "zero": 0.2, "gain_error": 0.003}


def storey_sensors(response: Response) -> SensorMap:
    """Map of the first storey on the frame of `response`; what its columns stand under is taken from the first step."""
    frame = response.system.frame
    places: list[Any] = []
    for column, face_at in (
        *((f"{axis}1", COLUMN_AT) for axis in "ABCD"),
        ("A2", ABOVE_AT),
        ("B2", ABOVE_AT),
    ):
        places += [
            Section(f"{column} {end}", f"column {column}", at, DEPTH[column[0]], FY)
            for end, at in zip(("low", "high"), face_at, strict=True)
        ]
    for beam, distances in (("link", LINK_AT), ("splice", SPLICE_AT)):
        places += [
            Section(f"{beam} {end}", f"{beam} 1", at, DEPTH[beam], FY)
            for end, at in zip(("left", "right"), distances, strict=True)
        ]
    sections = [place.name for place in places]
    for axis in "ABCD":
        places.append(
            _end(
                f"head of {axis}1", f"column {axis}1", f"{axis}1", (f"{axis}1 low", f"{axis}1 high"), response
            )
        )
    for axis in "AB":
        places.append(
            _end(
                f"foot of {axis}2", f"column {axis}2", f"{axis}1", (f"{axis}2 low", f"{axis}2 high"), response
            )
        )
    link, splice = ("link left", "link right"), ("splice left", "splice right")
    weight = -sum(load.fy for load in frame.node_loads)
    heads = tuple(f"head of {axis}1" for axis in "ABCD")
    places += [
        End("link at A", "link 1", "A1", link),
        End("link at B", "link 1", "B1", link),
        End("splice at B", "splice 1", "B1", splice),
        Zone("link start", "link 1: start hinge", "link 1", 0.25, link, 0.15, 0.35, 0.32),
        Zone("link end", "link 1: end hinge", "link 1", 1.55, link, 1.45, 1.65, 0.32),
        Zone("splice", "splice 1", "splice 1", 0.6, splice, 0.45, 0.75, 0.42),
        Bar("brace", TESTED),
        Bar("actuator", TESTED),
        Point("floor", "A1"),
        Actuator("floors above", "A1"),
        Joint("A", "A1", ("head of A1", "foot of A2", "link at A")),
        Joint("B", "B1", ("head of B1", "foot of B2", "link at B", "splice at B")),
        Storey("by gauges", ("floors above",), heads, ("brace",), "floor", HEIGHT, weight),
        Storey("by load cell", ("floors above",), heads, ("actuator",), "floor", HEIGHT, weight),
    ]
    channels = []
    for number, (where, face) in enumerate(
        [
            (s, face)
            for s in sections
            for face in (("top", "bottom") if s in (*link, *splice) else ("left", "right"))
        ],
        1,
    ):
        channels.append(Channel(f"SG{number:02d}", "strain", where, "µε", face=face, **GAUGE))
    for number, (where, face) in enumerate(
        [(zone, face) for zone in ("link start", "link end", "splice") for face in ("top", "bottom")], 1
    ):
        channels.append(Channel(f"LT{number}", "transducer", where, "mm", face=face, **LENGTH))
    channels += [
        Channel("BF", "force", "brace", "kN", **{**FORCE, "noise": 1.0}),
        Channel("BE", "elongation", "brace", "mm", **LENGTH),
        Channel("UF", "displacement", "floor", "mm", **{**LENGTH, "noise": 0.01, "resolution": 0.01}),
        # Logged by controller and solver: their errors are part of the test and not added again.
        Channel("JS", "elongation", "actuator", "mm", sign=-1, resolution=1e-4),
        Channel("JF", "force", "actuator", "kN", sign=-1, resolution=1e-3),
        Channel("SF", "force", "floors above", "kN", resolution=1e-3),
    ]
    below = tuple(
        name
        for name, placed in frame.members.items()
        if min(frame.nodes[placed.i].y, frame.nodes[placed.j].y) < HEIGHT / 2
    )
    return sensor_map(frame, places, channels, name="first storey", balanced=True, specimen=below)


def _end(name: str, column: str, node: str, sections: tuple[str, str], response: Response) -> End:
    """End of a column under the compression that stands in it when the test begins."""
    N, _, _ = section_forces(response, column, COLUMN_AT[0])
    return End(name, column, node, sections, max(-float(N[0]), 0.0))


def write_map(path: Path, sensors: SensorMap) -> None:
    """The map as TOML, as `read_map` takes it."""
    data = sensors.describe()
    rows = [
        "# invented sensors of the demo",
        *(f"{key} = {_toml(data[key])}" for key in ("name", "balanced", "specimen")),
    ]
    for kind in ("places", "channels"):
        for name, values in data[kind].items():
            rows += [
                "",
                f"[{kind}.{json.dumps(name)}]",
                *(f"{key} = {_toml(value)}" for key, value in values.items()),
            ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def _toml(value: Any) -> str:
    """A number, text, truth value or list; JSON and TOML write them alike."""
    return json.dumps(value, ensure_ascii=False)


__all__ = ["CLOCKS", "SAME", "read_map", "storey_sensors", "write_map"]
