"""Components that follow others linearly."""

import numpy as np
import pytest

from frame2d.analysis import static
from frame2d.elements import BeamColumn
from frame2d.errors import InputError
from frame2d.model import Frame

E, A, I, L = 210e9, 5e-3, 1e-5, 3.0  # noqa: E741


def two_cantilevers() -> Frame:
    """Two equal cantilevers, their heads free."""
    frame = Frame()
    for k in range(2):
        frame.node(f"foot {k}", float(k), 0.0, support="fixed")
        frame.node(f"head {k}", float(k), L)
        frame.member(f"column {k}", f"foot {k}", f"head {k}", BeamColumn(E, A, I))
    return frame


def test_a_follower_moves_by_the_weighted_sum_and_hands_its_force_back():
    """With u1 = 2·u0 the force F on the leading head moves it by F/(k + 4k)."""
    frame = two_cantilevers()
    frame.follow("head 1", "ux", {("head 0", "ux"): 2.0})
    frame.load("head 0", fx=1000.0)
    response = static(frame.compile())
    k = 3.0 * E * I / L**3
    assert response.displacement("head 0")[-1] == pytest.approx(1000.0 / (5.0 * k), rel=1e-12)
    assert response.displacement("head 1")[-1] == pytest.approx(2000.0 / (5.0 * k), rel=1e-12)


def test_a_tie_follows_with_its_follower():
    """A node tied to a follower moves with it, whichever the tie names first."""
    frame = two_cantilevers()
    frame.node("plan", 5.0, 0.0, support=("uy",))
    frame.tie("ux", ("head 0", "head 1"))
    frame.follow("head 1", "ux", {("plan", "ux"): 1.0, ("plan", "rz"): -2.0})
    frame.node("arm", 5.0, 1.0, support="fixed")
    frame.member("keeper", "arm", "plan", BeamColumn(E, A, I))
    frame.load("plan", fx=100.0, mz=50.0)
    response = static(frame.compile())
    expected = response.displacement("plan")[-1] - 2.0 * response.displacement("plan", "rz")[-1]
    for head in ("head 0", "head 1"):
        assert response.displacement(head)[-1] == pytest.approx(expected, rel=1e-12)


def test_followers_survive_a_file(tmp_path):
    """A saved frame with followers reads back as it was."""
    frame = two_cantilevers()
    frame.follow("head 1", "ux", {("head 0", "ux"): -1.5})
    frame.save(tmp_path / "frame.json")
    assert Frame.load_from(tmp_path / "frame.json").follows == frame.follows
    assert np.allclose(
        Frame.load_from(tmp_path / "frame.json").compile().stiffness.toarray(),
        frame.compile().stiffness.toarray(),
    )


def test_what_cannot_follow_is_named():
    """A component that follows itself, nothing, or two leads raises an error that names it."""
    frame = two_cantilevers()
    with pytest.raises(InputError, match="ux of node 'head 1' follows"):
        frame.follow("head 1", "ux", {("head 1", "ux"): 1.0})
    with pytest.raises(InputError, match="one or more"):
        frame.follow("head 1", "ux", {})
    frame.follow("head 1", "ux", {("head 0", "ux"): 1.0})
    frame.follow("head 1", "ux", {("head 0", "uy"): 1.0})
    with pytest.raises(InputError, match="two leads"):
        frame.compile()
