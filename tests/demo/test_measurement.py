"""What the demo measures in a hybrid test, and what it learns of it: held against the truth that a rehearsal knows."""

from dataclasses import replace

import numpy as np
import pytest

from frame2d.campaign import Criteria, HybridRunner, LimitState
from frame2d.demo import laboratory
from frame2d.demo.measurement import LOGGED, MISTAKEN, TURNED, measured_sections
from frame2d.demo.skeleton import NOMINAL
from frame2d.demo.updating import FREE, Retested
from frame2d.errors import InputError
from frame2d.hybrid import CHECKS
from frame2d.instruments import read_map, virtual_recordings
from frame2d.motions.record import Record
from frame2d.report.contents import check

TIME = np.arange(0.0, 3.0001, 0.005)
PULSE = Record(
    4.5 * np.sin(2 * np.pi * 1.2 * TIME) * np.sin(np.pi * TIME / 3.0) ** 2,
    0.005,
    "invented pulse",
    synthetic=True,
)
#: The tested pin is weaker than the design's by 15 %.
ACTUAL = replace(NOMINAL.pin, Fy=0.85 * NOMINAL.pin.Fy, k=0.95 * NOMINAL.pin.k)


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """Folder, response, both blocks and the numbers of a short hybrid test on the simulated rig."""
    folder = tmp_path_factory.mktemp("measurement")
    runner = HybridRunner(
        laboratory.demo_split(),
        lambda s, state: laboratory.demo_test(s.padded, s.factor, None, state, actual=ACTUAL),
        laboratory.along_brace(), {"pin 1": 0}, override=CHECKS,
    )  # fmt: skip
    begin, state = runner.begin(), LimitState("one", PULSE, 1.0)
    response = runner.run(state, begin, Criteria()).response
    outcome = runner.outcomes["one"]
    found = measured_sections(
        folder, NOMINAL, state.padded, 1.0, begin, response, outcome, quick=True, progress=False
    )
    test = (state.padded, 1.0, begin, response, outcome)
    return folder, response, *found, test


def test_the_truth_lies_within_the_stated_uncertainty(measured):
    """Over all quantities the truth is within ±2σ about as often as it should, and no error is many times its σ."""
    numbers = measured[4]["measurement"]
    assert 0.85 < numbers["mean_share_within_2_sigma"] <= 1.0
    errors = [
        q["rms_error_over_sigma"]
        for q in numbers["quantities"].values()
        if q["rms_error_over_sigma"] is not None
    ]
    assert len(errors) > 60 and max(errors) < 4.0 and 0.5 < np.median(errors) < 1.5
    for name in ("link start", "link end", "splice", "brace with its pin"):
        work = numbers["quantities"][f"work of {name}"]
        assert work["largest"] > 10.0 * work["sigma"]


def test_the_channels_close_and_wrong_ones_are_named(measured):
    """As declared everything closes; the gauge with the wrong sign and the mm that pass for m are named, nothing else."""
    numbers = measured[4]["measurement"]
    assert numbers["closure"]["passed"] and len(numbers["closure"]["checks"]) >= 15
    assert sorted(numbers["spoiled"]["named"]) == sorted([TURNED, MISTAKEN])
    texts = {text.split("'")[1]: text for text in numbers["spoiled"]["texts"]}
    assert "sign were +1" in texts[TURNED] and "in mm, declared m" in texts[MISTAKEN]


def test_the_lag_of_the_second_logger_is_found(measured):
    """The gauges' clock is 137 ms late, found to a tenth of its sample."""
    assert measured[4]["measurement"]["lags_s"]["gauges"][0] == pytest.approx(0.137, abs=4e-4)


def test_the_refit_finds_the_pin_of_the_rig(measured):
    """Stiffness and strength come back to those of the hidden pin, and the led brace then feels the measured forces."""
    numbers = measured[4]["updating"]
    law = numbers["law"]
    assert set(law) == set(FREE)
    assert law["Fy"]["after"] == pytest.approx(ACTUAL.Fy, rel=0.03)
    assert law["k"]["after"] == pytest.approx(ACTUAL.k, rel=0.06)
    led = numbers["led_brace"]
    assert led["after"]["force_nrmse"] < 0.25 * led["before"]["force_nrmse"]
    assert abs(led["after"]["energy_error"]) < 0.02


def test_the_error_is_the_laws_and_falls_with_the_refit(measured):
    """The law has most of the error of the pin's force, an exact cut none; parts add up, and after the refit less is left."""
    numbers = measured[4]["updating"]
    force = numbers["division"]["pin 1 force"]
    parts = [force[name] for name in ("rig", "integration", "reduction", "law")]
    assert sum(parts) == pytest.approx(force["total"], abs=1e-12)
    assert force["law"] == max(parts) and force["law"] > 0.5 * force["total"]
    assert all(d["distances"]["reduction"] < 1e-8 for d in numbers["division"].values())
    for row in numbers["before_and_after"]:
        assert row["error after"] < 0.8 * row["error before"], row["quantity"]


def test_its_sections_and_files_are_what_the_report_takes(measured):
    """Both blocks obey the schema, every picture and file is there, and the map is read back as it was written."""
    folder, response, measurement, updating, *_ = measured
    check({"title": "demo", "measurement": measurement, "updating": updating})
    pictures = [picture["file"] for block in (measurement, updating) for picture in block["pictures"]]
    for name in (*pictures, "recording_main.csv", "recording_gauges.csv", "quantities.csv", "measurement.h5"):
        assert (folder / name).stat().st_size > 1000
    sensors = read_map(folder / "sensors.toml", response.system.frame)
    assert len(sensors.channels) == 44 and sensors.channels["JS"].sign == -1
    assert sensors.at("floors above", "force").name == "SF" and all(name in sensors.places for name in LOGGED)


def test_a_pin_that_had_yielded_is_not_fitted(measured):
    """A test that began with a damaged pin is refused, as its loop does not tell what the pin was when new."""
    folder, response, _, _, _, (record, factor, _, _, outcome) = measured
    damaged = response.state
    with pytest.raises(InputError, match="began with a new pin"):
        measured_sections(
            folder, NOMINAL, record, factor, damaged, response, outcome, quick=True, progress=False
        )


def test_only_the_tested_pin_changes():
    """Laws with a retested pin are those of before but for that pin."""
    new = Retested(NOMINAL.link, NOMINAL.pin, NOMINAL.splice, ACTUAL)
    assert new.at("pin", 1) == ACTUAL and new.at("pin", 2) == NOMINAL.at("pin", 2)
    assert new.at("link", 1) == NOMINAL.at("link", 1)


def test_histories_in_place_of_the_response_must_fit(measured):
    """A history given for a channel has one value a step, and the channel is one of the map."""
    folder, response, *_ = measured
    sensors = read_map(folder / "sensors.toml", response.system.frame)
    for given in ({"BF": np.zeros(3)}, {"XX": np.zeros(response.time.size)}):
        with pytest.raises(InputError, match="given"):
            virtual_recordings(sensors, response, 0, given=given)
