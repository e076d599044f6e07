"""Read strong-motion formats of seismology through ObsPy (the optional extra `records`), calibrated and checked."""

import os
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError
from frame2d.motions.record import Record, check_size, unit_factor

#: Formats whose `calib` in ObsPy is m/s² per count (ObsPy 1.4: io/nied/knet.py and io/kinemetrics; checked on its own
#: samples). In every other format `calib` means something else, often nm of displacement, and is never trusted.
CALIBRATED = {"KNET", "KINEMETRICS_EVT"}


def read_strong_motion(
    path: str | os.PathLike[str],
    *,
    channel: str | None = None,
    units: str | None = None,
    counts_per_unit: float | None = None,
    any_size: bool = False,
) -> tuple[Record, ...]:
    """Read every channel of a file (or only `channel`) that ObsPy can read, as records in m/s².

    K-NET and Kinemetrics EVT files carry their calibration, which is applied. Any other format holds numbers of
    unknown meaning: say what they are by `units` (acceleration already, for example ``"gal"``), or by
    `counts_per_unit` together with `units` (an instrument's sensitivity, counts per `units`). Raw counts are refused.
    The mean is kept: take it off with `baseline`. ObsPy's warnings are kept in `provenance`.

    Raises `Frame2dError` when ObsPy is not installed, and `InputError` for files that no format fits, counts without
    sensitivity, gaps, a header that claims another length, an unknown channel, a peak above 10 g.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path} is not a file; allowed: a strong-motion file on disk")
    stream, said = _open(path)
    found = [trace.stats.channel for trace in stream]
    if channel is not None:
        stream = [trace for trace in stream if trace.stats.channel == channel]
        if not stream:
            raise InputError(f"channel of {path.name} is {channel!r}; allowed: {', '.join(found)}")
    return tuple(_record(path, trace, units, counts_per_unit, said, any_size) for trace in stream)


def _open(path: Path) -> tuple[Any, tuple[str, ...]]:
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            import obspy
        except ImportError:
            raise Frame2dError(
                "strong-motion formats are read through ObsPy, which is not installed: pip install 'frame2d[records]'"
            ) from None
        loading = len(caught)
        try:
            stream = obspy.read(str(path))
        except Exception as error:  # ObsPy's readers raise whatever their parsing hits
            raise InputError(
                f"{path.name} cannot be read as a strong-motion file ({type(error).__name__}: {str(error)[:120]}). "
                "Likely mistake: a damaged file, or plain text (use read_text)"
            ) from None
    return stream, tuple(dict.fromkeys(str(item.message) for item in caught[loading:]))


def _record(
    path: Path,
    trace: Any,
    units: str | None,
    counts_per_unit: float | None,
    said: tuple[str, ...],
    any_size: bool,
) -> Record:
    stats = trace.stats
    form = str(stats._format)
    name = " ".join(part for part in (stats.station, stats.channel) if part) or path.stem
    if np.ma.isMaskedArray(trace.data) and np.any(np.ma.getmaskarray(trace.data)):
        raise InputError(
            f"{path.name}, {name}: the trace has gaps; allowed: continuous data. Cut or fill it before"
        )
    data = np.asarray(trace.data, dtype=np.float64)
    if data.size != stats.npts:
        raise InputError(
            f"{path.name}, {name}: the header claims {stats.npts} samples, the file holds {data.size}; is it cut short?"
        )
    if form in CALIBRATED and units is not None and counts_per_unit is None:
        raise InputError(
            f"{path.name}, {name}: a {form} file holds counts with their calibration, not numbers in {units}; drop units "
            "(or give counts_per_unit too, to put another sensitivity in its place)"
        )
    if form in CALIBRATED and counts_per_unit is None:
        factor, meaning = (
            float(stats.calib),
            f"counts × {stats.calib:.9g} m/s² (calibration of the {form} file)",
        )
        units = "counts with calibration"
    else:
        factor, meaning = _stated(path, name, stats, units, counts_per_unit)
    provenance = (f"read from {path.name}, format {form}, from {stats.starttime}, {meaning}", *said)
    record = Record(factor * data, float(stats.delta), name, False, provenance)
    return check_size(record, str(units), any_size=any_size)


def _stated(
    path: Path, name: str, stats: Any, units: str | None, counts_per_unit: float | None
) -> tuple[float, str]:
    """Factor to m/s² from what the caller says; raw counts are refused."""
    if units is None:
        header = str(stats.get("ascii", {}).get("unit", "")) or "nothing"
        raise InputError(
            f"{path.name}, {name}: a {stats._format} file holds raw counts or numbers of unknown unit (its header says "
            f"{header}); allowed: acceleration. Give counts_per_unit and units (the sensitivity from the instrument's "
            "response file, for example counts_per_unit=427336.1, units='m/s²'), or units alone if the numbers are an "
            "acceleration already"
        )
    if counts_per_unit is None:
        return unit_factor(units), f"taken as {units}"
    if not np.isfinite(counts_per_unit) or counts_per_unit == 0.0:
        raise InputError(f"counts_per_unit is {counts_per_unit!r}; allowed: a finite number other than 0")
    return unit_factor(units) / counts_per_unit, f"{counts_per_unit:g} counts per {units}, as stated"
