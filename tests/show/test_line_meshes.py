"""Line meshes become frames, and what is no plane line mesh is refused in words."""

import meshio
import numpy as np
import pytest

from frame2d.elements import BeamColumn, Brace
from frame2d.errors import InputError
from frame2d.materials import Elastic
from frame2d.show import frame_from_mesh

COLUMN, BRACE = BeamColumn(210e9, 0.01, 1e-4), Brace(Elastic(1e7))


def portal(z=0.0, tags=(1, 1, 1, 2)):
    points = np.array([[0, 0, 0], [0, 3, 0], [5, 3, 0], [5, 0, z], [9, 9, 0]], dtype=float)
    cells = [("line", np.array([[0, 1], [1, 2], [2, 3], [0, 2]])), ("vertex", np.array([[4]]))]
    return meshio.Mesh(points, cells, cell_data={"family": [np.array(tags), np.array([0])]})


def test_mesh_becomes_a_frame_through_a_file(tmp_path):
    """Nodes and members of a mesh file keep numbers and places; a point without a line is left out."""
    path = tmp_path / "portal.vtu"
    portal().write(path)
    frame = frame_from_mesh(path, {1: COLUMN, 2: BRACE}, tag="family", name="portal")
    assert list(frame.nodes) == ["0", "1", "2", "3"]
    assert (frame.nodes["2"].x, frame.nodes["2"].y) == (5.0, 3.0)
    assert [(placed.i, placed.j) for placed in frame.members.values()] == [
        ("0", "1"),
        ("1", "2"),
        ("2", "3"),
        ("0", "2"),
    ]
    assert frame.members["3"].member is BRACE
    for node in ("0", "3"):
        frame.support(node, "fixed")
    assert frame.compile().count > 0


def test_one_member_serves_all_lines():
    """Without a tag every line gets the one member."""
    frame = frame_from_mesh(portal(), COLUMN)
    assert all(placed.member is COLUMN for placed in frame.members.values())


@pytest.mark.parametrize(
    ("mesh", "member", "tag", "message"),
    [
        (meshio.Mesh(np.eye(3)[:, :2], [("triangle", np.array([[0, 1, 2]]))]), COLUMN, None, "triangle"),
        (portal(), {1: COLUMN, 2: BRACE}, "famly", "did you mean 'family'"),
        (portal(tags=(1, 1, 1, 7)), {1: COLUMN, 2: BRACE}, "family", "tag of a line is 7"),
        ("nowhere.vtu", COLUMN, None, "could not be read"),
    ],
)
def test_wrong_meshes_are_refused(mesh, member, tag, message):
    """Each kind of unfit mesh gets a message that says what is wrong."""
    with pytest.raises(InputError, match=message):
        frame_from_mesh(mesh, member, tag=tag)


def test_mesh_in_space_is_refused():
    """A mesh that leaves its plane is refused with the likely mistake."""
    with pytest.raises(InputError, match="the height is in z"):
        frame_from_mesh(portal(z=1.0), COLUMN)
