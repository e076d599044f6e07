"""A frame divided in two parts is still the same frame."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d import BeamColumn, Brace, Frame, InputError, gravity
from frame2d.demo.building import demo_frame
from frame2d.materials import Elastic
from frame2d.substructure import split

CUTS = {
    "links and columns": ["column A1", "column B1", "link 1"],
    "a brace": ["pin 1"],
    "all devices": [f"{kind} {level}" for kind in ("link", "pin") for level in range(1, 6)],
    "the leaning column": [f"gravity below floor {level}" for level in range(1, 6)],
}


@pytest.fixture(scope="module")
def frame() -> Frame:
    return demo_frame()


@pytest.mark.parametrize("tested", CUTS.values(), ids=CUTS)
def test_union_of_the_parts_is_the_whole(frame: Frame, tested: list[str]) -> None:
    """Mass, damped stiffness, tangent at rest and loads of the parts add up to those of the whole to rounding."""
    cut = split(frame, tested)
    whole = cut.whole_system
    names = ("computed", "tested")
    for matrix in (lambda s: s.mass, lambda s: s.damped, lambda s: s.stiffness, lambda s: s.tangent()):
        total = sum(cut.expand(part).T @ matrix(cut.system(part)) @ cut.expand(part) for part in names)
        assert abs(total - matrix(whole)).max() <= 1e-14 * abs(matrix(whole)).max()
    loads = sum(
        cut.expand(part).T @ cut.system(part).load_vector("gravity")
        for part in names
        if cut.system(part).frame.node_loads
    )
    assert np.allclose(loads, whole.load_vector("gravity"), rtol=1e-14)


@settings(max_examples=8, deadline=None)
@given(data=st.data())
def test_any_split_adds_up(data: st.DataObject) -> None:
    """Whatever members are tested and however masses are shared, nothing is lost and nothing counted twice."""
    frame = demo_frame()
    names = list(frame.members)
    tested = data.draw(st.lists(st.sampled_from(names), min_size=1, max_size=len(names) // 2, unique=True))
    plain = split(frame, tested)
    both = [node for node in plain.tested.nodes if node in plain.computed.nodes]
    share = {node: data.draw(st.floats(0.0, 1.0)) for node in both[:3] if plain.shares[node] == 0.0}
    rest = {
        end for name in names if name not in tested for end in (frame.members[name].i, frame.members[name].j)
    }
    cut = split(frame, tested, tested_share={node: value for node, value in share.items() if node in rest})
    whole = cut.whole_system
    for matrix in (lambda s: s.mass, lambda s: s.tangent()):
        total = sum(
            cut.expand(part).T @ matrix(cut.system(part)) @ cut.expand(part)
            for part in ("computed", "tested")
        )
        assert abs(total - matrix(whole)).max() <= 1e-13 * abs(matrix(whole)).max()
    apart = cut.pick_computed @ cut.expand("computed") - cut.pick_tested @ cut.expand("tested")
    assert abs(apart).max() == 0.0


@pytest.mark.parametrize("tested", CUTS.values(), ids=CUTS)
def test_parts_are_slices_of_the_tensor(frame: Frame, tested: list[str]) -> None:
    """The slice of the element tensor is the part's own matrix, and the two slices add up to the tensor's sum."""
    cut = split(frame, tested)
    whole = cut.whole_system
    for kind in ("stiffness", "damped", "mass"):
        slices = {part: cut.slice(part, kind) for part in ("computed", "tested")}
        total = whole.tensor[kind].sum(axis=0).tocsr()
        assert abs(slices["computed"] + slices["tested"] - total).max() <= 1e-15 * abs(total).max()
    for part in ("computed", "tested"):
        system, expand = cut.system(part), cut.expand(part)
        reduced = whole.free.T @ cut.slice(part) @ whole.free
        assert abs(expand.T @ system.stiffness @ expand - reduced).max() <= 1e-14 * abs(whole.stiffness).max()


@pytest.mark.parametrize("tested", CUTS.values(), ids=CUTS)
def test_both_parts_see_the_same_interface(frame: Frame, tested: list[str]) -> None:
    """Whatever the whole does, both picks give the same interface displacement, and no row follows from others."""
    cut = split(frame, tested)
    picks = [cut.pick(part) @ cut.expand(part) for part in ("computed", "tested")]
    assert abs(picks[0] - picks[1]).max() == 0.0
    both = np.hstack([cut.pick_computed.toarray(), cut.pick_tested.toarray()])
    assert np.linalg.matrix_rank(both) == len(cut.interface)


def test_state_is_shared_out_in_balance(frame: Frame) -> None:
    """Loads and internal forces of the shared states add up to the equilibrium of the whole."""
    cut = split(frame, CUTS["links and columns"], tested_share={"A1": 1.0, "B1": 0.3})
    state = gravity(cut.whole_system).state
    shared = cut.share(state)
    apart = sum(cut.expand(part).T @ (s.load - s.motion.f) for part, s in shared.items())
    assert np.abs(apart).max() < 1e-7 * np.abs(state.load).max()
    assert shared["tested"].load.any()
    assert cut.tested.masses["B1"][0] == pytest.approx(0.3 * frame.masses["B1"][0])
    assert cut.computed.masses["B1"][0] == pytest.approx(0.7 * frame.masses["B1"][0])


def test_leaving_out_a_freedom_releases_it(frame: Frame) -> None:
    """A restricted interface ties what it names and lists the rest as released."""
    cut = split(frame, CUTS["links and columns"], interface=[("A1", "ux")])
    assert cut.interface == (("A1", "ux"),)
    assert set(cut.released) == {("A1", "uy"), ("A1", "rz"), ("B1", "uy"), ("B1", "rz")}
    assert "rz of A1" in cut.summary()


def test_tie_and_body_across_the_cut_keep_a_common_node() -> None:
    """A rigid floor between a tested and a computed node still ties them."""
    frame = Frame("two columns under a rigid floor and an arm")
    column = BeamColumn(E=210e9, A=1e-2, I=1e-4)
    for k in range(3):
        frame.node(f"foot {k}", 5.0 * k, 0.0, support="fixed")
        frame.node(f"head {k}", 5.0 * k, 3.0, mass=1e3)
        frame.member(f"column {k}", f"foot {k}", f"head {k}", column)
    frame.floor("roof", ["head 0", "head 1"])
    frame.rigid("head 1", ["head 2"])
    cut = split(frame, ["column 0"])
    assert cut.interface == (("head 0", "ux"),)
    cut = split(frame, ["column 2"])
    assert [node for node, _ in cut.interface] == ["head 1"] * 3
    whole = cut.whole_system
    total = sum(
        cut.expand(part).T @ cut.system(part).mass @ cut.expand(part) for part in ("computed", "tested")
    )
    assert abs(total - whole.mass).max() <= 1e-14 * abs(whole.mass).max()


def test_components_that_follow_others_stay_with_what_they_follow() -> None:
    """A node that follows leads of the other part is tied to them through copies of the leads."""
    frame = Frame("a middle node that follows two heads")
    column = BeamColumn(E=210e9, A=1e-2, I=1e-4)
    for k in range(3):
        frame.node(f"foot {k}", 5.0 * k, 0.0, support="fixed")
        frame.node(f"head {k}", 5.0 * k, 3.0, mass=1e3)
        frame.member(f"column {k}", f"foot {k}", f"head {k}", column)
    frame.follow("head 1", "ux", {("head 0", "ux"): 0.5, ("head 2", "ux"): 0.5})
    cut = split(frame, ["column 1"])
    assert set(cut.interface) == {("head 0", "ux"), ("head 2", "ux")}
    whole = cut.whole_system
    for matrix in (lambda s: s.mass, lambda s: s.tangent()):
        total = sum(
            cut.expand(part).T @ matrix(cut.system(part)) @ cut.expand(part)
            for part in ("computed", "tested")
        )
        assert abs(total - matrix(whole)).max() <= 1e-14 * abs(matrix(whole)).max()
    assert cut.joined_system.count >= whole.count


def test_wrong_splits_are_refused(frame: Frame) -> None:
    """Unknown names, held or repeated freedoms, nothing or everything tested: each error names the thing."""
    tested = CUTS["links and columns"]
    wrong = [
        (["column Z1"], None, {}, "column Z1"),
        ("column A1", None, {}, "brackets"),
        ([], None, {}, "no member"),
        (list(frame.members), None, {}, "every member"),
        (["column C1"], [("C0", "ux")], {}, "not free"),
        (tested, [("A1", "uz")], {}, "uz"),
        (tested, [("C3", "ux")], {}, "C3"),
        (tested, [("A1", "ux"), ("A1", "ux")], {}, "twice"),
        (tested, [("A1", "ux"), ("B1", "ux")], {}, "says something twice"),
        (tested, [], {}, "empty"),
        (tested, None, {"A1": 1.5}, "share of node 'A1'"),
        (tested, None, {"C3": 0.5}, "C3"),
    ]
    for members, interface, share, words in wrong:
        with pytest.raises(InputError, match=words):
            split(frame, members, interface, tested_share=share)


def test_parts_that_do_not_meet_are_refused() -> None:
    """Members that share no free freedom with the rest cannot be split off."""
    frame = Frame("two braces from the ground")
    for k in range(2):
        frame.node(f"a{k}", 10.0 * k, 0.0, support="pinned")
        frame.node(f"b{k}", 10.0 * k + 1.0, 0.0, support=("uy", "rz"))
        frame.member(f"brace {k}", f"a{k}", f"b{k}", Brace(Elastic(1e6)))
    with pytest.raises(InputError, match="share no free freedom"):
        split(frame, ["brace 0"])
