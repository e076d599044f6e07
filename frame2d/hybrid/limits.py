"""Limits of a test, what may trigger the guard, and the table that says what each trigger does."""

from dataclasses import asdict, dataclass, field
from enum import IntEnum
from hashlib import sha256
from typing import Any

import numpy as np

from frame2d.errors import InputError, finite, known, positive, within


class Action(IntEnum):
    """Rungs of the ladder, from mild to final."""

    #: Note it and go on.
    WARN = 1
    #: Keep the position and the force; only the operator releases it.
    HOLD = 2
    #: Move at a limited velocity to zero measured force, then end.
    UNLOAD = 3
    #: Hand over to the rig's own hardware; nothing moves afterwards.
    STOP = 4


#: Trigger → (what it means, default action, mildest action allowed, severest action allowed).
TRIGGERS: dict[str, tuple[str, Action, Action, Action]] = {
    "command": ("the command is not a number", Action.STOP, Action.HOLD, Action.STOP),
    "stroke": ("command or measured displacement beyond its limits", Action.HOLD, Action.HOLD, Action.STOP),
    "velocity": ("command faster than allowed", Action.HOLD, Action.HOLD, Action.STOP),
    "step": ("command too far from the last one", Action.HOLD, Action.HOLD, Action.STOP),
    "force": ("measured force beyond its limit", Action.UNLOAD, Action.HOLD, Action.STOP),
    "tracking": ("measured displacement too far from the command", Action.HOLD, Action.WARN, Action.STOP),
    "energy": ("energy error of the loop too large", Action.HOLD, Action.WARN, Action.STOP),
    "deadline": ("commands late several times in a row", Action.HOLD, Action.WARN, Action.STOP),
    "link": ("the other side does not answer", Action.STOP, Action.STOP, Action.STOP),
    "silence": (
        "the solver's side is gone (seen by the specimen's side)",
        Action.HOLD,
        Action.HOLD,
        Action.STOP,
    ),
    "nan": ("a reading is not a number", Action.STOP, Action.STOP, Action.STOP),
    "flat line": (
        "a sensor repeats the same value while the rig moves",
        Action.STOP,
        Action.STOP,
        Action.STOP,
    ),
    "margin": ("a reading within the warning share of its limit", Action.WARN, Action.WARN, Action.HOLD),
    "operator": ("the operator's stop", Action.STOP, Action.HOLD, Action.STOP),
}


@dataclass(frozen=True)
class Limits:
    """What may leave and what may come back, per interface freedom (one number serves all); m, rad, N, N·m, s."""

    #: (low, high) displacement.
    stroke: tuple[float, float]
    #: Largest measured force, either sign.
    force: float
    #: Largest velocity of a command in the laboratory.
    velocity: float
    #: Largest change from one command to the next.
    step: float
    #: Largest difference of measured displacement and command (1-2 mm or 5 % of the peak; common practice).
    tracking: float
    #: HSEM to warn and to act (1 % and 5 %; common practice).
    energy_warning: float = 0.01
    energy: float = 0.05
    #: Least energy that the energy error is weighed against, J; 0: 1 % of force × stroke.
    energy_floor: float = 0.0
    #: A command is late when it arrives this long after the previous one ended, s; 0: never.
    deadline: float = 0.0
    #: Late commands in a row that trigger.
    late_cycles: int = 3
    #: Identical readings in a row while the command moves; 0 switches the test off.
    flat_displacement: int = 10
    #: The same for forces; 0 for models without noise whose force may rest on a plateau.
    flat_force: int = 25
    #: The command must have moved so far for a reading to count as flat.
    flat_motion: float = 1e-5
    #: Share of a limit that warns (80-85 %; common practice).
    warning_share: float = 0.85
    #: Velocity while unloading (0: a tenth of `velocity`), and the force that counts as none (0: 0.5 % of `force`).
    unload_velocity: float = 0.0
    unload_force: float = 0.0
    #: Longest time that unloading may take, s, and the duration of one of its moves.
    unload_time: float = 600.0
    unload_cycle: float = 0.25

    def __post_init__(self) -> None:
        low, high = (
            finite(f"Limits.stroke {end}", v) for end, v in zip(("low", "high"), self.stroke, strict=True)
        )
        if not low < high:
            raise InputError(f"Limits.stroke is {self.stroke}; allowed: (low, high) with low < high")
        for name in (
            "force",
            "velocity",
            "step",
            "tracking",
            "energy",
            "energy_warning",
            "unload_time",
            "unload_cycle",
        ):
            positive(f"Limits.{name}", getattr(self, name))
        for name in ("energy_floor", "deadline", "flat_motion", "unload_velocity", "unload_force"):
            within(f"Limits.{name}", getattr(self, name), 0.0, 1e30)
        for name in ("late_cycles", "flat_displacement", "flat_force"):
            within(f"Limits.{name}", getattr(self, name), 0, 1e9)
        within("Limits.warning_share", self.warning_share, 0.0, 1.0, open_low=True)

    @property
    def slow(self) -> float:
        """Velocity while unloading."""
        return min(self.unload_velocity or 0.1 * self.velocity, self.velocity)

    @property
    def no_force(self) -> float:
        """Force that counts as none."""
        return self.unload_force or 0.005 * self.force

    @property
    def floor(self) -> float:
        """Least energy of the energy monitor, J."""
        return self.energy_floor or 0.01 * self.force * max(abs(self.stroke[0]), abs(self.stroke[1]))


@dataclass(frozen=True)
class Table:
    """What each trigger does; `changes` override the defaults, within what is allowed for the trigger.

    Raises `InputError` for unknown triggers and for actions that would be unsafe: unloading on a signal that cannot
    be trusted, or merely warning of a command beyond a limit.
    """

    changes: dict[str, Action] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for trigger, action in self.changes.items():
            known("trigger", trigger, TRIGGERS)
            meaning, _, mildest, severest = TRIGGERS[trigger]
            if not mildest <= Action(action) <= severest:
                raise InputError(
                    f"action on {trigger!r} ({meaning}) is {Action(action).name}; allowed: {mildest.name} to "
                    f"{severest.name}. Likely mistake: moving on a signal that cannot be trusted"
                )

    def action(self, trigger: str) -> Action:
        """What the trigger does."""
        return Action(self.changes.get(trigger, TRIGGERS[trigger][1]))

    def text(self, limits: Limits) -> str:
        """The table as the operator reads it before a test."""
        lines = ["What the guard does, and the limits (SI units):"]
        lines += [f"  {name:<10} {self.action(name).name:<7} {TRIGGERS[name][0]}" for name in TRIGGERS]
        lines += [f"  {name} = {value}" for name, value in asdict(limits).items()]
        lines.append(
            f"  unload: to zero measured force at {limits.slow:g} m/s; stop: the rig's own hardware takes over"
        )
        return "\n".join(lines)

    def digest(self, limits: Limits) -> str:
        """Short digest of the text that was confirmed."""
        return sha256(self.text(limits).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Event:
    """Something that the guard saw."""

    trigger: str
    action: Action
    text: str
    side: str
    sequence: int

    def plain(self) -> dict[str, Any]:
        """Plain data for journal and wire."""
        return {**asdict(self), "action": self.action.name}

    @classmethod
    def of(cls, plain: dict[str, Any]) -> "Event":
        """Event of `plain`."""
        return cls(
            plain["trigger"], Action[plain["action"]], plain["text"], plain["side"], int(plain["sequence"])
        )


def shares(limits: Limits, displacement: np.ndarray, force: np.ndarray, gap: np.ndarray) -> dict[str, float]:
    """Used share of stroke, force and tracking limits, 1 at the limit."""
    low, high = limits.stroke
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    return {
        "stroke": float(np.abs(displacement - middle).max() / half),
        "force": float(np.abs(force).max() / limits.force),
        "tracking": float(np.abs(gap).max() / limits.tracking),
    }
