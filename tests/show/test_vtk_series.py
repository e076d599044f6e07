"""The VTK series is read back, with its data, by two independent readers."""

import csv

import meshio
import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.show import write_series
from frame2d.show.drawing import draw


@pytest.fixture(scope="module")
def index(quake, tmp_path_factory):
    return write_series(quake, tmp_path_factory.mktemp("series"), every=50, scale=10.0)


def test_index_lists_the_times(quake, index):
    """A PVD reader finds one data set a written step, at the times of the response."""
    import pyvista

    reader = pyvista.get_reader(index)
    np.testing.assert_allclose(reader.time_values, quake.time[::50])
    assert len(list(index.parent.glob("frame_*.vtu"))) == len(reader.time_values)
    reader.set_active_time_point(2)
    block = reader.read()[0]
    assert {"member", "device", "storey drift ratio", "device force"} <= set(block.cell_data.keys())
    assert "displacement" in block.point_data


def test_data_are_those_of_the_response(quake, index):
    """Points are displaced by `scale`, displacements and device data are not magnified."""
    mesh = meshio.read(index.parent / "frame_000100.vtu")
    drawing = draw(quake.system)
    moved = drawing.moved(quake.all_displacements()[100])
    np.testing.assert_allclose(mesh.point_data["displacement"][:, :2], moved, atol=1e-15)
    np.testing.assert_allclose(mesh.points[:, :2], drawing.points + 10.0 * moved)
    kinds = [block.type for block in mesh.cells]
    vertex = kinds.index("vertex")
    forces = [quake.device(device.name).force[100] for device in drawing.devices]
    np.testing.assert_allclose(mesh.cell_data["device force"][vertex], forces)
    members = mesh.cell_data["member"][kinds.index("line")]
    drift = mesh.cell_data["storey drift ratio"][kinds.index("line")]
    with (index.parent / "frame_members.csv").open(encoding="utf-8") as file:
        names = [row["name"] for row in csv.DictReader(file)]
    assert names == list(quake.system.frame.members)
    np.testing.assert_allclose(drift[members == names.index("c20")], quake.drifts()["F2"][100])


def test_devices_are_listed_with_units(quake, index):
    """The table of devices names each law with the units of its deformation and force."""
    with (index.parent / "frame_devices.csv").open(encoding="utf-8") as file:
        rows = {row["name"]: row for row in csv.DictReader(file)}
    assert (rows["d1"]["deformation"], rows["d1"]["force"]) == ("m", "N")
    assert (rows["b1: start hinge"]["deformation"], rows["b1: start hinge"]["force"]) == ("rad", "N·m")


def test_steps_must_be_whole(quake, tmp_path):
    """A step of zero is refused before anything is written."""
    with pytest.raises(InputError, match="every is 0"):
        write_series(quake, tmp_path / "none", every=0)
    assert not (tmp_path / "none").exists()
