"""What devices and elastic members may bear: the other side of each comparison in an inspection."""

import fnmatch
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from frame2d.errors import InputError, positive, within
from frame2d.materials import Elastic, LowCycleFatigue
from frame2d.materials.drive import drive


@dataclass(frozen=True)
class DeviceCapacity:
    """Capacity of the devices whose laws match `pattern` (shell style: "link *", "pin 1"); None: not asked.

    `deformation` (m or rad) is one number or one by the limit state's name; `energy` (J) what a device may dissipate
    since it was put in; `one_cycle`, `exponent` and `elastic` the fatigue line of `LowCycleFatigue` (Miner's sum up to
    1); `fit` the play of its connections (m or rad), which the misfit of a new device must not pass. `source` says
    where the numbers come from.
    """

    pattern: str
    deformation: float | Mapping[str, float] | None = None
    energy: float | None = None
    one_cycle: float | None = None
    exponent: float = 0.5
    elastic: float = 0.0
    fit: float | None = None
    source: str = "no source"

    def __post_init__(self) -> None:
        numbers = dict(self.deformation) if isinstance(self.deformation, Mapping) else {"": self.deformation}
        named = {f"deformation {name}".strip(): value for name, value in numbers.items()}
        for name, value in {
            **named, "energy": self.energy, "one_cycle": self.one_cycle, "fit": self.fit,
        }.items():  # fmt: skip
            if value is not None:
                positive(f"capacity of {self.pattern!r}: {name}", value)

    def matches(self, law: str) -> bool:
        """Whether the law `law` ("member" or "member: role") is meant."""
        return fnmatch.fnmatchcase(law, self.pattern) or fnmatch.fnmatchcase(law.split(":")[0], self.pattern)

    def deformation_at(self, limit_state: str) -> float | None:
        """Deformation capacity at a limit state; None where none is stated."""
        if isinstance(self.deformation, Mapping):
            return self.deformation.get(limit_state)
        return self.deformation

    def damage(self, history: np.ndarray) -> float | None:
        """Miner's sum of a deformation history from zero, counted as `LowCycleFatigue` counts; None without a line."""
        if self.one_cycle is None:
            return None
        law = LowCycleFatigue(Elastic(1.0), self.one_cycle, self.exponent, self.elastic)
        return LowCycleFatigue.damage(drive(law, np.concatenate([[0.0], history])).memory)


@dataclass(frozen=True)
class StaysElastic:
    """Members (shell-style `pattern`) whose strain must stay below `limit` (–), at half depth `half_depth` (m).

    Strain |N|/(EA) + |M|·c/(EI) at the member's ends, where M is largest without loads along it.
    """

    pattern: str
    half_depth: float
    limit: float
    source: str = "no source"

    def __post_init__(self) -> None:
        positive(f"half depth of {self.pattern!r}", self.half_depth, hint="half the section's depth in m")
        within(
            f"strain limit of {self.pattern!r}", self.limit, 0.0, 0.1, open_low=True, hint="fy/E, not in %"
        )

    def members(self, names: Sequence[str]) -> list[str]:
        """Members that are meant; raises `InputError` where there is none."""
        found = [name for name in names if fnmatch.fnmatchcase(name, self.pattern)]
        if not found:
            raise InputError(f"no member matches {self.pattern!r}; allowed: {', '.join(names[:12])} …")
        return found


@dataclass(frozen=True)
class Criteria:
    """All capacities of a campaign.

    `residual_drift`: working limit 0.5 %, threshold of perception and repair (McCormick et al., "Permissible residual
    deformation levels for building structures", 2008, from memory). `stiffness`: replaced devices must bring the
    stiffness back within 5 % (common practice, no source). `imbalance`: energy account (ours).
    """

    devices: tuple[DeviceCapacity, ...] = ()
    elastic: tuple[StaysElastic, ...] = ()
    residual_drift: float = 0.005
    stiffness: float = 0.05
    drift: Mapping[str, float] = field(default_factory=dict)
    imbalance: float = 0.01

    def __post_init__(self) -> None:
        within(
            "working limit of the residual drift",
            self.residual_drift,
            0.0,
            0.1,
            open_low=True,
            hint="a ratio, not %",
        )
        within("stiffness tolerance", self.stiffness, 0.0, 1.0, open_low=True, hint="a ratio, not %")
        for name, value in self.drift.items():
            within(f"drift limit at {name!r}", value, 0.0, 0.5, open_low=True, hint="a ratio, not %")

    def of_device(self, law: str) -> DeviceCapacity | None:
        """First capacity that matches a law."""
        return next((capacity for capacity in self.devices if capacity.matches(law)), None)
