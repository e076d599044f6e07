"""`write_series`: the deformed frame over time as VTU files and a PVD index, the open formats of VTK.

Each file holds the members as subdivided lines and each device as a vertex cell. Point data: displacement (m). Cell
data: member and device numbers (names in the two CSV files beside), storey drift ratio, and for devices deformation
(m or rad), force (N or N·m) and energy lost (J). What does not apply is NaN, a number that does not exist is -1.
"""

import csv
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import quoteattr

import numpy as np

from frame2d.errors import InputError, positive
from frame2d.show.drawing import dissipated, draw, member_drifts
from frame2d.written import folder_at, written

if TYPE_CHECKING:
    from frame2d.analysis.response import Response


def write_series(
    response: "Response", folder: Any, *, every: int = 1, scale: float = 1.0, name: str = "frame"
) -> Path:
    """Write every `every`-th step into `folder` and return the path of the PVD index.

    Points stand at their displaced places, magnified by `scale`; the data are never magnified. The index is written
    last, so whoever sees it finds all its files. Raises `InputError` for a step or scale that is not positive.
    """
    import meshio

    if int(every) != every or every < 1:
        raise InputError(f"every is {every!r}; allowed: a whole number of steps, 1 or more")
    positive("scale", scale)
    target = Path(folder)
    folder_at(target)
    drawing = draw(response.system)
    pairs, names = drawing.segments()
    numbers = {member: number for number, member in enumerate(drawing.lines)}
    devices = drawing.devices
    drifts = member_drifts(response)
    lost = dissipated(response, devices)
    loops = [response.device(device.name) for device in devices]
    cells: list[Any] = [("line", pairs)]
    blocks = [names]
    if devices:
        cells.append(("vertex", np.array([[device.point] for device in devices])))
        blocks.append([device.member for device in devices])
    member_of = [np.array([numbers[member] for member in block], dtype=np.int32) for block in blocks]
    none = np.full(len(pairs), np.nan)
    device_of = [np.full(len(pairs), -1, dtype=np.int32), np.arange(len(devices), dtype=np.int32)][
        : len(blocks)
    ]
    displacements = response.all_displacements()
    entries = []
    for step in range(0, response.time.size, int(every)):
        moved = np.column_stack([drawing.moved(displacements[step]), np.zeros(len(drawing.points))])
        rest = np.column_stack([drawing.points, np.zeros(len(drawing.points))])
        data = {
            "member": member_of,
            "device": device_of,
            "storey drift ratio": [
                np.array([drifts[member][step] if drifts else np.nan for member in block]) for block in blocks
            ],
            "device deformation": [none, np.array([loop.deformation[step] for loop in loops])][: len(blocks)],
            "device force": [none, np.array([loop.force[step] for loop in loops])][: len(blocks)],
            "device energy lost": [none, lost[step]][: len(blocks)],
        }
        file = f"{name}_{step:06d}.vtu"
        mesh = meshio.Mesh(rest + scale * moved, cells, point_data={"displacement": moved}, cell_data=data)
        with written(target / file) as beside:
            mesh.write(beside, file_format="vtu")
        entries.append((float(response.time[step]), file))
    _table(target / f"{name}_members.csv", "member,name,first node,second node,family", (
        (number, member, placed.i, placed.j, type(placed.member).__name__)
        for number, (member, placed) in enumerate(response.system.frame.members.items())
    ))  # fmt: skip
    _table(target / f"{name}_devices.csv", "device,name,member,deformation,force", (
        (number, device.name, device.member, "rad" if device.turns else "m", "N·m" if device.turns else "N")
        for number, device in enumerate(devices)
    ))  # fmt: skip
    lines = [
        '<?xml version="1.0"?>',
        '<VTKFile type="Collection" version="0.1" byte_order="LittleEndian">',
        "<Collection>",
        *(f'<DataSet timestep="{time!r}" part="0" file={quoteattr(file)}/>' for time, file in entries),
        "</Collection>",
        "</VTKFile>",
    ]
    index = target / f"{name}.pvd"
    _whole(index, "\n".join(lines) + "\n")
    return index


def _table(path: Path, header: str, rows: Any) -> None:
    from io import StringIO

    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header.split(","))
    writer.writerows(rows)
    _whole(path, text.getvalue())


def _whole(path: Path, text: str) -> None:
    with written(path) as beside:
        beside.write_text(text, encoding="utf-8")
