"""The drawing follows the exact bending line and names its devices as the response does."""

import numpy as np

from frame2d.analysis import gravity
from frame2d.elements import BeamColumn
from frame2d.model import Frame
from frame2d.show.drawing import dissipated, draw, member_drifts


def test_cantilever_is_drawn_with_its_exact_bending_line():
    """Every point of a cantilever under a tip load lies on v(x) = P·x²·(3L − x)/(6EI) (textbook beam theory)."""
    E, second_moment, L, P = 210e9, 2e-4, 4.0, 10e3
    frame = Frame()
    frame.node("a", 0.0, 0.0, "fixed")
    frame.node("b", L, 0.0)
    frame.member("beam", "a", "b", BeamColumn(E, 0.01, second_moment))
    frame.load("b", fy=-P)
    response = gravity(frame.compile())
    drawing = draw(response.system)
    moved = drawing.moved(response.all_displacements()[-1])
    x = drawing.points[:, 0]
    np.testing.assert_allclose(moved[:, 1], -P * x**2 * (3 * L - x) / (6 * E * second_moment), atol=1e-12)
    assert len(set(np.round(x, 9))) > 10


def test_ends_of_lines_move_with_their_nodes(quake):
    """The first and last point of every member have the displacements of its nodes."""
    drawing = draw(quake.system)
    moved = drawing.moved(quake.all_displacements()[100])
    for name, line in drawing.lines.items():
        placed = quake.system.frame.members[name]
        for node, point in ((placed.i, line[0]), (placed.j, line[-1])):
            expected = [quake.displacement(node, part)[100] for part in ("ux", "uy")]
            np.testing.assert_allclose(moved[point], expected, atol=1e-15)


def test_devices_bear_the_names_of_the_loops(quake):
    """Names, kinds and energies of the drawn devices are those of the response's loops."""
    devices = draw(quake.system).devices
    assert {device.name for device in devices} == set(quake.laws())
    assert {device.name for device in devices if not device.turns} == {"d1"}
    lost = dissipated(quake, devices)
    for k, device in enumerate(devices):
        loop = quake.device(device.name)
        held = loop.work - loop.recoverable
        np.testing.assert_allclose(lost[:, k], held - held[0], rtol=1e-12, atol=1e-12)
    assert lost[-1].max() > 1.0


def test_inset_hinge_is_drawn_where_it_is(quake):
    """A hinge at 0.5 m from the end of a beam is drawn 0.5 m from that end."""
    drawing = draw(quake.system)
    (hinge,) = (device for device in drawing.devices if device.name == "b1: end hinge")
    np.testing.assert_allclose(drawing.points[hinge.point], [5.5, 3.5])


def test_members_bear_the_drift_of_their_storey(quake):
    """Columns and braces take the drift of the storey they stand in, beams that of the storey below them."""
    drifts, storeys = member_drifts(quake), quake.drifts()
    for name, floor in {"c10": "F1", "d1": "F1", "b1": "F1", "c21": "F2", "b2": "F2"}.items():
        np.testing.assert_array_equal(drifts[name], storeys[floor])
