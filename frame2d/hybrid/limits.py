"""Limits of a test, what may trigger the guard, and the table that says what each trigger does."""

from dataclasses import asdict, dataclass, field
from enum import IntEnum
from hashlib import sha256
from typing import Any, NamedTuple

import numpy as np

from frame2d.errors import InputError, known, positive, within


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
    "unloading": (
        "while unloading a feedback fails or the force does not fall",
        Action.STOP,
        Action.STOP,
        Action.STOP,
    ),
    "solver": ("the solver's side failed or was interrupted", Action.HOLD, Action.HOLD, Action.STOP),
    "margin": ("a reading within the warning share of its limit", Action.WARN, Action.WARN, Action.HOLD),
    "operator": ("the operator's stop", Action.STOP, Action.HOLD, Action.STOP),
}


#: Longest stroke that is believed, m or rad: more is another unit.
LONGEST = 10.0

#: One number for every interface freedom, or a tuple with one for each.
Each = float | tuple[float, ...]


class Bounds(NamedTuple):
    """The limits as arrays (freedoms,)."""

    low: np.ndarray
    high: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    step: np.ndarray
    tracking: np.ndarray
    flat_motion: np.ndarray
    slow: np.ndarray
    no_force: np.ndarray
    #: Least energy of the energy monitor, J.
    floor: float


@dataclass(frozen=True)
class Limits:
    """What may leave and what may come back; m, rad, N, N·m, s.

    Where `Each` stands, one number serves all interface freedoms, a tuple has one for each.
    """

    #: (low, high) displacement.
    stroke: tuple[Each, Each]
    #: Largest measured force, either sign.
    force: Each
    #: Largest velocity of a command in the laboratory.
    velocity: Each
    #: Largest change from one command to the next.
    step: Each
    #: Largest difference of measured displacement and command (1-2 mm or 5 % of the peak; common practice).
    tracking: Each
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
    flat_motion: Each = 1e-5
    #: Share of a limit that warns (80-85 %; common practice).
    warning_share: float = 0.85
    #: Velocity while unloading (0: a tenth of `velocity`), and the force that counts as none (0: 0.5 % of `force`).
    unload_velocity: Each = 0.0
    unload_force: Each = 0.0
    #: Longest time that unloading may take, s, and the duration of one of its moves.
    unload_time: float = 600.0
    unload_cycle: float = 0.25

    def __post_init__(self) -> None:
        for end, values in zip(("low", "high"), self.stroke, strict=True):
            for value in np.atleast_1d(values):
                within(
                    f"Limits.stroke {end}",
                    value,
                    -LONGEST,
                    LONGEST,
                    hint="millimetres or degrees; it is in m and rad",
                )
        if not (np.asarray(self.stroke[0]) < np.asarray(self.stroke[1])).all():
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
            for value in np.atleast_1d(getattr(self, name)):
                positive(f"Limits.{name}", value)
        for name in ("energy_floor", "deadline", "flat_motion", "unload_velocity", "unload_force"):
            for value in np.atleast_1d(getattr(self, name)):
                within(f"Limits.{name}", value, 0.0, 1e30)
        for name in ("late_cycles", "flat_displacement", "flat_force"):
            within(f"Limits.{name}", getattr(self, name), 0, 1e9)
        within("Limits.warning_share", self.warning_share, 0.0, 1.0, open_low=True)

    @property
    def off(self) -> tuple[str, ...]:
        """Triggers that these limits switch off."""
        flat = self.flat_displacement == 0 and self.flat_force == 0
        return ("deadline",) * (self.deadline == 0.0) + ("flat line",) * flat

    def bounds(self, freedoms: int) -> Bounds:
        """Arrays (freedoms,); raises `InputError` for a tuple of another length."""
        given = {
            "low": self.stroke[0], "high": self.stroke[1], "force": self.force, "velocity": self.velocity,
            "step": self.step, "tracking": self.tracking, "flat_motion": self.flat_motion,
            "slow": self.unload_velocity, "no_force": self.unload_force,
        }  # fmt: skip
        arrays = {}
        for name, value in given.items():
            array = np.atleast_1d(np.asarray(value, dtype=np.float64))
            if array.size not in (1, freedoms):
                raise InputError(
                    f"limit {name} has {array.size} numbers; allowed: 1, or {freedoms}, one a freedom"
                )
            arrays[name] = np.broadcast_to(array, freedoms).copy()
        slow = np.where(arrays["slow"] > 0.0, arrays["slow"], 0.1 * arrays["velocity"])
        arrays["slow"] = np.minimum(slow, arrays["velocity"])
        arrays["no_force"] = np.where(arrays["no_force"] > 0.0, arrays["no_force"], 0.005 * arrays["force"])
        reach = np.maximum(np.abs(arrays["low"]), np.abs(arrays["high"]))
        return Bounds(**arrays, floor=self.energy_floor or 0.01 * float((arrays["force"] * reach).max()))


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
            if not isinstance(action, int) or action not in list(Action):
                raise InputError(
                    f"action on {trigger!r} is {action!r}; allowed: Action.{', Action.'.join(a.name for a in Action)}"
                )
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
        off = limits.off
        lines = ["What the guard does, and the limits (SI units):"]
        for name in TRIGGERS:
            action = "off" if name in off else self.action(name).name
            lines.append(f"  {name:<10} {action:<7} {TRIGGERS[name][0]}")
        switched = ("deadline", "flat_displacement", "flat_force")
        for name, value in asdict(limits).items():
            lines.append(f"  {name} = {'off' if name in switched and value == 0 else value}")
        lines.append(
            "  force, energy and unloading take forces as they are read: the tare is the computation's alone"
        )
        lines.append("  unload: to zero measured force at unload_velocity (0: a tenth of velocity)")
        lines.append("  stop: the rig's own hardware takes over, nothing moves afterwards")
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
