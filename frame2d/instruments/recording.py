"""Readings: a `Recording` is what one logger wrote; `Readings` holds all channels in SI on common times, raw beside."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from frame2d.errors import InputError, known
from frame2d.instruments.findings import Finding


@dataclass(frozen=True)
class Recording:
    """Columns of one logger in declared units at its own `time` (s); a gap is NaN. `checksum` is of its file."""

    clock: str
    time: np.ndarray = field(repr=False)
    columns: dict[str, np.ndarray] = field(repr=False)
    units: dict[str, str] = field(default_factory=dict)
    source: str = "arrays"
    checksum: str = ""

    def __post_init__(self) -> None:
        time = np.ascontiguousarray(self.time, dtype=float)
        object.__setattr__(self, "time", time)
        if time.ndim != 1 or time.size < 2:
            raise InputError(f"recording {self.clock!r} has {time.size} samples; allowed: two or more")
        for name, values in self.columns.items():
            column = np.ascontiguousarray(values, dtype=float)
            self.columns[name] = column
            if column.shape != time.shape:
                raise InputError(
                    f"recording {self.clock!r}: channel {name!r} has {column.size} samples at {time.size} times"
                )


@dataclass(frozen=True)
class Readings:
    """Channels in SI on common `time` (s), with the recordings that they came from and all that was done and found."""

    time: np.ndarray = field(repr=False)
    values: dict[str, np.ndarray] = field(repr=False)
    raw: tuple[Recording, ...] = field(default=(), repr=False)
    #: Clock lag (s) taken out, and its standard deviation, by clock.
    lags: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    processing: tuple[str, ...] = ()

    def __getitem__(self, channel: str) -> np.ndarray:
        found: np.ndarray = self.values[known("channel", channel, self.values)]
        return found

    def cut(self, begin: float, end: float) -> "Readings":
        """The part between two times (s)."""
        keep = (self.time >= begin) & (self.time <= end)
        if keep.sum() < 2:
            raise InputError(
                f"between {begin:g} and {end:g} s there are {int(keep.sum())} samples; allowed: two or more"
            )
        values = {name: column[keep] for name, column in self.values.items()}
        return Readings(self.time[keep], values, self.raw, self.lags, self.findings, self.processing)
