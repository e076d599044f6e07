"""Statics, kinematics and energy close on good channels, and name the channel that is turned round or in another unit."""

from dataclasses import replace

import numpy as np
import pytest

from examples.strain_gauges import CLOCKS, SAME
from frame2d.instruments import check_closure, sensor_map, synchronise, virtual_recordings

NAMES = [
    *(f"SG{k:02d}" for k in range(1, 13)), *(f"LT{k}" for k in range(1, 5)), "D1", "D2", "BE", "BF", "UF", "JS", "JF",
]  # fmt: skip


def test_good_channels_close(sensors, response, clock):
    """No check fails on six sets of good channels with errors, and none is suspected."""
    for seed in range(6):
        recordings = virtual_recordings(sensors, response, seed, CLOCKS, time=clock)
        closure = check_closure(sensors, synchronise(sensors, recordings, same=SAME))
        assert closure.passed and not closure.suspects, str(closure)
        assert not closure.unseen and not closure.unmeasured
        assert {check.name for check in closure.checks} >= {
            "energy",
            "storey first",
            "joint A",
            "work of brace",
        }
    energy = next(check for check in closure.checks if check.name == "energy")
    assert 0.0 < energy.error < energy.bound == 0.05


@pytest.mark.parametrize("name", NAMES)
def test_every_channel_is_named_when_it_is_wrong(sensors, readings, name):
    """A channel that is flipped, or off by 1000 either way, is the only suspect, for certain, with the right factor."""
    assert set(NAMES) == set(sensors.channels)
    for factor in (-1.0, 1e3, 1e-3):
        wrong = replace(readings, values={**readings.values, name: factor * readings[name]})
        closure = check_closure(sensors, wrong)
        assert not closure.passed
        assert [suspect.channel for suspect in closure.suspects] == [name], (factor, str(closure))
        assert closure.suspects[0].factor == pytest.approx(1.0 / factor)
        assert closure.suspects[0].certain
        assert all(check.passed for check in closure.mended)


@pytest.mark.parametrize(
    ("name", "change", "text"),
    [
        ("LT3", {"unit": "m"}, "reads as if it were in mm, declared m"),
        ("SG05", {"unit": "mm/m"}, "reads as if it were in µm/m, declared mm/m"),
        ("BF", {"unit": "N"}, "reads as if it were in kN, declared N"),
        ("UF", {"unit": "cm"}, "reads as if it were in mm, declared cm"),
        ("D2", {"sign": 1}, "reads as if its sign were -1, declared +1"),
        ("JF", {"sign": 1}, "reads as if its sign were -1, declared +1"),
    ],
)
def test_a_wrong_declaration_is_said_in_words(sensors, recordings, name, change, text):
    """A unit or a sign that the map declares wrongly is named with what the readings look like."""
    channels = {**sensors.channels, name: replace(sensors.channels[name], **change)}
    wrong = sensor_map(sensors.frame, sensors.places.values(), channels.values())
    same = SAME if name != "UF" else {"slow": ("BE", "JS")}
    closure = check_closure(wrong, synchronise(wrong, recordings, same=same))
    assert str(closure.suspects[0]) == f"channel {name!r} {text}"


@pytest.mark.parametrize(
    "pair", [("SG02", "LT4"), ("UF", "BF"), ("JS", "JF"), ("SG01", "SG02"), ("JF", "BF")]
)
def test_two_wrong_channels_are_both_named(sensors, readings, pair):
    """Two flipped channels, in one place or in two, are found, also where they hide each other."""
    values = {name: -column if name in pair else column for name, column in readings.values.items()}
    closure = check_closure(sensors, replace(readings, values=values))
    assert {suspect.channel for suspect in closure.suspects} == set(pair)
    assert all(check.passed for check in closure.mended)


def test_nothing_is_changed_in_the_readings(sensors, readings):
    """The readings that are checked stay as they are."""
    wrong = replace(readings, values={**readings.values, "JF": -readings["JF"]})
    before = {name: column.copy() for name, column in wrong.values.items()}
    check_closure(sensors, wrong)
    assert all(np.array_equal(before[name], wrong[name]) for name in before)


def test_an_error_of_ten_percent_fails_without_a_suspect(sensors, readings):
    """A gain that is 12 % off breaks relations, but no sign or unit explains it, and none is blamed."""
    wrong = replace(readings, values={**readings.values, "JF": 1.12 * readings["JF"]})
    closure = check_closure(sensors, wrong)
    failed = {check.name for check in closure.checks if not check.passed}
    assert failed == {"storey first", "energy"} and not closure.suspects
    assert "FAILS: energy" in str(closure)


def test_ambiguity_is_admitted(sensors, readings):
    """With stroke and displacement alone nothing tells which of the two is flipped: both are named."""
    places = [sensors.places[name] for name in ("jack", "floor")]
    channels = [sensors.channels[name] for name in ("UF", "JS")]
    few = sensor_map(sensors.frame, places, channels)
    values = {"UF": readings["UF"], "JS": -readings["JS"]}
    closure = check_closure(few, replace(readings, values=values))
    suspect = closure.suspects[0]
    assert {suspect.channel, *suspect.rivals} == {"UF", "JS"} and not suspect.certain
    assert "(or: " in str(suspect)
    assert set(closure.unmeasured) == {"beam: start hinge", "beam: end hinge", "brace", "panel"}


def test_weight_on_the_columns_belongs_to_the_storey(frame, sensors):
    """With second-order columns under weight the storey closes only when P·u/h is in it."""
    from copy import copy
    from dataclasses import replace as changed

    from examples.strain_gauges import loading
    from frame2d import gravity
    from frame2d.analysis import cyclic
    from frame2d.model.frame import NodeLoad

    heavy = copy(frame)
    heavy.members = {
        name: changed(placed, member=changed(placed.member, geometry="p-delta"))
        if name.startswith("column")
        else placed
        for name, placed in frame.members.items()
    }
    heavy.node_loads = [NodeLoad(f"{a}1", 0.0, -1.2e6, 0.0, "gravity") for a in "AB"]
    system = heavy.compile()
    standing = gravity(system)
    start = standing.displacement("A1")[-1]
    response = cyclic(system, standing.state, {"floor": 1.0}, node="A1", history=start + loading(12))
    errors = []
    for weight in (0.0, 2.4e6):
        storey = changed(sensors.places["first"], weight=weight, height=3.5, point="floor")
        places = {**sensors.places, "first": storey}
        other = sensor_map(heavy, places.values(), sensors.channels.values())
        exact = synchronise(other, virtual_recordings(other, response, 0, errors=False), same=SAME)
        errors.append(next(c.error for c in check_closure(other, exact).checks if c.name == "storey first"))
    assert errors[0] > 0.03 and errors[1] < 0.15 * errors[0]


def test_an_elastic_device_resists_too(frame, sensors):
    """Where a device stays elastic its work says nothing, but force and deformation still go together."""
    from examples.strain_gauges import loading
    from frame2d import gravity
    from frame2d.analysis import cyclic
    from frame2d.instruments import with_laws
    from frame2d.materials import Bilinear

    strong = with_laws(frame, {"panel": Bilinear(k=2.0e7, Fy=200e3, b=0.05)})
    system = strong.compile()
    standing = gravity(system)
    start = standing.displacement("A1")[-1]
    response = cyclic(system, standing.state, {"floor": 1.0}, node="A1", history=start + loading(10))
    other = sensor_map(strong, sensors.places.values(), sensors.channels.values())
    readings = synchronise(other, virtual_recordings(other, response, 3), same=SAME)
    wrong = replace(readings, values={**readings.values, "D1": -readings["D1"]})
    closure = check_closure(other, wrong)
    assert [suspect.channel for suspect in closure.suspects] == ["D1"] and closure.suspects[0].certain
