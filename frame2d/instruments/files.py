"""Data files: recordings as CSV with names and units; processed data as HDF5 with raw data, units and checksums beside.

readings.h5
  raw/CLOCK/time, raw/CLOCK/CHANNEL       as the loggers wrote it, attribute units
  processed/time, processed/CHANNEL       SI on common times
  quantities/NAME/value, sigma, valid     with units, formula
every data set carries the SHA-256 of its bytes in the attribute sha256, raw groups that of their source file
"""

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from frame2d.component_tests import read_raw
from frame2d.errors import InputError, known
from frame2d.instruments.findings import Finding
from frame2d.instruments.quantity import Quantity
from frame2d.instruments.recording import Readings, Recording
from frame2d.instruments.scales import SI, factor_of, spelled
from frame2d.instruments.sensor_map import SensorMap
from frame2d.written import written

FORMAT = "frame2d/readings/1"


def read_recording(
    path: str | Path, sensors: SensorMap, clock: str, *, time: str = "time", **options: Any
) -> Recording:
    """Read the CSV of one logger: a column `time` and one column a channel of that clock, units in the header.

    `options` are those of `frame2d.component_tests.read_raw` (delimiter, decimal, skip, missing). Raises `InputError` for
    channels that are missing or of another clock, and for a header unit that is not the declared one.
    """
    raw = read_raw(path, **options)
    known("clock", clock, {channel.clock for channel in sensors.channels.values()})
    scale = factor_of(f"{raw.source}: unit of column {time!r}", raw.units.get(time) or "s", "time")
    stamps = scale * raw.column(time)
    columns, units = {}, {}
    for name, values in raw.columns.items():
        if name == time:
            continue
        channel = sensors.channels[known(f"{raw.source}: column", name, sensors.channels)]
        if channel.clock != clock:
            raise InputError(
                f"{raw.source}: channel {name!r} is on clock {channel.clock!r}; allowed: {clock!r}"
            )
        printed = raw.units[name]
        if printed and spelled(printed) != spelled(channel.unit):
            raise InputError(
                f"{raw.source}: column {name!r} is in {printed!r} by its header and in {channel.unit!r} by the sensor map; "
                "allowed: one of them. Likely mistake: one of the two was not updated"
            )
        columns[name], units[name] = values, channel.unit
    lost = [n for n, c in sensors.channels.items() if c.clock == clock and n not in columns]
    if lost:
        raise InputError(f"{raw.source} lacks channels {', '.join(lost)}; allowed: all of clock {clock!r}")
    return Recording(clock, stamps, columns, units, raw.source, raw.checksum)


def write_recording(path: str | Path, recording: Recording, *, comment: str = "") -> str:
    """Write a recording as CSV under one header line of names and units; gaps are empty cells; returns its SHA-256.

    The file is written beside and moved into place.
    """
    target = Path(path)
    header = ["time [s]", *(f"{name} [{recording.units.get(name, '')}]" for name in recording.columns)]
    table = np.column_stack([recording.time, *recording.columns.values()])
    rows = [f"# {line}" for line in comment.splitlines()] + [",".join(header)]
    for row in table:
        rows.append(",".join("" if np.isnan(value) else repr(float(value)) for value in row))
    content = ("\n".join(rows) + "\n").encode()
    with written(target) as beside:
        beside.write_bytes(content)
    return hashlib.sha256(content).hexdigest()


def write_quantities(path: str | Path, quantities: Mapping[str, Quantity], *, comment: str = "") -> str:
    """Write quantities on common times as CSV: time, then each value, its standard deviation, and 1 where it is valid;
    returns the file's SHA-256. Raises `InputError` for quantities on different times."""
    if not quantities:
        raise InputError("there are no quantities to write; allowed: at least one")
    time = next(iter(quantities.values())).time
    columns, units = {}, {}
    for name, quantity in quantities.items():
        if quantity.time.shape != time.shape or not np.array_equal(quantity.time, time):
            raise InputError(f"quantity {name!r} has times of its own; allowed: quantities of one reduction")
        entries = ((name, quantity.value, quantity.unit), (f"{name} sigma", quantity.sigma, quantity.unit),
                   (f"{name} valid", quantity.valid.astype(float), "-"))  # fmt: skip
        for label, values, unit in entries:
            columns[label], units[label] = values, unit
    return write_recording(path, Recording("quantities", time, columns, units), comment=comment)


def _digest(values: np.ndarray) -> str:
    return hashlib.sha256(np.ascontiguousarray(values).tobytes()).hexdigest()


def _put(group: h5py.Group, name: str, values: np.ndarray, units: str) -> None:
    data = group.create_dataset(
        name.replace("/", " per "), data=values, compression="gzip", compression_opts=1
    )
    data.attrs["units"], data.attrs["sha256"], data.attrs["name"] = units, _digest(np.asarray(values)), name


def save_readings(
    path: str | Path,
    sensors: SensorMap,
    readings: Readings,
    quantities: Mapping[str, Quantity] | None = None,
) -> None:
    """Write processed data with raw data beside to HDF5, in place only when whole."""
    target = Path(path)
    with written(target) as beside, h5py.File(beside, "w") as file:
        file.attrs["format"], file.attrs["map"] = FORMAT, json.dumps(sensors.describe(), ensure_ascii=False)
        file.attrs["processing"] = json.dumps(readings.processing, ensure_ascii=False)
        file.attrs["findings"] = json.dumps([vars(f) for f in readings.findings], ensure_ascii=False)
        file.attrs["lags"] = json.dumps({name: list(lag) for name, lag in readings.lags.items()})
        file.attrs["order"] = json.dumps(
            {"raw": [r.clock for r in readings.raw], "processed": list(readings.values)}, ensure_ascii=False
        )
        for recording in readings.raw:
            group = file.create_group(f"raw/{recording.clock}")
            group.attrs["source"], group.attrs["file sha256"] = recording.source, recording.checksum
            group.attrs["order"] = json.dumps(list(recording.columns), ensure_ascii=False)
            _put(group, "time", recording.time, "s")
            for name, values in recording.columns.items():
                _put(group, name, values, recording.units.get(name, ""))
        group = file.create_group("processed")
        _put(group, "time", readings.time, "s")
        for name, values in readings.values.items():
            channel = sensors.channels[name]
            _put(group, name, values, SI[channel.dimension(sensors.places[channel.place])])
            group[name.replace("/", " per ")].attrs["sign"] = channel.sign
        for name, quantity in (quantities or {}).items():
            group = file.create_group(f"quantities/{name.replace('/', ' per ')}")
            group.attrs["name"], group.attrs["formula"] = name, quantity.formula
            group.attrs["weights"] = json.dumps(quantity.weights, ensure_ascii=False)
            if quantity.amplification is not None:
                group.attrs["noise amplification"] = quantity.amplification
            _put(group, "time", quantity.time, "s")
            _put(group, "value", quantity.value, quantity.unit)
            _put(group, "sigma", quantity.sigma, quantity.unit)
            _put(group, "valid", quantity.valid, "-")


def load_readings(path: str | Path) -> tuple[Readings, dict[str, Quantity]]:
    """Read what `save_readings` wrote; raises `InputError` naming the data set whose checksum does not hold."""
    with h5py.File(path, "r") as file:
        if file.attrs.get("format") != FORMAT:
            raise InputError(f"{path} has format {file.attrs.get('format')!r}; allowed: {FORMAT!r}")

        def get(data: h5py.Dataset) -> np.ndarray:
            values = np.asarray(data[()])
            if _digest(values) != data.attrs.get("sha256"):
                raise InputError(
                    f"{path}: data set {data.name} does not have the checksum that was stored with it; it was changed or "
                    "damaged after it was written"
                )
            return values

        def columns(group: h5py.Group, order: list[str]) -> dict[str, np.ndarray]:
            return {name: get(group[name.replace("/", " per ")]) for name in order}

        order = json.loads(file.attrs["order"])
        raw = []
        for clock in order["raw"]:
            group = file[f"raw/{clock}"]
            names = json.loads(group.attrs["order"])
            units = {name: str(group[name.replace("/", " per ")].attrs["units"]) for name in names}
            raw.append(Recording(clock, get(group["time"]), columns(group, names), units,
                                 str(group.attrs["source"]), str(group.attrs["file sha256"])))  # fmt: skip
        readings = Readings(
            get(file["processed/time"]),
            columns(file["processed"], order["processed"]),
            tuple(raw),
            {name: (lag[0], lag[1]) for name, lag in json.loads(file.attrs["lags"]).items()},
            tuple(Finding(**found) for found in json.loads(file.attrs["findings"])),
            tuple(json.loads(file.attrs["processing"])),
        )
        quantities = {}
        for group in file.get("quantities", {}).values():
            amplification = group.attrs.get("noise amplification")
            quantities[str(group.attrs["name"])] = Quantity(
                str(group.attrs["name"]), str(group["value"].attrs["units"]), get(group["time"]), get(group["value"]),
                get(group["sigma"]), get(group["valid"]), str(group.attrs["formula"]),
                None if amplification is None else float(amplification), json.loads(group.attrs["weights"]),
            )  # fmt: skip
        return readings, quantities
