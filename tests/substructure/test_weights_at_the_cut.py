"""Weights, second-order forces and moments at a cut are there once, and what is lost is told."""

import numpy as np
import pytest

from frame2d import (
    BeamColumn,
    Frame,
    InputError,
    Response,
    State,
    System,
    gravity,
    push,
    static,
    time_history,
)
from frame2d.analysis import StiffnessMass
from frame2d.materials.axial_moment import AxialMomentHinge
from frame2d.materials.yield_surface import linear
from frame2d.substructure import axial_effect, cut_at, lost_forces, split

WEIGHT = 4e5


def portal(
    pinned: bool = False,
    weight: float = WEIGHT,
    hinge: AxialMomentHinge | None = None,
    geometry: str = "p-delta",
) -> Frame:
    """Three columns under two beams; the first column is tested, and pin-ended on request."""
    frame = Frame("three columns")
    ends = {"start": "pinned", "end": "pinned"} if pinned else {"start": hinge} if hinge else {}
    for k in range(3):
        frame.node(f"a{k}", 5.0 * k, 0.0, support="fixed")
        frame.node(f"b{k}", 5.0 * k, 3.0, mass=4e4)
        frame.load(f"b{k}", fy=-weight)
        own = ends if k == 0 else {}
        column = BeamColumn(E=210e9, A=5e-3, I=2e-5, geometry=geometry, **own)
        frame.member(f"column {k}", f"a{k}", f"b{k}", column)
    for k in range(2):
        frame.member(f"beam {k}", f"b{k}", f"b{k + 1}", BeamColumn(E=210e9, A=5e-3, I=4e-5))
    frame.load("b2", fx=2e4, case="wind")
    return frame


def sway(system: System) -> float:
    return float(static(system, gravity(system).state, "wind").displacement("b2")[-1])


def test_joined_parts_are_the_whole() -> None:
    """With every shared freedom tied the joined frame moves as the whole does, in statics and in time."""
    frame = portal()
    cut = split(frame, ["column 0"])
    assert sway(cut.joined_system) == pytest.approx(sway(cut.whole_system), rel=1e-9)
    force = 1e4 * np.sin(np.arange(100) * 0.1)
    runs = [
        time_history(
            system, state=gravity(system).state, forces={("b2", "ux"): force}, dt=0.01,
            damping=StiffnessMass(0.1, 1e-3),
        ).displacement("b0")
        for system in (cut.joined_system, cut.whole_system)
    ]  # fmt: skip
    assert np.abs(runs[0] - runs[1]).max() < 1e-8 * np.abs(runs[1]).max()


@pytest.mark.parametrize("declared", [{}, {"column 0": None}, {"column 0": 0.4 * WEIGHT}])
def test_second_order_force_is_there_once_however_declared(declared: dict[str, float | None]) -> None:
    """A pin-ended tested column sways alike with its weight missing, present or in part, and as the unsplit frame."""
    frame = portal(pinned=True)
    cut = split(frame, ["column 0"], [("b0", "ux")], on_specimen=declared)
    whole, light = sway(cut.whole_system), sway(portal(pinned=True, weight=1.0).compile())
    assert whole > 1.15 * light
    assert sway(cut.joined_system) == pytest.approx(whole, rel=1e-7)


def test_both_declarations_stand_beside_the_unsplit_frame() -> None:
    """A fixed column feels its axial force in bending too: declared present it is the unsplit frame to 1e-4, declared
    missing it is a little stiffer, by much less than the second-order force that the strut keeps."""
    frame = portal()
    tied = [("b0", "ux"), ("b0", "rz")]
    missing = sway(split(frame, ["column 0"], tied).joined_system)
    present = sway(split(frame, ["column 0"], tied, on_specimen=["column 0"]).joined_system)
    whole, light = sway(frame.compile()), sway(portal(weight=1.0).compile())
    assert present == pytest.approx(whole, rel=1e-4)
    assert 0.001 < 1.0 - missing / whole < 0.01
    assert 1.0 - light / whole > 0.1


def test_loads_are_put_on_the_specimen_once() -> None:
    """A declared force presses on the tested frame and leaves the computed loads alone; without it the tested frame
    carries no weight at all."""
    frame = portal()
    plain = split(frame, ["column 0"], [("b0", "ux"), ("b0", "rz")])
    assert not plain.tested.node_loads
    assert sum(load.fy for load in plain.computed.node_loads) == pytest.approx(-3 * WEIGHT)
    pressed = split(frame, ["column 0"], [("b0", "ux"), ("b0", "rz")], on_specimen=["column 0"])
    assert pressed.applied["column 0"] == pytest.approx(WEIGHT, rel=1e-3)
    assert sum(load.fy for load in pressed.tested.node_loads) == pytest.approx(0.0)
    assert sum(load.fy for load in pressed.computed.node_loads) == pytest.approx(-3 * WEIGHT)


def test_start_balances_the_parts() -> None:
    """The states of `start` are in equilibrium with each other through the interface alone."""
    frame = portal()
    cut = split(frame, ["column 0"], [("b0", "ux"), ("b0", "rz")])
    states = cut.start()
    left = {part: state.load - state.motion.f for part, state in states.items()}
    joint = [np.linalg.lstsq(cut.pick(part).toarray().T, left[part], rcond=None) for part in left]
    for (force, *_), part in zip(joint, left, strict=True):
        assert np.allclose(cut.pick(part).T @ force, left[part], atol=1e-5 * WEIGHT)
    assert np.allclose(joint[0][0], -joint[1][0], atol=1e-5 * WEIGHT)


def test_weight_without_a_way_down_is_refused() -> None:
    """Loads that would vanish, members that would hang, declarations without meaning: each error says what to do."""
    frame = portal()
    frame.node("c0", 0.0, 6.0)
    frame.member("upper column", "b0", "c0", BeamColumn(E=210e9, A=5e-3, I=2e-5))
    frame.load("c0", fy=-1e5)
    with pytest.raises(InputError, match="on_specimen"):
        split(frame, ["column 0", "upper column"], [("b0", "ux"), ("b0", "rz")])
    frame = portal()
    with pytest.raises(InputError, match="no weight is cut off"):
        split(frame, ["column 0"], on_specimen=["column 0"])
    frame.member_load("column 0", qx=100.0)
    with pytest.raises(InputError, match="along tested member"):
        split(frame, ["column 0"], [("b0", "ux")])


def test_column_is_cut_in_two_that_bend_as_one() -> None:
    """A node within a column changes nothing in statics, with loads along it divided at the cut."""
    frame = portal(geometry="linear")
    frame.member_load("column 1", qx=(500.0, 2000.0), begin=0.5, end=2.5, case="wind")
    frame.member_load("column 1", qx=3000.0, begin=2.0, case="wind", point=True)
    cut = cut_at(frame, "column 1", 1.2)
    assert len(frame.members) + 1 == len(cut.members)
    linear = [sway_without_weight(model) for model in (frame, cut)]
    assert linear[0] == pytest.approx(linear[1], rel=1e-9)
    with pytest.raises(InputError, match="distance of the cut"):
        cut_at(frame, "column 1", 3.0)


def sway_without_weight(frame: Frame) -> float:
    return float(static(frame.compile(), None, "wind").displacement("b2")[-1])


def test_moment_lost_at_a_hinge_in_the_cut() -> None:
    """The lost moment is the diagram's value at the cut: nothing at the point of inflection, more away from it."""
    frame = portal(geometry="linear")
    whole = static(frame.compile(), None, "wind")
    ends = whole.end_forces("column 0")
    bottom, top = -ends["M_start"][-1], ends["M_end"][-1]
    inflection = 3.0 * bottom / (bottom - top)
    shares = []
    for height in (inflection, 0.5 * inflection):
        model = cut_at(frame, "column 0", height)
        cut = split(model, ["column 0 start"], [("column 0 cut", "ux"), ("column 0 cut", "uy")])
        run = static(cut.whole_system, None, "wind")
        lost = lost_forces(cut, run, {"column 0 cut": 5e4})
        assert list(lost) == [("column 0 cut", "rz")]
        shares.append(lost["column 0 cut", "rz"])
    assert shares[0].peak < 1e-8 * abs(bottom)
    assert shares[1].peak == pytest.approx(0.5 * abs(bottom), rel=1e-8)
    assert shares[1].share == pytest.approx(shares[1].peak / 5e4)


def test_cut_at_the_inflection_moves_as_the_whole() -> None:
    """A hinge at the point of inflection of the acting load leaves the sway as it was, with the weight on a strut."""
    frame = portal()
    ends = static(frame.compile(), gravity(frame.compile()).state, "wind").end_forces("column 0")
    bottom, top = -ends["M_start"][-1], ends["M_end"][-1]
    model = cut_at(frame, "column 0", 3.0 * bottom / (bottom - top))
    cut = split(model, ["column 0 start"], [("column 0 cut", "ux")])
    assert [strut.bottom for strut in cut.struts] == ["a0"]
    assert sway(cut.joined_system) == pytest.approx(sway(cut.whole_system), rel=0.01)


def test_effect_of_missing_axial_force_is_estimated_both_ways() -> None:
    """A column whose hinge weakens under axial force is stronger without it, and the report says by how much."""
    hinge = AxialMomentHinge(linear(), Np=1.2e6, Mp=3e4, kN=1e11, kM=8e7, hardening=1e5)
    frame = portal(hinge=hinge)
    cut = split(frame, ["column 0"], [("b0", "ux"), ("b0", "rz")])

    def run(system: System, state: State) -> Response:
        return push(system, state, "wind", node="b2", target=0.05, steps=40)

    effect = axial_effect(cut, run)
    found = effect.columns["column 0"]
    assert abs(found.compression["missing"]) < 1e-3 * WEIGHT
    assert found.compression["present"] == pytest.approx(WEIGHT, rel=0.2)
    assert found.moment["present"] == pytest.approx(found.moment["whole"], rel=0.03)
    assert effect.change("column 0") > 0.05
    assert f"{effect.change('column 0'):+.1%}" in effect.summary()
    with pytest.raises(InputError, match="lost its axial force"):
        axial_effect(split(frame, ["column 0"]), run)
