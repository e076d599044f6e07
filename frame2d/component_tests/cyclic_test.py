"""A component test ready for use: histories in SI, the raw columns, and every step in between."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.compare.histories import TINY, history, pair
from frame2d.component_tests.reading import RawTest
from frame2d.errors import InputError, known
from frame2d.written import written


@dataclass(frozen=True)
class CyclicTest:
    """Processed histories of one test; `raw` is what the file held, `processing` what was done to it.

    `kind` is "translation" (m, N) or "rotation" (rad, N·m); `time` (s) may be None. Work is in J either way.
    """

    name: str
    deformation: np.ndarray = field(repr=False)
    force: np.ndarray = field(repr=False)
    kind: str = "translation"
    time: np.ndarray | None = field(default=None, repr=False)
    raw: RawTest | None = field(default=None, repr=False)
    processing: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        known(f"test {self.name}: kind", self.kind, ("translation", "rotation"))
        u, F = pair(
            self.deformation, self.force, (f"test {self.name}: deformation", f"test {self.name}: force")
        )
        object.__setattr__(self, "deformation", u)
        object.__setattr__(self, "force", F)
        if np.ptp(u) <= TINY or np.ptp(F) <= TINY:
            what = "deformation" if np.ptp(u) <= TINY else "force"
            raise InputError(
                f"test {self.name}: the {what} never changes; allowed: a test. Likely mistake: wrong column"
            )
        if self.time is not None:
            t = history(f"test {self.name}: time", self.time)
            pair(t, u, (f"test {self.name}: time", f"test {self.name}: deformation"))
            if np.any(np.diff(t) <= 0.0):
                late = int(np.argmax(np.diff(t) <= 0.0)) + 1
                raise InputError(
                    f"test {self.name}: time does not increase at sample {late}; allowed: increasing times"
                )
            object.__setattr__(self, "time", t)

    @property
    def units(self) -> tuple[str, str]:
        """Units of deformation and force."""
        return ("m", "N") if self.kind == "translation" else ("rad", "N·m")

    @property
    def checksum(self) -> str:
        """SHA-256 of the file that the test came from, empty for arrays."""
        return "" if self.raw is None else self.raw.checksum

    def summary(self) -> str:
        """Size, ranges and processing as text."""
        length, load = self.units
        u, F = self.deformation, self.force
        rows = [
            f"test {self.name}: {u.size} samples, deformation {u.min():.5g} to {u.max():.5g} {length}, "
            f"force {F.min():.5g} to {F.max():.5g} {load}"
        ]
        return "\n".join([*rows, *(f"  {text}" for text in self.processing)])


def write_csv(path: str | Path, test: CyclicTest, *, comment: str = "") -> None:
    """Write a test as CSV in SI with names and units in the header; `comment` goes into lines after #.

    The file is written beside and moved into place.
    """
    length, load = test.units
    names = ("rotation", "moment") if test.kind == "rotation" else ("displacement", "force")
    columns: list[tuple[str, Any]] = [] if test.time is None else [("time [s]", test.time)]
    columns += [(f"{names[0]} [{length}]", test.deformation), (f"{names[1]} [{load}]", test.force)]
    target = Path(path)
    with written(target) as beside, beside.open("w", encoding="utf-8", newline="\n") as file:
        for line in comment.splitlines():
            file.write(f"# {line}\n")
        file.write(",".join(name for name, _ in columns) + "\n")
        for row in zip(*(values for _, values in columns), strict=True):
            file.write(",".join(repr(float(value)) for value in row) + "\n")
