"""The frame: names, constraints, storage, and the mistakes it names."""

import json

import numpy as np
import pytest
from scipy.sparse.linalg import spsolve

from frame2d import BeamColumn, Brace, Frame, InputError, Link, gravity, modes
from frame2d.materials import Bilinear, Elastic

E = 200e9
COLUMN = BeamColumn(E, 6e-3, 8e-5)


def portal(**options):  # type: ignore[no-untyped-def]
    frame = Frame("portal")
    for name, x, y in (("A", 0, 0), ("B", 0, 4), ("C", 6, 4), ("D", 6, 0)):
        frame.node(name, x, y, support="fixed" if y == 0 else None)
    frame.member("AB", "A", "B", COLUMN)
    frame.member("BC", "B", "C", BeamColumn(E, 8e-3, 1.6e-4, **options))
    frame.member("DC", "D", "C", COLUMN)
    return frame


def test_the_tensor_of_elements_sums_to_the_whole():
    """Stiffness of all freedoms is the sum of the element tensor, and a slice of it that of some members."""
    system = portal().compile()
    whole = system.tensor["stiffness"].sum(axis=0).todense()
    halves = system.tensor["stiffness"][:1].sum(axis=0) + system.tensor["stiffness"][1:].sum(axis=0)
    assert np.array_equal(whole, system.whole["stiffness"].toarray())
    assert np.allclose(whole, halves.todense(), rtol=1e-15, atol=0)


def test_a_tied_floor_moves_as_one():
    """Nodes of a tied floor have the same horizontal displacement."""
    frame = portal()
    frame.floor("roof", ["B", "C"])
    frame.load("B", fx=1e4, case="push")
    system = frame.compile()
    u = system.free @ spsolve(system.tangent(), system.load_vector("push"))
    assert u[3] == u[6] != 0.0


def test_a_rigid_arm_turns_with_its_lead():
    """A follower's displacement is that of its lead plus rotation times the arm."""
    frame = portal()
    frame.node("E", 6.5, 4.2)
    frame.rigid("C", ["E"])
    frame.load("E", fy=-1e4, case="push")
    system = frame.compile()
    u = (system.free @ spsolve(system.tangent(), system.load_vector("push"))).reshape(-1, 3)
    ux, uy, turn = u[2]
    assert np.allclose(u[4], [ux - 0.2 * turn, uy + 0.5 * turn, turn], rtol=1e-12)


def test_a_floating_frame_and_a_mechanism_are_named():
    """A mechanism is refused before any analysis, with the node that moves."""
    frame = Frame("chain")
    frame.node("A", 0, 0, support="pinned")
    frame.node("B", 0, 3)
    frame.member("AB", "A", "B", Brace(Elastic(1e8)))
    with pytest.raises(InputError, match=r"mechanism.*ux of node 'B'"):
        frame.compile()
    with pytest.raises(InputError, match="no supports"):
        bare = Frame("bare")
        bare.node("A", 0, 0)
        bare.node("B", 0, 3)
        bare.member("AB", "A", "B", COLUMN)
        bare.compile()


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda f: f.node("A", 1, 1), "each name once"),
        (lambda f: f.node("Z", float("nan"), 0), "finite"),
        (lambda f: f.member("x", "A", "b", COLUMN), "did you mean 'B'"),
        (lambda f: f.member("x", "A", "A", COLUMN), "to itself"),
        (lambda f: f.member("x", "A", "B", 3.0), "member or link"),
        (lambda f: f.support("B", "clamped"), "fixed"),
        (lambda f: f.mass("B", -3.0), "masses are in kg"),
        (lambda f: f.load("Q", fx=1.0), "node"),
        (lambda f: f.tie("uz", ["B", "C"]), "ux"),
        (lambda f: f.tie("ux", ["B"]), "two or more"),
        (lambda f: f.floor("roof", []), "no nodes"),
        (lambda f: f.member_load("XY", qy=-1.0), "member"),
    ],
)
def test_wrong_descriptions_are_named(act, words):
    """Wrong names and values are refused at once, with what is allowed."""
    with pytest.raises(InputError, match=words):
        act(portal())


def test_a_frame_survives_its_file(tmp_path):
    """Saving and loading gives a frame with the same modes."""
    frame = portal(start=Bilinear(1e7, 1e5, 0.02), start_inset=0.4)
    frame.mass("B", 2e4)
    frame.mass("C", 2e4)
    frame.floor("roof", ["B", "C"])
    frame.load("B", fy=-1e5)
    frame.member_load("BC", qy=-1e3, begin=0.5, end=5.0, case="live")
    frame.link("spring", "B", "C", Link(axial=Elastic(1e3)))
    frame.save(tmp_path / "frame.json")
    again = Frame.load_from(tmp_path / "frame.json")
    assert np.array_equal(modes(again.compile(), None, 2).omega, modes(frame.compile(), None, 2).omega)
    data = json.loads((tmp_path / "frame.json").read_text())
    data["schema"] = "other/1"
    (tmp_path / "frame.json").write_text(json.dumps(data))
    with pytest.raises(InputError, match="schema"):
        Frame.load_from(tmp_path / "frame.json")


def test_the_summary_counts_what_is_there():
    """The summary tells masses, devices, floors and what looks odd."""
    frame = portal()
    frame.node("lost", 3, 9)
    frame.mass("B", 1000.0)
    text = frame.summary()
    assert "1,000 kg" in text and "node 'lost' belongs to no member" in text and "no floors" in text


def test_the_summary_totals_what_members_bring():
    """Mass along members and loads along them, whatever their axes and offsets, are in the totals."""
    frame = Frame("sloped")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 3, 4, mass=500.0)
    hinge = Bilinear(1e7, 1e5, 0.02)
    slope = BeamColumn(
        E, 8e-3, 1.6e-4, start=hinge, start_inset=0.5, end_offset=(-0.6, -0.8), mass_per_length=100.0
    )
    frame.member("AB", "A", "B", slope)
    frame.member_load("AB", qy=-1e3, begin=0.5, axes="local")  # over 3.5 m, across the slope
    frame.member_load("AB", qy=(-1e3, -3e3), begin=1.0, end=3.0)
    frame.member_load("AB", qx=2e3, begin=2.0, point=True, case="push")
    text = frame.summary()
    assert "mass 900 kg" in text and "400 kg of it along members" in text
    assert "'gravity': ΣFx 2.8 kN, ΣFy -6.1 kN" in text
    assert "'push': ΣFx 2.0 kN, ΣFy 0.0 kN" in text


def test_a_leaning_column_makes_the_frame_sway_more():
    """Second-order drift of a cantilever with a leaning column follows H/(K − P/h)."""
    frame = Frame("lean")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 0, 4)
    frame.member("AB", "A", "B", BeamColumn(200e9, 1.0, 8e-5))
    frame.floor("top", ["B"], tied=False)
    frame.leaning_column("lean", 3.0, {"top": 600e3}, stiffness=1e12)
    frame.load("B", fx=2e3)
    drift = gravity(frame.compile()).displacement("B")[-1]
    k = 3 * 200e9 * 8e-5 / 4**3
    assert drift == pytest.approx(2e3 / (k - 600e3 / 4), rel=1e-6)


def test_a_panel_zone_splits_the_joint():
    """Columns turn with a second node, tied in translation, through the panel's law."""
    frame = portal()
    frame.panel_zone("panel", "B", ["AB"], Elastic(1e7))
    frame.load("B", fx=1e4, case="push")
    rigid = portal()
    rigid.load("B", fx=1e4, case="push")
    soft = frame.compile()
    stiff = rigid.compile()
    flexible = soft.row("B", "ux") @ spsolve(soft.tangent(), soft.load_vector("push"))
    fixed = stiff.row("B", "ux") @ spsolve(stiff.tangent(), stiff.load_vector("push"))
    assert flexible > 1.01 * fixed
