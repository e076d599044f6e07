"""Do the channels agree with statics, kinematics and energy; and if not, which one is turned round or in another unit?

How each relation is judged stands in `frame2d.instruments.judge`, how a fault is named in `frame2d.instruments.faults`.
Bound: 5 % (common practice, no source) and three standard deviations. A channel whose size is below the bound in all of
its relations cannot be judged; `Closure.unseen` says so.
"""

from dataclasses import dataclass, field

import numpy as np

from frame2d.errors import within
from frame2d.instruments.faults import Changes, Suspect, fewest, pairs_of, suspect_of, trials
from frame2d.instruments.judge import Check, Judge
from frame2d.instruments.recording import Readings
from frame2d.instruments.sensor_map import SensorMap


@dataclass(frozen=True)
class Closure:
    """Checks as measured, suspects in the order of their discovery, and the checks that remain after mending them."""

    checks: tuple[Check, ...]
    suspects: tuple[Suspect, ...]
    mended: tuple[Check, ...] = field(repr=False)
    #: Channels in no relation that is large enough to judge them.
    unseen: tuple[str, ...] = ()
    #: Devices without measured work: where there are any, energy is not checked.
    unmeasured: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Everything that could be checked closes."""
        return all(check.passed for check in self.checks)

    def __str__(self) -> str:
        rows = [str(check) for check in self.checks] + [f"suspect: {suspect}" for suspect in self.suspects]
        if self.unseen:
            rows.append(f"not judged by any relation: {', '.join(self.unseen)}")
        if self.unmeasured:
            rows.append(f"energy is not checked, as no place measures {', '.join(self.unmeasured)}")
        return "\n".join(rows)


def check_closure(
    sensors: SensorMap, readings: Readings, *, tolerance: float = 0.05, most: int = 4
) -> Closure:
    """Check all relations within `tolerance` and name up to `most` channels of wrong sign or unit.

    Best on a part of the test in which all devices have yielded and returned. Nothing is changed in `readings`.
    """
    within("tolerance", tolerance, 0.0, 0.5, open_low=True)
    values = np.column_stack([readings[name] for name in sensors.channels])
    judge = Judge(sensors, readings, values, tolerance)
    first = judge.checks()
    unseen, open_works = judge.unseen(), judge.unmeasured
    numbers, factors = trials(sensors)

    def judged(changes: Changes) -> Judge:
        changed = values.copy()
        for number, factor in changes:
            changed[:, number] *= factor
        return Judge(sensors, readings, changed, tolerance)

    found: Changes = ()
    if not all(check.passed for check in first):
        found = fewest(judged, numbers, factors, most, pairs_of(sensors))
    suspects = tuple(suspect_of(sensors, judged, change, found, numbers, factors) for change in found)
    mended = tuple(judged(found).checks())
    return Closure(tuple(first), suspects, mended, unseen, open_works)
