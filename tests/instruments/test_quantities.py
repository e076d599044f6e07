"""Quantities follow their closed forms, meet the truth without errors, and hold it within their uncertainty with them."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from examples.strain_gauges import CLOCKS, FY, LINK, SAME
from frame2d import BeamColumn, Frame, gravity, time_history
from frame2d.errors import InputError
from frame2d.instruments import (
    Channel,
    End,
    Section,
    Zone,
    budget,
    coverage,
    derive,
    reduce,
    section_forces,
    sensor_map,
    synchronise,
    true_channels,
    true_quantities,
    virtual_recordings,
    work_of,
)


def test_a_strain_pair_gives_curvature_moment_and_force(sensors):
    """κ = (εb − εt)/d, M = EIκ, N = EA(εb + εt)/2, with the top on the local +y side."""
    table, place = derive(sensors), sensors.places["beam left"]
    beam = sensors.frame.members["beam"].member
    assert table["beam left curvature"].weights == pytest.approx({"SG10": 1 / 0.3, "SG09": -1 / 0.3})
    assert table["beam left moment"].weights["SG10"] == pytest.approx(beam.E * beam.I / 0.3)
    assert table["beam left axial force"].weights == pytest.approx(
        dict.fromkeys(("SG09", "SG10"), beam.E * beam.A / 2)
    )
    assert place.elastic_strain == pytest.approx(0.9 * FY / 210e9)


def test_own_stiffness_of_a_section_replaces_the_members(sensors):
    """E, A and I that a section declares are those it is read with."""
    places = {**sensors.places, "beam left": replace(sensors.places["beam left"], I=1e-4, A=5e-3)}
    table = derive(replace(sensors, places=places))
    assert table["beam left moment"].weights["SG10"] == pytest.approx(210e9 * 1e-4 / 0.3)
    assert table["beam left axial force"].weights["SG10"] == pytest.approx(210e9 * 5e-3 / 2)


@pytest.mark.parametrize(("r", "expected"), [(1.5, 1.6), (2.0, 2.2), (3.0, 3.6)])
def test_extrapolation_amplifies_noise(frame, r, expected):
    """Noise of M* grows by √((1 − r)² + r²): 1.6, 2.2 and 3.6 for r = 1.5, 2 and 3."""
    sections = [Section("s", "column A", 3.4, 0.2, FY), Section("t", "column A", 3.4 - 3.4 / r, 0.2, FY)]
    channels = [
        Channel(f"{s}{face}", "strain", s, "µε", face=face, noise=1.0)
        for s in "st"
        for face in ("left", "right")
    ]
    sensors = sensor_map(frame, [*sections, End("foot", "column A", "A0", ("s", "t"))], channels)
    row = derive(sensors)["foot moment"]
    assert row.amplification == pytest.approx(expected, abs=0.05)
    assert row.amplification == pytest.approx(np.hypot(1 - r, r))
    scatter = np.sqrt(sum(w**2 for w in row.weights.values()))
    single = np.sqrt(sum(w**2 for w in derive(sensors)["s moment"].weights.values()))
    assert scatter == pytest.approx(row.amplification * single)


def test_a_panel_is_read_from_its_diagonals(sensors):
    """γ = √(a² + b²)(Δ₁ − Δ₂)/(2ab)."""
    k = np.hypot(0.24, 0.28) / (2 * 0.24 * 0.28)
    assert derive(sensors)["panel distortion"].weights == pytest.approx({"D1": k, "D2": -k})


def test_rotation_leaves_the_elastic_share_out(sensors):
    """Transducer pair over its arm, less the moment at its middle times its length over EI."""
    weights = derive(sensors)["left hinge rotation"].weights
    beam = sensors.frame.members["beam"].member
    assert weights["LT2"] == pytest.approx(1 / 0.35) and weights["LT1"] == pytest.approx(-1 / 0.35)
    values = {"SG09": -1e-4, "SG10": 1e-4, "SG11": 1e-4, "SG12": -1e-4}  # M antisymmetric about the middle
    M = beam.E * beam.I * 2e-4 / 0.3 * (2.5 - 0.3) / 1.5
    elastic = sum(-weights.get(name, 0.0) * value for name, value in values.items())
    assert elastic == pytest.approx(0.4 * M / (beam.E * beam.I), rel=1e-9)


def test_sections_agree_with_the_inner_forces_of_the_response(response):
    """N, V and M at a distance are those that `along` finds, step by step."""
    for member in ("beam", "column B"):
        for step in (50, 200):
            curve = response.along(member, step, points=11)
            for k in (2, 7):
                N, V, M = (values[step] for values in section_forces(response, member, curve.x[k]))
                assert pytest.approx((curve.N[k], curve.V[k], curve.M[k]), rel=1e-9, abs=1e-3) == (N, V, M)


@pytest.fixture(scope="module")
def shaken():
    """A second-order frame with loaded beams under a short motion."""
    frame = Frame("invented sway frame")
    column = BeamColumn(210e9, 0.0118, 1.49e-4, geometry="p-delta")
    beam = BeamColumn(210e9, 0.0054, 8.36e-5, start=LINK, end=LINK)
    for axis in range(2):
        frame.node(f"{axis}0", 5.0 * axis, 0.0, "fixed")
        frame.node(f"{axis}1", 5.0 * axis, 3.5, mass=40e3)
        frame.load(f"{axis}1", fy=-400e3)
        frame.member(f"column {axis}", f"{axis}0", f"{axis}1", column)
    frame.member("beam", "01", "11", beam, device=True)
    frame.member_load("beam", qy=(-5e3, -9e3), begin=0.5, end=4.0)
    frame.member_load("beam", qx=3e3, qy=-20e3, begin=2.0, point=True)
    frame.floor("floor", ["01", "11"])
    standing = gravity(frame.compile())
    t = np.arange(0.0, 3.0, 0.01)
    record = SimpleNamespace(
        acceleration=5.0 * np.sin(7.0 * t) * np.sin(np.pi * t / 3.0), dt=0.01, name="invented"
    )
    return time_history(standing.system, record, standing.state)


def test_loaded_and_second_order_members_are_read_right(shaken):
    """Section forces hold member loads and N times the deflection, as `along` does."""
    for member in ("beam", "column 0"):
        curve = shaken.along(member, 150, points=21)
        for k in (3, 12, 18):
            N, V, M = (values[150] for values in section_forces(shaken, member, curve.x[k]))
            assert pytest.approx((curve.N[k], curve.V[k]), rel=1e-9) == (N, V)
            assert pytest.approx(curve.M[k], rel=1e-3, abs=2e-3 * np.abs(curve.M).max()) == M


def test_balanced_gauges_see_through_standing_loads(shaken):
    """Gravity on the beam does not spoil moments that are extrapolated from balanced gauges, in a time history."""
    sections = [Section("a", "beam", 1.0, 0.3, FY), Section("b", "beam", 4.0, 0.3, FY)]
    gauges = [Channel(f"{s}{f}", "strain", s, "µε", face=f) for s in "ab" for f in ("top", "bottom")]
    zone = Zone("z", "beam: start hinge", "beam", 0.0, ("a", "b"), 0.0, 0.2, 0.3)
    pair = [Channel(f"z{f}", "transducer", "z", "mm", face=f) for f in ("top", "bottom")]
    sensors = sensor_map(shaken.system.frame, [*sections, zone], gauges + pair)
    readings = synchronise(sensors, virtual_recordings(sensors, shaken, 0, errors=False))
    truth, found = true_quantities(sensors, shaken), reduce(sensors, readings)
    for name in ("z moment", "z shear", "z rotation", "z total rotation", "b moment", "a axial force"):
        assert found[name].value == pytest.approx(truth[name], abs=1e-6 * np.abs(truth[name]).max() + 1e-9), (
            name
        )
    assert np.abs(truth["z rotation"]).max() > 1e-3


def test_second_order_columns_are_read_across_their_axis(shaken):
    """A leaning column's gauges see V + N·slope; its head moment needs the standing compression, and then fits to 4 %."""
    sections = [Section("a", "column 0", 0.7, 0.2, FY), Section("b", "column 0", 2.7, 0.2, FY)]
    gauges = [Channel(f"{s}{f}", "strain", s, "µε", face=f) for s in "ab" for f in ("left", "right")]
    gaps = {}
    for compression in (0.0, 430e3):
        places = [*sections, End("head", "column 0", "01", ("a", "b"), compression)]
        sensors = sensor_map(shaken.system.frame, places, gauges)
        found = reduce(sensors, synchronise(sensors, virtual_recordings(sensors, shaken, 0, errors=False)))
        truth = true_quantities(sensors, shaken)
        for name in ("head shear", "head moment"):
            scale = np.abs(truth[name]).max()
            gaps[name, compression] = np.abs(found[name].value - truth[name]).max() / scale
    assert gaps["head shear", 0.0] < 0.02
    assert gaps["head moment", 0.0] > 0.08 and gaps["head moment", 430e3] < 0.04
    assert derive(sensors)["head moment"].amplification < np.hypot(0.4, 1.4)
    plain = section_forces(shaken, "column 0", 1.7)[1]
    assert np.abs(found["head shear"].value - (plain - plain[0])).max() > 0.03 * np.abs(plain).max()
    with pytest.raises(InputError, match="compression"):
        sensor_map(shaken.system.frame, [*sections, End("head", "column 0", "01", ("a", "b"), 8e6)], gauges)


def test_faultless_sensors_give_the_truth(sensors, response, clock):
    """Without errors every quantity of every kind equals that of the response itself."""
    readings = synchronise(
        sensors, virtual_recordings(sensors, response, 0, time=clock, errors=False), same=SAME
    )
    truth = true_quantities(sensors, response)
    assert set(truth) == set(derive(sensors))
    for name, quantity in reduce(sensors, readings).items():
        scale = np.abs(truth[name]).max()
        on = np.interp(quantity.time, clock, truth[name])
        # The clocks' lag is found as a number near 0, not as 0.
        assert np.abs(quantity.value - on).max() < 2e-4 * scale + 50.0 * (quantity.unit == "N"), name


def test_strains_beyond_the_elastic_range_are_flagged(sensors, response, clock):
    """Where a gauge passes 0.9 fy/E less its standing strain, what rests on its section is not valid, and only there."""
    weaker = replace(sensors.places["beam left"], fy=100e6, standing=1e-4)
    other = replace(sensors, places={**sensors.places, "beam left": weaker})
    readings = synchronise(other, virtual_recordings(other, response, 0, time=clock, errors=False), same=SAME)
    found = reduce(other, readings, ["left hinge moment", "left hinge rotation", "head of A moment"])
    expected = np.maximum(np.abs(readings["SG09"]), np.abs(readings["SG10"])) < 0.9 * 100e6 / 210e9 - 1e-4
    assert 0 < expected.sum() < expected.size
    assert np.array_equal(found["left hinge moment"].valid, expected)
    assert np.array_equal(found["left hinge rotation"].valid, expected)
    assert found["head of A moment"].valid.all()
    assert "beyond the elastic strain" in str(found["left hinge moment"])
    assert "noise × " in str(found["head of A moment"])


def test_uncertainty_is_the_first_order_sum(sensors, readings):
    """σ² = Σ w²(noise² + resolution²/12 + zero²) + Σ (w·gain error·c)² + lag, written out for one moment."""
    found = reduce(sensors, readings, ["beam left moment"])["beam left moment"]
    w = found.weights["SG10"]
    each = (1.5e-6) ** 2 + (1e-6) ** 2 / 12.0 + (2e-6) ** 2
    gains = 0.005**2 * (readings["SG09"] ** 2 + readings["SG10"] ** 2)
    assert found.sigma == pytest.approx(w * np.sqrt(2.0 * each + gains), rel=1e-9)
    assert readings.lags["slow"][1] > 0.0
    rotation = reduce(sensors, readings, ["left hinge total rotation"])["left hinge total rotation"]
    still = replace(readings, lags={})
    assert (rotation.sigma > reduce(sensors, still, [rotation.name])[rotation.name].sigma).any()


def test_the_budget_says_where_uncertainty_comes_from(sensors, readings, quantities):
    """The sources' squares add up to the mean square of σ; only transducers on the late clock depend on it."""
    found = budget(sensors, readings)
    for name, sources in found.items():
        whole = np.sqrt(np.mean(quantities[name].sigma ** 2))
        assert sources["all"] == pytest.approx(whole)
        assert sum(v**2 for k, v in sources.items() if k != "all") == pytest.approx(whole**2)
    assert found["beam left moment"]["clock"] == 0.0 < found["left hinge rotation"]["clock"]
    assert found["brace force"]["zero"] == 0.0 < found["brace force"]["gain"]


def test_a_doubtful_stiffness_widens_what_rests_on_it(sensors, readings):
    """`model_error` adds its share of the value to moments and forces."""
    places = dict(sensors.places)
    for name in ("beam left", "beam right"):
        places[name] = replace(places[name], model_error=0.03)
    plain = reduce(sensors, readings, ["left hinge moment"])["left hinge moment"]
    wide = reduce(replace(sensors, places=places), readings, ["left hinge moment"])["left hinge moment"]
    assert wide.sigma == pytest.approx(np.hypot(plain.sigma, 0.03 * plain.value))


def test_truth_lies_within_two_sigma_about_95_percent_of_the_time(sensors, response, clock):
    """Over 16 virtual tests the truth of every quantity lies within ±2σ in 92 to 98 % of samples, and works scatter by 1σ."""
    truth = true_quantities(sensors, response)
    pairs = [
        ("left hinge", "moment", "rotation"),
        ("panel", "moment", "distortion"),
        ("brace", "force", "elongation"),
    ]
    true_work = {
        name: np.concatenate([[0.0], np.cumsum(0.5 * (F[1:] + F[:-1]) * np.diff(u))])
        for name, a, b in pairs
        for F, u in [(truth[f"{name} {a}"], truth[f"{name} {b}"])]
    }
    shares, pulls = [], []
    for seed in range(16):
        recordings = virtual_recordings(sensors, response, seed, CLOCKS, time=clock)
        readings = synchronise(sensors, recordings, same=SAME)
        found = reduce(sensors, readings)
        shares.append([coverage(quantity, clock, truth[name]) for name, quantity in found.items()])
        for name, a, b in pairs:
            work = work_of(sensors, readings, found[f"{name} {a}"], found[f"{name} {b}"])
            pulls.append(
                (
                    work.value[-1]
                    - np.interp(work.time[-1], clock, true_work[name])
                    - _offset(true_work[name], work, clock)
                )
                / work.sigma[-1]
            )
    assert 0.92 < np.mean(shares) < 0.98
    assert np.mean(shares, axis=0).min() > 0.8
    # 48 works at the end of the test, over their standard deviation.
    assert 0.75 < np.std(pulls) < 1.3 and abs(np.mean(pulls)) < 0.45


def _offset(true, work, clock):
    """Work before the readings begin, which they do not count."""
    return -np.interp(work.time[0], clock, true)


def test_channels_need_the_right_unit_and_time(sensors, response):
    """A virtual test on times that do not fit is refused."""
    with pytest.raises(InputError, match="growing"):
        virtual_recordings(sensors, response, 0, time=np.zeros(response.time.size))
    with pytest.raises(InputError, match="clock"):
        virtual_recordings(sensors, response, 0, {"main": CLOCKS["main"]})


def test_actuators_push_what_the_built_members_need(sensors, response):
    """The jack's force is the load factor of the push; with part of the frame built it is that part's share."""
    force = true_channels(sensors, response)["JF"]
    assert force == pytest.approx(response.factor - response.factor[0], abs=1.0)
    alone = replace(sensors, specimen=("column A", "column B", "beam", "panel"))
    without = true_channels(alone, response)["JF"]
    c = 5.0 / np.hypot(5.0, 3.5)
    axial = response.device("brace").force
    assert without == pytest.approx(force - c * (axial - axial[0]), abs=10.0)


def test_a_spring_between_nodes_is_read_either_way_round():
    """A zero-length rotational device beside a beam gives its own signs, also where it runs against the beam."""
    from frame2d.analysis import cyclic
    from frame2d.elements import Link
    from frame2d.instruments import check_closure, measured_loops
    from frame2d.materials import Bilinear

    law = Bilinear(k=1e7, Fy=40e3, b=0.02)
    for reversed_ in (False, True):
        frame = Frame("invented cantilever on a spring")
        frame.node("wall", 0.0, 0.0, "fixed")
        frame.node("start", 0.0, 0.0)
        frame.node("tip", 3.0, 0.0)
        frame.tie("uy", ["wall", "start"])
        frame.tie("ux", ["wall", "start"])
        frame.member("beam", "start", "tip", BeamColumn(210e9, 0.0054, 8.36e-5))
        ends = ("start", "wall") if reversed_ else ("wall", "start")
        frame.link("spring", *ends, Link(rotation=law))
        frame.load("tip", fy=1.0, case="push")
        sections = [Section("a", "beam", 0.8, 0.3, FY), Section("b", "beam", 2.0, 0.3, FY)]
        gauges = [Channel(f"{s}{f}", "strain", s, "µε", face=f) for s in "ab" for f in ("top", "bottom")]
        device = "-spring" if reversed_ else "spring"
        zone = Zone("z", device, "beam", 0.0, ("a", "b"), 0.0, 0.2, 0.3)
        pair = [Channel(f"z{f}", "transducer", "z", "mm", face=f) for f in ("top", "bottom")]
        sensors = sensor_map(frame, [*sections, zone], gauges + pair)
        turns = 0.06 * np.sin(np.linspace(0.0, 4.0 * np.pi, 81))
        response = cyclic(frame.compile(), None, "push", node="tip", component="uy", history=turns)
        readings = synchronise(sensors, virtual_recordings(sensors, response, 0, errors=False))
        found, truth = reduce(sensors, readings), true_quantities(sensors, response)
        for name, quantity in found.items():
            assert quantity.value == pytest.approx(
                truth[name], abs=1e-6 * np.abs(truth[name]).max() + 1e-9
            ), name
        loop, own = measured_loops(sensors, found)["spring"], response.device("spring")
        assert loop.force == pytest.approx(own.force, abs=1.0) and np.abs(own.force).max() > 40e3
        assert loop.deformation == pytest.approx(own.deformation, abs=1e-7)
        assert check_closure(sensors, readings).passed


def test_a_hinge_of_force_and_moment_stretches_too():
    """Transducers over an axial force-moment hinge give its rotation; its stretch is no error of theirs."""
    from frame2d.analysis import cyclic
    from frame2d.instruments import check_closure
    from frame2d.materials.axial_moment import AxialMomentHinge
    from frame2d.materials.yield_surface import rolled_section

    hinge = AxialMomentHinge(rolled_section(), 1.5e6, 80e3, 2e9, 3e7, 2e5)
    frame = Frame("invented post")
    frame.node("foot", 0.0, 0.0, "fixed")
    frame.node("head", 0.0, 3.0)
    frame.member("post", "foot", "head", BeamColumn(210e9, 0.0078, 5.7e-5, start=hinge))
    frame.load("head", fx=1.0, fy=-6.0, case="push")
    sections = [Section("a", "post", 0.8, 0.2, FY), Section("b", "post", 2.0, 0.2, FY)]
    gauges = [Channel(f"{s}{f}", "strain", s, "µε", face=f) for s in "ab" for f in ("left", "right")]
    zone = Zone("z", "post", "post", 0.0, ("a", "b"), 0.0, 0.2, 0.3)
    pair = [Channel(f"z{f}", "transducer", "z", "mm", face=f) for f in ("left", "right")]
    sensors = sensor_map(frame, [*sections, zone], gauges + pair)
    way = 0.05 * np.sin(np.linspace(0.0, 4.0 * np.pi, 121))
    response = cyclic(frame.compile(), None, "push", node="head", history=way)
    readings = synchronise(sensors, virtual_recordings(sensors, response, 0, errors=False))
    found, truth = reduce(sensors, readings), true_quantities(sensors, response)
    for name in ("z moment", "z rotation", "z total rotation"):
        assert found[name].value == pytest.approx(truth[name], abs=1e-6 * np.abs(truth[name]).max()), name
    stretch = readings["zleft"] + readings["zright"]
    assert np.abs(stretch).max() > 1e-5
    closure = check_closure(sensors, readings)
    assert closure.passed and not any("length" in check.name for check in closure.checks)
