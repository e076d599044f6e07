"""Panel zones: a parallelogram of the joint's size, and scissors without one."""

import pytest

from frame2d.analysis import gravity, push
from frame2d.elements import BeamColumn, Brace
from frame2d.errors import InputError
from frame2d.materials import Bilinear, Elastic
from frame2d.model import Frame

HEIGHT, SPAN, WIDTH, DEPTH, K, V = 3.5, 6.0, 0.4, 0.6, 2e7, 50e3
RIGID = BeamColumn(210e9, 10.0, 10.0)


def joint(law, member=RIGID, braced=False, **panel) -> Frame:
    """An inner joint between the points of zero moment of its columns and beams, swayed by a storey's shear."""
    frame = Frame("joint")
    frame.node("0", 0.0, 0.0)
    frame.node("foot", 0.0, -HEIGHT / 2, "pinned")
    frame.node("head", 0.0, HEIGHT / 2)
    frame.node("west", -SPAN / 2, 0.0, "roller")
    frame.node("east", SPAN / 2, 0.0, "roller")
    frame.member("below", "foot", "0", member)
    frame.member("above", "0", "head", member)
    frame.member("left", "west", "0", member)
    frame.member("right", "0", "east", member)
    if braced:
        frame.node("corner", SPAN / 2, HEIGHT / 2, "pinned")
        frame.member("tie", "0", "corner", Brace(Elastic(1e3)))
    frame.panel_zone("panel", "0", ["below", "above"], law, **panel)
    frame.load("head", fx=V)
    return frame


def sway(frame: Frame) -> float:
    """Drift of the head over the storey (m)."""
    return float(gravity(frame.compile()).displacement("head")[-1])


def test_a_rigid_joint_of_some_size_sways_by_its_panel_alone() -> None:
    """The drift is V·H²·(1 − w/L − d/H)²/k, and the panel's moment V·H·(1 − w/L − d/H)."""
    frame = joint(Elastic(K), width=WIDTH, depth=DEPTH)
    clear = 1.0 - WIDTH / SPAN - DEPTH / HEIGHT
    assert sway(frame) == pytest.approx(V * HEIGHT**2 * clear**2 / K, rel=2e-3)
    loop = gravity(frame.compile()).device("panel")
    assert abs(loop.force[-1]) == pytest.approx(V * HEIGHT * clear, rel=1e-9)


def test_scissors_are_the_limit_of_a_joint_without_size() -> None:
    """Without a size the drift is V·H²/k, and a tiny parallelogram gives the same."""
    scissors = sway(joint(Elastic(K)))
    assert scissors == pytest.approx(V * HEIGHT**2 / K, rel=2e-3)
    assert sway(joint(Elastic(K), width=1e-6, depth=1e-6)) == pytest.approx(scissors, rel=1e-5)


def test_a_rigid_panel_leaves_members_of_clear_length_on_rigid_arms() -> None:
    """With a stiff panel the joint is the one of the same members with rigid offsets."""
    member = BeamColumn(210e9, 0.015, 2.5e-4)
    stiff = sway(joint(Elastic(1e15), member, width=WIDTH, depth=DEPTH))
    frame = joint(Elastic(1e15), member)
    for name, at, offset in (
        ("below", "end_offset", (0.0, -DEPTH / 2)), ("above", "start_offset", (0.0, DEPTH / 2)),
        ("left", "end_offset", (-WIDTH / 2, 0.0)), ("right", "start_offset", (WIDTH / 2, 0.0)),
    ):  # fmt: skip
        placed = frame.members[name]
        ends = {"start_offset": (0.0, 0.0), "end_offset": (0.0, 0.0), at: offset}
        frame.members[name] = type(placed)(
            placed.name, placed.i, placed.j, BeamColumn(210e9, 0.015, 2.5e-4, **ends)
        )
    assert stiff == pytest.approx(sway(frame), rel=1e-6)


def test_a_panel_yields_at_the_moment_of_its_law() -> None:
    """Pushed beyond, the storey's shear stays near that of the panel's strength."""
    frame = joint(Bilinear(K, 100e3, 1e-4), width=WIDTH, depth=DEPTH)
    frame.floor("top", ["head"])
    pushed = push(frame.compile(), None, {"top": 1.0}, node="head", target=0.15)
    strength = 100e3 / (HEIGHT * (1.0 - WIDTH / SPAN - DEPTH / HEIGHT))
    assert pushed.factor[-1] == pytest.approx(strength, rel=0.01)


def test_braces_stay_at_the_middle_of_the_panel() -> None:
    """Only beam-columns move to the edges unless beams are named, and a saved frame is the same."""
    frame = joint(Elastic(K), braced=True, width=WIDTH, depth=DEPTH)
    assert (frame.members["tie"].i, frame.members["right"].i) == ("0", "0 right")
    assert frame.nodes["0 top"].y == DEPTH / 2


@pytest.mark.parametrize(
    ("panel", "message"),
    [
        ({"width": 0.4}, "allowed: both above 0, or neither"),
        ({"width": 400.0, "depth": 600.0}, "lengths in mm"),
        ({"width": 0.4, "depth": 0.6, "beam_members": ["above"]}, "a member that leaves the panel"),
    ],
)
def test_panels_that_cannot_be_are_refused(panel, message) -> None:
    """One size without the other, millimetres, a column named as a beam."""
    with pytest.raises(InputError, match=message):
        joint(Elastic(K), **panel)


def test_members_of_a_sized_panel_have_no_offset_there() -> None:
    """An offset would count half the panel twice."""
    with pytest.raises(InputError, match="it ends at the panel's edge"):
        joint(Elastic(K), BeamColumn(210e9, 10.0, 10.0, start_offset=(0.0, 0.1)), width=WIDTH, depth=DEPTH)
