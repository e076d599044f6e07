"""The ordered limit states of a campaign: what each one shakes the frame with, and which devices are replaced after it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError, known, positive, within


@dataclass(frozen=True, eq=False)
class LimitState:
    """One test: `record` (with `acceleration`, `dt`, `name`) times `factor`, then `quiet` seconds without motion.

    `short` names files and columns. `replace` lists devices that are replaced after the inspection ("all": every one),
    in `groups` if given, while the frame is "released" or "held" (`mode`). `repeats` names the earlier limit state
    whose stiffness this one must recover.
    """

    name: str
    record: Any
    factor: float = 1.0
    short: str = ""
    quiet: float = 0.0
    replace: tuple[str, ...] | str = ()
    groups: tuple[tuple[str, ...], ...] | None = None
    mode: str = "released"
    repeats: str | None = None

    def __post_init__(self) -> None:
        positive(f"factor of {self.name!r}", self.factor)
        within(f"quiet time of {self.name!r}", self.quiet, 0.0, 3600.0, hint="in s")
        if not hasattr(self.record, "acceleration") or not hasattr(self.record, "dt"):
            raise InputError(
                f"record of {self.name!r} is {self.record!r}; allowed: a Record. Likely mistake: a bare array"
            )
        if isinstance(self.replace, str) and self.replace != "all":
            raise InputError(
                f"replace of {self.name!r} is {self.replace!r}; allowed: 'all' or a tuple of device names"
            )

    @property
    def key(self) -> str:
        """Name for files."""
        text = self.short or self.name
        return "".join(letter if letter.isalnum() else "_" for letter in text.lower())

    @property
    def padded(self) -> "Shaking":
        """The record with the quiet time behind it; without the factor."""
        dt = float(self.record.dt)
        zeros = np.zeros(round(self.quiet / dt))
        name = getattr(self.record, "label", getattr(self.record, "name", "record"))
        return Shaking(np.concatenate([self.record.acceleration, zeros]), dt, name)

    def devices(self, all_devices: Sequence[str]) -> list[str]:
        """Names of the devices to replace; raises `InputError` for unknown ones."""
        if self.replace == "all":
            return list(all_devices)
        return [known(f"device to replace after {self.name!r}", name, all_devices) for name in self.replace]

    def identity(self) -> dict[str, Any]:
        """What a stored result must agree with."""
        a = np.asarray(self.record.acceleration, dtype=float)
        return {
            "name": self.name, "factor": self.factor, "quiet": self.quiet, "dt": float(self.record.dt),
            "samples": int(a.size), "acceleration": digest(a), "repeats": self.repeats,
            "replace": self.replace if isinstance(self.replace, str) else list(self.replace),
            "groups": None if self.groups is None else [list(group) for group in self.groups], "mode": self.mode,
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class Shaking:
    """Ground acceleration (m/s²) at a step (s), as analyses take it."""

    acceleration: np.ndarray
    dt: float
    name: str


def digest(values: np.ndarray) -> str:
    """SHA-256 of the bytes of an array."""
    from hashlib import sha256

    return sha256(np.ascontiguousarray(values, dtype=np.float64).tobytes()).hexdigest()


def check_order(limit_states: Sequence[LimitState]) -> None:
    """Raise `InputError` for an empty list, twins, or a repetition of what comes later."""
    if not limit_states:
        raise InputError("limit states are missing; allowed: one or more, in the order of the test")
    seen: dict[str, str] = {}
    for state in limit_states:
        if state.key in seen.values() or state.name in seen:
            raise InputError(f"limit state {state.name!r} comes twice; allowed: each name once")
        if state.repeats is not None and state.repeats not in seen:
            raise Frame2dError(
                f"{state.name!r} repeats {state.repeats!r}, which does not come before it; allowed: {', '.join(seen)}"
            )
        seen[state.name] = state.key
