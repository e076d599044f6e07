"""`frame_from_mesh`: a line mesh, read through meshio or given, becomes a `Frame`."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from frame2d.elements import Member
from frame2d.errors import InputError, known
from frame2d.model import Frame


def frame_from_mesh(
    mesh: Any, member: Member | Mapping[int, Member], *, tag: str | None = None, name: str = "frame"
) -> Frame:
    """Nodes "0", "1", … and members "0", "1", … from the points (m) and 2-point lines of a mesh in the x-y plane.

    `mesh` is a `meshio.Mesh` or the path of a file that meshio reads. One `member` serves all lines, or a mapping
    chooses by the integer cell data called `tag`. Nodes bear the numbers of the mesh's points; points without a
    line are left out. Supports, ties, masses and loads are yours to add. Raises `InputError` for meshes that are not
    plane, have no lines or lack the tag.
    """
    import meshio

    if not isinstance(mesh, meshio.Mesh):
        try:
            mesh = meshio.read(mesh)
        except (meshio.ReadError, OSError) as error:
            raise InputError(f"mesh {str(mesh)!r} could not be read: {error}") from None
    points = np.asarray(mesh.points, dtype=float)
    if (
        points.shape[1] > 2
        and points.shape[0]
        and np.ptp(points[:, 2]) > 1e-9 * max(1e-9, float(np.ptp(points)))
    ):
        raise InputError(
            f"mesh has z from {points[:, 2].min():g} to {points[:, 2].max():g} m; allowed: one plane, x and y. "
            "Likely mistake: the height is in z, swap the columns of mesh.points"
        )
    lines, tags = _lines(mesh, tag)
    if not lines.size:
        kinds = ", ".join(sorted({block.type for block in mesh.cells})) or "nothing"
        raise InputError(f"mesh has no 2-point lines but {kinds}; allowed: cells of type line")
    frame = Frame(name)
    for number in np.unique(lines):
        frame.node(number, points[number, 0], points[number, 1])
    for number, (i, j) in enumerate(lines):
        chosen = (
            member[known("tag of a line", int(tags[number]), member)]
            if isinstance(member, Mapping)
            else member
        )
        frame.member(str(number), str(i), str(j), chosen)
    return frame


def _lines(mesh: Any, tag: str | None) -> tuple[np.ndarray, np.ndarray]:
    """Lines of all blocks with their tags (0 without)."""
    lines, tags = [np.zeros((0, 2), dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    data = mesh.cell_data[known("tag", tag, mesh.cell_data)] if tag is not None else None
    for number, block in enumerate(mesh.cells):
        if block.type == "line":
            lines.append(np.asarray(block.data, dtype=np.int64))
            tags.append(
                np.asarray(data[number]) if data is not None else np.zeros(len(block.data), dtype=np.int64)
            )
    return np.concatenate(lines), np.concatenate(tags)
