"""The animation's data: deformed frame, device loops and roof history of one response, small enough to embed.

    {"format": "frame2d/scene/1", "title", "times": [s], "points": [[x, y]] (m), "lines": [{"kind", "points": [number]}],
     "supports": [number], "moves": int16 base64 (times × points × 2, in steps of "move_step" m),
     "scale": magnification, "peak": number of the time at which the roof is furthest,
     "roof": int16 base64 (loop times, steps of "roof_step" m), "loop_start", "loop_dt" (s),
     "devices": [{"name", "point", "turns", "deformation", "force": int16 base64 at loop times,
                  "deformation_step" (m or rad), "force_step" (N or N·m), "lost": [J at times]}],
     "clip": {"member": …}}

Rounding to 1/32000 of each quantity's largest value is far below what a screen shows. `kind` is "member", "device" or
"leaning" (a column that only carries weight).
"""

import base64
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.elements import Brace
from frame2d.errors import InputError
from frame2d.materials import Elastic
from frame2d.show.drawing import dissipated, draw
from frame2d.show.scene import round_down
from frame2d.written import written

if TYPE_CHECKING:
    from frame2d.analysis.response import Response

FORMAT = "frame2d/scene/1"
#: Pictures of the frame and samples of a loop that an animation keeps; between pictures the player interpolates.
PICTURES, SAMPLES = 320, 1600
#: Loops that move beside the frame.
SHOWN = 4


def packed(values: np.ndarray) -> tuple[str, float]:
    """Numbers as base64 of little-endian int16, and the size of one step."""
    largest = float(np.abs(values).max(initial=0.0))
    step = largest / 32000.0 if largest > 0.0 else 1.0
    return base64.b64encode(np.round(values / step).astype("<i2").tobytes()).decode("ascii"), step


def unpacked(text: str, step: float) -> np.ndarray:
    """Back from `packed`."""
    return np.frombuffer(base64.b64decode(text), dtype="<i2").astype(float) * step


def scene(response: "Response", title: str = "", pieces: int = 4) -> dict[str, Any]:
    """Data of the animation of a time history; raises `InputError` for a response without a course in time."""
    if "dt" not in response.extra or response.time.size < 2:
        raise InputError(f"response is of a {response.kind}; allowed: a time history to animate")
    system = response.system
    drawing = draw(system, pieces)
    time = response.time - response.time[0]
    shown = np.unique(np.linspace(0, time.size - 1, min(PICTURES, time.size)).round().astype(int))
    u = response.all_displacements()[shown]
    moves = np.array([drawing.moved(row) for row in u])
    size = float(np.ptp(drawing.points, axis=0).max())
    largest = float(np.abs(moves).max())
    scale = max(1.0, round_down(0.07 * size / largest)) if largest > 0.0 else 1.0
    levels = system.frame.levels()
    roof = response.floor(levels[-1][0]) if levels else u[:, 0] * 0.0
    every = max(1, time.size // SAMPLES)
    moving, move_step = packed(moves)
    roofed, roof_step = packed(roof[::every])
    lost = dissipated(response, drawing.devices)
    devices = []
    for k in sorted(np.argsort(-lost[-1], kind="stable").tolist()):
        device = drawing.devices[k]
        loop = response.device(device.name)
        deformation, deformation_step = packed(loop.deformation[::every])
        force, force_step = packed(loop.force[::every])
        devices.append(
            {
                "name": device.name, "point": int(device.point), "turns": bool(device.turns),
                "deformation": deformation, "deformation_step": deformation_step, "force": force,
                "force_step": force_step, "lost": [round(max(float(v), 0.0), 2) for v in lost[shown, k]],
            }
        )  # fmt: skip
    index = {
        name: drawing.lines[placed.name] for placed in system.frame.members.values() for name in [placed.name]
    }
    lines = [
        {"kind": _kind(system, name), "points": [int(k) for k in numbers]} for name, numbers in index.items()
    ]
    return {
        "format": FORMAT, "title": title or system.frame.name, "times": np.round(time[shown], 4).tolist(),
        "points": np.round(drawing.points, 4).tolist(), "lines": lines, "supports": _supports(system, drawing.points),
        "moves": moving, "move_step": move_step, "scale": scale, "peak": int(np.argmax(np.abs(roof[shown]))),
        "roof": roofed, "roof_step": roof_step, "loop_start": 0.0,
        "loop_dt": float(every * (time[1] - time[0])), "devices": devices,
    }  # fmt: skip


def _kind(system: Any, name: str) -> str:
    placed = system.frame.members[name]
    if placed.device:
        return "device"
    leaning = isinstance(placed.member, Brace) and isinstance(placed.member.law, Elastic)
    return "leaning" if leaning and name.split(" below ")[0] != name else "member"


def _supports(system: Any, points: np.ndarray) -> list[int]:
    found = []
    for node in system.frame.supports:
        here = system.frame.nodes[node]
        found.append(int(np.argmin(np.hypot(points[:, 0] - here.x, points[:, 1] - here.y))))
    return found


def write_scene(response: "Response", path: Any, title: str = "") -> Path:
    """Store the animation's data beside a response; the file appears whole or not at all."""
    target = Path(path)
    with written(target) as beside:
        beside.write_text(json.dumps(scene(response, title), ensure_ascii=False), encoding="utf-8")
    return target


def read_scene(path: Any) -> dict[str, Any]:
    """Read what `write_scene` wrote; raises `InputError` for another kind of file."""
    data: dict[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    if data.get("format") != FORMAT:
        raise InputError(f"{path} has format {data.get('format')!r}; allowed: {FORMAT!r}")
    return data
