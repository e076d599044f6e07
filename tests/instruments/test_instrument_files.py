"""Readings go to CSV and HDF5 and come back the same, with units, raw data and checksums."""

import hashlib
import json

import h5py
import numpy as np
import pytest

from frame2d.component_tests import read_raw
from frame2d.errors import InputError
from frame2d.instruments import (
    load_readings,
    read_recording,
    save_readings,
    write_quantities,
    write_recording,
)
from frame2d.instruments.reading_maps import from_data


def test_csv_there_and_back(sensors, recordings, tmp_path):
    """A recording written as CSV is read back to the last digit, gaps included, and its checksum is the file's."""
    slow = recordings[1]
    slow.columns["D1"][5] = np.nan
    path = tmp_path / "slow.csv"
    digest = write_recording(path, slow, comment="invented")
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# invented\ntime [s],LT1 [mm]")
    back = read_recording(path, sensors, "slow")
    assert digest == back.checksum == hashlib.sha256(path.read_bytes()).hexdigest()
    assert np.array_equal(back.time, slow.time)
    for name, column in slow.columns.items():
        assert np.array_equal(back.columns[name], column, equal_nan=True)
    assert not list(tmp_path.glob(".*"))
    slow.columns["D1"][5] = slow.columns["D1"][4]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("LT2 [mm]", "LT2 [m]", "in 'm' by its header and in 'mm' by the sensor map"),
        ("LT2 [mm]", "LT9 [mm]", "column is 'LT9'"),
        ("LT2 [mm]", "JS [mm]", "is on clock 'main'; allowed: 'slow'"),
        ("time [s]", "time [mm]", "unit of column 'time'"),
    ],
)
def test_headers_must_agree_with_the_map(sensors, recordings, tmp_path, old, new, message):
    """A unit in the header that is not the declared one, and channels that do not belong, are refused."""
    path = tmp_path / "slow.csv"
    write_recording(path, recordings[1])
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_recording(path, sensors, "slow")


def test_missing_channels_are_named(sensors, recordings, tmp_path):
    """A file that lacks a channel of its clock says which."""
    path = tmp_path / "main.csv"
    write_recording(path, recordings[1])
    with pytest.raises(InputError, match="is on clock 'slow'; allowed: 'main'"):
        read_recording(path, sensors, "main")
    from dataclasses import replace

    short = {name: column for name, column in recordings[1].columns.items() if name != "BE"}
    write_recording(path, replace(recordings[1], columns=short))
    with pytest.raises(InputError, match="lacks channels BE"):
        read_recording(path, sensors, "slow")


def test_hdf5_there_and_back(sensors, readings, quantities, tmp_path):
    """Processed data, raw data beside, quantities, lags, findings and processing come back the same."""
    path = tmp_path / "test.h5"
    save_readings(path, sensors, readings, quantities)
    back, found = load_readings(path)
    assert np.array_equal(back.time, readings.time) and list(back.values) == list(readings.values)
    assert all(np.array_equal(back[name], readings[name]) for name in readings.values)
    assert back.lags == readings.lags and back.processing == readings.processing
    assert [r.clock for r in back.raw] == [r.clock for r in readings.raw]
    assert np.array_equal(back.raw[1].columns["D1"], readings.raw[1].columns["D1"])
    assert back.raw[1].units == readings.raw[1].units
    assert set(found) == set(quantities)
    for name, quantity in quantities.items():
        assert np.array_equal(found[name].value, quantity.value) and found[name].unit == quantity.unit
        assert found[name].amplification == quantity.amplification and found[name].weights == quantity.weights
    with h5py.File(path) as file:
        assert file["processed/LT1"].attrs["units"] == "m" and file["raw/slow/LT1"].attrs["units"] == "mm"
        assert file["processed/JF"].attrs["sign"] == -1
        assert from_data(json.loads(file.attrs["map"]), sensors.frame) == sensors
        assert file["quantities/left hinge moment/value"].attrs["units"] == "N·m"


def test_changed_data_are_refused(sensors, readings, tmp_path):
    """One changed number breaks the checksum of its data set, which is named."""
    path = tmp_path / "test.h5"
    save_readings(path, sensors, readings)
    with h5py.File(path, "r+") as file:
        file["raw/main/SG04"][17] += 1e-6
    with pytest.raises(InputError, match="/raw/main/SG04 does not have the checksum"):
        load_readings(path)
    with h5py.File(path, "r+") as file:
        file.attrs["format"] = "other"
    with pytest.raises(InputError, match="allowed: 'frame2d/readings/1'"):
        load_readings(path)


def test_quantities_as_a_table(quantities, tmp_path):
    """Quantities go to CSV with their units, uncertainty and validity."""
    path = tmp_path / "q.csv"
    chosen = {name: quantities[name] for name in ("left hinge moment", "brace elongation")}
    digest = write_quantities(path, chosen)
    raw = read_raw(path)
    assert digest == raw.checksum
    assert raw.units["left hinge moment"] == "N·m" and raw.units["brace elongation sigma"] == "m"
    assert np.array_equal(raw.column("brace elongation"), chosen["brace elongation"].value)
    assert np.all(raw.column("left hinge moment valid") == 1.0)
    with pytest.raises(InputError, match="no quantities"):
        write_quantities(path, {})
