"""What each device has gone through since it was put in: turning points, energy, largest deformation."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.campaign.measured import Loop, Measured


@dataclass(frozen=True)
class Wear:
    """Deformation by its turning points (m or rad), energy lost (J), largest |deformation|, since installation."""

    turning: tuple[float, ...] = ()
    energy: float = 0.0
    largest: float = 0.0
    #: Tests since installation.
    tests: int = 0

    def after(self, loop: Loop) -> "Wear":
        """With one more test."""
        joined = np.concatenate([self.turning, loop.deformation])
        return Wear(
            tuple(turning_points(joined).tolist()),
            self.energy + max(float(loop.lost[-1]), 0.0),
            max(self.largest, float(np.abs(loop.deformation).max())),
            self.tests + 1,
        )

    def as_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "turning": list(self.turning),
            "energy": self.energy,
            "largest": self.largest,
            "tests": self.tests,
        }

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> "Wear":
        """From `as_data`."""
        return cls(tuple(data["turning"]), data["energy"], data["largest"], data["tests"])


def turning_points(history: np.ndarray) -> np.ndarray:
    """First and last point and every reversal: all that rainflow counting needs."""
    u = np.asarray(history, dtype=float)
    if u.size < 3:
        return u
    step = np.diff(u)
    moves = np.flatnonzero(step != 0.0)
    if moves.size == 0:
        return u[[0, -1]]
    signs = np.sign(step[moves])
    turns = moves[1:][signs[1:] != signs[:-1]]
    return np.concatenate([u[:1], u[turns], u[-1:]])


def worn(before: Mapping[str, Wear], test: Measured) -> dict[str, Wear]:
    """Wear of every law after a test."""
    return {name: before.get(name, Wear()).after(loop) for name, loop in test.devices.items()}


def renewed(wear: Mapping[str, Wear], devices: list[str]) -> dict[str, Wear]:
    """Wear after the devices were replaced by new ones."""
    return {name: Wear() if name.split(":")[0] in devices else value for name, value in wear.items()}
