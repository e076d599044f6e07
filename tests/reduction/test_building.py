"""Buildings of plane frames with torsion, against closed forms; and their reduction to one frame."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import eigh

from frame2d.analysis import Outcome, gravity, modes, time_history
from frame2d.demo.building import demo_frame
from frame2d.demo.prototype import SHARE, prototype
from frame2d.elements import BeamColumn, Link
from frame2d.errors import InputError
from frame2d.materials import Bilinear
from frame2d.model import Frame
from frame2d.motions.record import Record
from frame2d.reduction import (
    Building,
    building_history,
    building_modes,
    centres_of_stiffness,
    loaded_frame,
    own_weights,
    plane_frame,
    push_building,
)

E, H = 210e9, 3.0


def shear_frame(stiffness: float, storeys: int = 1, weight: float = 0.0, geometry: str = "linear") -> Frame:
    """A column whose heads cannot turn: 12EI/h³ = `stiffness` in every storey."""
    frame = Frame("shear frame")
    frame.node("0", 0.0, 0.0, support="fixed")
    column = BeamColumn(E, 1e-2, stiffness * H**3 / (12.0 * E), geometry=geometry)
    for level in range(1, storeys + 1):
        frame.node(str(level), 0.0, H * level, support=("rz",))
        frame.member(f"column {level}", str(level - 1), str(level), column)
        frame.floor(f"floor {level}", [str(level)])
        if weight:
            frame.load(str(level), fy=-weight)
    return frame


def one_way_asymmetric(e: float = 1.5) -> tuple[Building, dict[str, float]]:
    """One storey; one frame along y at distance `e` from the centre of mass, two equal frames along x."""
    v = {"m": 1e5, "a": 12.0, "b": 8.0, "ky": 4e7, "kx": 3e7, "d": 8.0, "e": e}
    building = Building()
    building.floor("floor 1", H, v["m"], (e, 0.0), size=(v["a"], v["b"]))
    building.frame("A", shear_frame(v["ky"]), "y", 0.0)
    building.frame("B", shear_frame(v["kx"]), "x", (-0.5 * v["d"], 0.5 * v["d"]))
    return building, v


def test_a_one_way_asymmetric_storey_has_the_periods_of_its_closed_form():
    """Lateral-torsional pair by (ωy² − λ)(ωθ² − λ) = (e/r)²·ωy⁴, kθ = e²ky + d²kx/2; the symmetric way by 2kx.

    Chopra, Dynamics of Structures, one-way asymmetric system (equations of motion of §9.5, modes of ch. 10, from
    memory; recomputed here).
    """
    building, v = one_way_asymmetric()
    found = building_modes(building.compile(), None, None)
    r2 = (v["a"] ** 2 + v["b"] ** 2) / 12.0
    wy2 = v["ky"] / v["m"]
    wt2 = (v["e"] ** 2 * v["ky"] + 0.5 * v["d"] ** 2 * v["kx"]) / (v["m"] * r2)
    half = 0.5 * (wy2 + wt2)
    split = np.sqrt(half**2 - wy2 * wt2 + v["e"] ** 2 / r2 * wy2**2)
    expected = sorted([half - split, half + split, 2.0 * v["kx"] / v["m"]])
    assert (2.0 * np.pi / found.period) ** 2 == pytest.approx(expected, rel=1e-10)
    # Rotation per unit of uy in each of the coupled modes: (λ − ωy²)/(e·ωy²)·(−1)… from the first equation of motion.
    for mode in (0, 2):
        lam = (2.0 * np.pi / found.period[mode]) ** 2
        _, uy, turn = found.shapes[0, :, mode]
        assert turn / uy == pytest.approx((lam - wy2) / (-v["e"] * wy2), rel=1e-8)
    assert found.effective_mass.sum(axis=0) == pytest.approx([v["m"], v["m"]], rel=1e-10)
    assert found.kind(1) == "y" and found.kind(2) == "x" and found.kind(3) == "torsion"
    assert found.character.sum(axis=1) == pytest.approx(np.ones(3))


def test_a_symmetric_storey_building_has_the_periods_of_a_shear_building_and_they_do_not_couple():
    """ωj = 2·√(K/m)·sin((2j − 1)π/(2(2n + 1))) along x, y and, with Σk·d²/(m·r²), in torsion.

    Uniform shear building: Blevins, Formulas for Natural Frequency and Mode Shape, table 6-2 (from memory; recomputed).
    """
    n, m, size, kx, ky = 4, 5e4, (10.0, 6.0), 3e7, 5e7
    building = Building()
    for level in range(1, n + 1):
        building.floor(f"floor {level}", H * level, m, (5.0, 3.0), size=size)
    building.frame("X", shear_frame(kx, n), "x", (0.0, 6.0))
    building.frame("Y", shear_frame(ky, n), "y", (0.0, 10.0))
    found = building_modes(building.compile(), None, None)
    wave = 2.0 * np.sin((2.0 * np.arange(1, n + 1) - 1.0) * np.pi / (2.0 * (2 * n + 1)))
    r2 = (size[0] ** 2 + size[1] ** 2) / 12.0
    turning = 2.0 * kx * 3.0**2 + 2.0 * ky * 5.0**2
    for kind, stiffness in (("x", 2.0 * kx), ("y", 2.0 * ky), ("torsion", turning / r2)):
        own = [2.0 * np.pi / found.period[k] for k in range(3 * n) if found.kind(k + 1) == kind]
        assert own == pytest.approx(np.sqrt(stiffness / m) * wave, rel=1e-9), kind
    assert found.character.max(axis=1) == pytest.approx(np.ones(3 * n), abs=1e-9)


def test_forces_beside_the_stiffness_turn_the_floor_by_statics():
    """A push through the centre of mass turns the floor by V·e/kθ and shares itself out by stiffness and arm."""
    building, v = one_way_asymmetric()
    found = push_building(building.compile(), None, "y", target=0.01, steps=2)
    V = found.base_shear("y")[-1]
    assert found.factor[-1] == pytest.approx(V)
    turn = V * v["e"] / (0.5 * v["d"] ** 2 * v["kx"])
    assert found.centre("floor 1")[-1] == pytest.approx([0.0, 0.01, turn], abs=1e-12)
    assert found.frame_shear("B 1")[-1] == pytest.approx(v["kx"] * turn * 0.5 * v["d"])
    assert found.frame_shear("B 2")[-1] == pytest.approx(-v["kx"] * turn * 0.5 * v["d"])
    assert found.point("floor 1", 0.0, 4.0)[-1] == pytest.approx([-4.0 * turn, 0.01 - 1.5 * turn])
    straight = push_building(building.compile(), None, "y", target=0.01, steps=2, eccentricity=-v["e"])
    assert straight.centre("floor 1")[-1, 2] == pytest.approx(0.0, abs=1e-12)


def test_centres_of_stiffness_are_resultants_of_the_frames():
    """Σk·x/Σk across each direction, wherever the mass is."""
    building, _ = one_way_asymmetric()
    building.frame("A2", shear_frame(1e7), "y", 5.0)
    assert centres_of_stiffness(building)["floor 1"] == pytest.approx((1e7 * 5.0 / 5e7, 0.0), abs=1e-9)
    assert np.isnan(centres_of_stiffness(building.holding("uy"))["floor 1"][0])


def test_leaning_weight_softens_all_three_ways():
    """Second-order weight W spread like the mass takes W/h from both translations and W·r²/h from the rotation."""
    weight = 6e6
    m, size, kx, ky = 5e4, (10.0, 6.0), 3e7, 5e7
    building = Building()
    building.floor("floor 1", H, m, (5.0, 3.0), size=size, weight=weight)
    building.frame("X", shear_frame(kx), "x", (0.0, 6.0))
    building.frame("Y", shear_frame(ky), "y", (0.0, 10.0))
    system = building.compile()
    found = building_modes(system, gravity(system).state, None)
    r2 = (size[0] ** 2 + size[1] ** 2) / 12.0
    turning = 2.0 * kx * 3.0**2 + 2.0 * ky * 5.0**2
    expected = {
        "x": (2.0 * kx - weight / H) / m,
        "y": (2.0 * ky - weight / H) / m,
        "torsion": (turning - weight * r2 / H) / (m * r2),
    }
    for k in range(3):
        value = (2.0 * np.pi / found.period[k]) ** 2
        assert value == pytest.approx(expected[found.kind(k + 1)], rel=1e-6)


def test_weight_on_frames_and_weight_that_leans_make_up_the_whole():
    """Own weights act along their frame where it stands; the leaning rest restores sum and moments of the whole weight.

    A column with heads that cannot turn loses 6N/(5h) of its stiffness (consistent geometric stiffness, Przemieniecki
    1968), a leaning one N/h.
    """
    weight, own, m, size, kx, ky = 6e6, 4e5, 5e4, (10.0, 6.0), 3e7, 5e7
    building = Building()
    building.floor("floor 1", H, m, (5.0, 3.0), size=size, weight=weight)
    building.frame("X", shear_frame(kx, weight=own, geometry="p-delta"), "x", (2.0, 4.0))
    building.frame("Y", shear_frame(ky), "y", (0.0, 10.0))
    system = building.compile()
    found = building_modes(system, gravity(system).state, None)
    r2 = (size[0] ** 2 + size[1] ** 2) / 12.0
    extra = 0.2 * 2.0 * own / H
    expected = {
        "x": (2.0 * kx - weight / H - extra) / m,
        "y": (2.0 * ky - weight / H) / m,
        "torsion": (2.0 * kx * 1.0 + 2.0 * ky * 25.0 - weight * r2 / H - extra * 1.0) / (m * r2),
    }
    for k in range(3):
        value = (2.0 * np.pi / found.period[k]) ** 2
        assert value == pytest.approx(expected[found.kind(k + 1)], rel=1e-5)


@given(
    e=st.floats(-3.0, 3.0), ky=st.floats(1e7, 1e8), kx=st.floats(1e7, 1e8), d=st.floats(4.0, 12.0),
    shift=st.tuples(st.floats(-50.0, 50.0), st.floats(-50.0, 50.0)),
)  # fmt: skip
@settings(max_examples=8, deadline=None)
def test_periods_do_not_depend_on_where_the_plan_lies(e, ky, kx, d, shift):
    """Any one-way asymmetric storey, anywhere in plan, has the frequencies of its 3 × 3 stiffness about the mass."""
    building = Building()
    building.floor("floor 1", H, 1e5, (e + shift[0], shift[1]), size=(12.0, 8.0))
    building.frame("A", shear_frame(ky), "y", shift[0])
    building.frame("B", shear_frame(kx), "x", (shift[1] - 0.5 * d, shift[1] + 0.5 * d))
    r2 = (12.0**2 + 8.0**2) / 12.0
    stiffness = [[2 * kx, 0, 0], [0, ky, -e * ky], [0, -e * ky, e * e * ky + 0.5 * d * d * kx]]
    lam = eigh(np.array(stiffness), np.diag([1e5, 1e5, 1e5 * r2]), eigvals_only=True)
    found = building_modes(building.compile(), None, None)
    assert (2.0 * np.pi / found.period) ** 2 == pytest.approx(lam, rel=1e-8)


@pytest.mark.parametrize("direction", ["x", "y"])
@pytest.mark.parametrize("pattern", ["uniform", "triangular", "modal", {"floor 2": 3.0}])
def test_pushes_sum_to_their_factor(direction, pattern):
    """Whatever the pattern and direction, base shear is the load factor, and shares of the storeys follow the pattern."""
    building = Building()
    for level, mass in ((1, 6e4), (2, 4e4)):
        building.floor(f"floor {level}", H * level, mass, (5.2, 3.1), size=(10.0, 6.0))
    building.frame("X", shear_frame(3e7, 2), "x", (0.0, 6.0))
    building.frame("Y", shear_frame(5e7, 2), "y", (0.0, 10.0))
    found = push_building(building.compile(), None, direction, pattern, target=0.02, steps=2)
    assert found.base_shear(direction) == pytest.approx(found.factor, rel=1e-8)
    upper = sum(found.storey_shears(placed.name)["floor 2"][-1] for placed in building.along(direction))
    share = {"uniform": 0.4, "triangular": 8.0 / 14.0, "modal": None}.get(str(pattern), 1.0)
    if share is not None:
        assert upper / found.factor[-1] == pytest.approx(share, rel=1e-8)
    assert found.centre("floor 2")[-1, "xy".index(direction)] == pytest.approx(0.02)


def test_both_ground_motions_at_once_match_modal_integration_of_the_coupled_storey():
    """A linear one-way asymmetric storey under two records answers as its three modes do, and closes its energy."""
    building, v = one_way_asymmetric()
    dt, steps = 0.005, 400
    rng = np.random.default_rng(3)
    ax, ay = (Record(rng.normal(size=steps).cumsum() * 0.1, dt, name, synthetic=True) for name in ("x", "y"))
    found = building_history(building.compile(), ax, ay)
    r2 = (v["a"] ** 2 + v["b"] ** 2) / 12.0
    mass = np.diag([v["m"], v["m"], v["m"] * r2])
    # Frame A lies e to the left of the centre of mass: uA = uy − e·θ.
    stiffness = np.array(
        [
            [2.0 * v["kx"], 0.0, 0.0],
            [0.0, v["ky"], -v["e"] * v["ky"]],
            [0.0, -v["e"] * v["ky"], v["e"] ** 2 * v["ky"] + 0.5 * v["d"] ** 2 * v["kx"]],
        ]
    )
    lam, phi = eigh(stiffness, mass)
    ground = np.column_stack([ax.acceleration, ay.acceleration, np.zeros(steps)])
    load = -(ground @ mass) @ phi
    # Piecewise exact recursion (Nigam & Jennings 1969) of an undamped mode under a load linear in each step.
    q, qd, history = np.zeros(3), np.zeros(3), [np.zeros(3)]
    w = np.sqrt(lam)
    for k in range(steps - 1):
        p0, rate = load[k], (load[k + 1] - load[k]) / dt
        a, b = q - p0 / lam, (qd - rate / lam) / w
        c, s = np.cos(w * dt), np.sin(w * dt)
        q = a * c + b * s + (p0 + rate * dt) / lam
        qd = w * (b * c - a * s) + rate / lam
        history.append(q)
    exact = np.array(history) @ phi.T
    error = np.abs(found.centre("floor 1") - exact).max(axis=0) / np.abs(exact).max(axis=0)
    assert error.max() < 0.03
    finer = building_history(building.compile(), ax, ay, dt=dt / 4)
    close = np.abs(finer.centre("floor 1")[::4] - exact).max(axis=0) / np.abs(exact).max(axis=0)
    assert close.max() < error.max() / 8.0
    assert finer.imbalance() < 2e-3
    # The floor's absolute acceleration times its mass is what the frames give, but for the scheme's weighting in time.
    for column, direction in enumerate("xy"):
        shear = finer.base_shear(direction)
        apart = v["m"] * finer.acceleration("floor 1")[:, column] + shear
        assert np.abs(apart).max() < 0.03 * np.abs(shear).max()
    total = sum(finer.energies()[part] for part in ("kinetic", "members", "devices", "damped", "algorithmic"))
    assert total[-1] == pytest.approx(finer.energies()["ground"][-1], rel=5e-3)


def test_a_building_held_to_a_plane_answers_as_its_plane_frame_does():
    """With rotation and y held, a building of two equal demo frames equals the reduced frame but for vertical inertia."""
    building = prototype()
    plane = building.holding("uy", "rz").compile()
    frame = loaded_frame(building, "long 1", SHARE)[0]
    # The building leaves vertical inertia out; so must the frame here.
    frame.masses = {node: (mass[0], 0.0, 0.0) for node, mass in frame.masses.items()}
    single = frame.compile()
    record = Record(2.0 * np.sin(2 * np.pi * 1.3 * np.arange(0.0, 2.0, 0.01)), 0.01, "sine", synthetic=True)
    whole = building_history(plane, record, state=gravity(plane).state)
    part = time_history(single, record, gravity(single).state)
    for floor in part.system.frame.floors:
        peak = np.abs(part.floor(floor)).max()
        assert np.abs(whole.frame_floor("long 2", floor) - part.floor(floor)).max() < 1e-5 * peak
    assert whole.device("long 1", "pin 2").work[-1] == pytest.approx(part.device("pin 2").work[-1], rel=1e-4)
    assert np.abs(whole.frame_drifts("long 1")["floor 2"]).max() == pytest.approx(
        np.abs(part.drifts()["floor 2"]).max(), rel=1e-5
    )


def test_the_demo_frame_is_what_the_reduction_of_its_building_finds():
    """The prototype's long frame takes half of each floor; its reduced frame has the demo frame's periods, near 0.8 s."""
    found = plane_frame(prototype(), "long 1", leaning_at=20.0, steps=10)
    assert found.share == pytest.approx(SHARE, abs=1e-9)
    assert found.storey_error < 1e-6 and found.push_error < 1e-6
    assert abs(found.period_error) < 0.005
    assert found.torsion < -0.01
    periods = [
        modes(frame.compile(), gravity(frame.compile()).state, 3).period
        for frame in (found.frame, demo_frame())
    ]
    assert periods[0] == pytest.approx(periods[1], rel=1e-9)
    assert periods[1][0] == pytest.approx(0.80, abs=0.02)
    due, own, leaning = found.weights["floor 3"]
    assert due == pytest.approx(own + leaning) and own / due == pytest.approx(0.3)
    assert "hypothesis" in found.text() and found.as_dict()["share"] == found.share


def test_unequal_frames_share_by_stiffness_and_the_hypothesis_shows_its_error():
    """Elastic shares are k/Σk by storey; a frame that yields first loses share over the push."""
    building = Building()
    for level in (1, 2):
        building.floor(f"floor {level}", H * level, 5e4, (5.0, 0.0), size=(10.0, 10.0))
    weak = Frame("weak")
    weak.node("0", 0.0, 0.0, support="fixed")
    for level, k in ((1, 2e7), (2, 1e7)):
        weak.node(str(level), 0.0, H * level, support=("uy", "rz"))
        weak.link(f"spring {level}", str(level - 1), str(level), Link(axial=Bilinear(k, 2e5, 0.02)))
        weak.floor(f"floor {level}", [str(level)])
    building.frame("strong", shear_frame(3e7, 2), "x", 5.0)
    building.frame("weak", weak, "x", -5.0)
    building.frame("across", shear_frame(3e7, 2), "y", (0.0, 10.0))
    found = plane_frame(building, "strong")
    assert found.storey_shares == pytest.approx(
        {"floor 1": found.share, "floor 2": found.storey_shares["floor 2"]}
    )

    # Two stiffness matrices tied by rigid floors, solved by hand.
    def matrix(lower, upper):
        return np.array([[lower + upper, -upper], [-upper, upper]])

    strong, both = matrix(3e7, 3e7), matrix(3e7, 3e7) + matrix(2e7, 1e7)
    floor_force = strong @ np.linalg.solve(both, np.array([1.0, 2.0]) / 3.0)
    assert found.share == pytest.approx(floor_force.sum(), rel=1e-6)
    assert found.storey_shares["floor 2"] == pytest.approx(floor_force[1] / (2.0 / 3.0), rel=1e-6)
    assert found.storey_error == pytest.approx(abs(found.storey_shares["floor 2"] / found.share - 1.0))
    assert found.push_range[1] > 0.9 and found.push_error > 0.4
    assert abs(found.period_error) > 1e-3


def test_own_columns_that_carry_too_much_are_an_error():
    """A frame whose columns carry more than its share of the weight has no leaning column, and says so."""
    building = Building()
    building.floor("floor 1", H, 5e4, (0.0, 0.0), size=(10.0, 10.0))
    building.frame("stiff", shear_frame(9e7), "x", 5.0)
    building.frame("soft", shear_frame(1e7, weight=1e5), "x", -5.0)
    building.frame("across", shear_frame(3e7), "y", (-5.0, 5.0))
    with pytest.raises(InputError, match=r"would carry -51\.0 kN at 'floor 1'"):
        plane_frame(building, "soft", push_drift=None)
    heavy = Building()
    heavy.floor("floor 1", H, 5e4, (0.0, 0.0), size=(10.0, 10.0), weight=1e5)
    heavy.frame("X", shear_frame(9e7, weight=6e4), "x", (5.0, -5.0))
    with pytest.raises(InputError, match=r"carry 20\.0 kN more"):
        heavy.compile()


def test_loads_along_beams_stand_on_the_columns_below():
    """Own weights count loads along members at the nodes that bear them, floor by floor."""
    frame = Frame()
    for x in (0.0, 6.0):
        frame.node(f"foot {x}", x, 0.0, support="fixed")
        frame.node(f"head {x}", x, H)
        frame.member(f"column {x}", f"foot {x}", f"head {x}", BeamColumn(E, 1e-2, 1e-5))
    frame.member("beam", "head 0.0", "head 6.0", BeamColumn(E, 1e-2, 1e-5))
    frame.member_load("beam", qy=-2e3)
    frame.load("head 0.0", fy=-5e3)
    frame.floor("floor 1", ["head 0.0", "head 6.0"])
    assert own_weights(frame) == pytest.approx({"floor 1": 17e3})


def test_a_drift_limit_watches_both_directions():
    """Collapse by drift along y is found as well as along x."""
    building, _ = one_way_asymmetric()
    system = building.compile()
    still, strong = (Record(np.full(200, a), 0.01, "step", synthetic=True) for a in (0.0, 8.0))
    assert building_history(system, strong, still, drift_limit=0.003).outcome is Outcome.COLLAPSED
    assert building_history(system, still, strong, drift_limit=0.003).outcome is Outcome.COLLAPSED
    assert building_history(system, still, still, drift_limit=0.003).outcome is Outcome.COMPLETED


def test_wrong_buildings_are_named():
    """Masses in frames, floors at other heights, unknown directions and missing records raise errors that name them."""
    building = Building()
    building.floor("floor 1", H, 5e4, size=(10.0, 10.0))
    heavy = shear_frame(1e7)
    heavy.lateral_mass("1", 1e3)
    with pytest.raises(InputError, match="has mass at"):
        building.frame("heavy", heavy, "x", 0.0)
    with pytest.raises(InputError, match="direction"):
        building.frame("frame", shear_frame(1e7), "z", 0.0)
    with pytest.raises(InputError, match="floor of frame"):
        building.frame("tall", shear_frame(1e7, 2), "x", 0.0)
    with pytest.raises(InputError, match="size None and inertia None"):
        building.floor("floor 2", 2 * H, 5e4)
    building.frame("frame", shear_frame(1e7), "x", (0.0, 5.0))
    with pytest.raises(InputError, match="mechanism"):
        building.compile()
    with pytest.raises(InputError, match="no record"):
        building_history(building.holding("uy").compile())
