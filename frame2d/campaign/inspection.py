"""Inspection after a test: each demand beside its capacity, with a verdict per criterion."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from frame2d.campaign.capacities import Criteria
from frame2d.campaign.measured import Measured
from frame2d.campaign.replacement import Replacement
from frame2d.campaign.wear import Wear
from frame2d.errors import InputError

#: Verdicts; "not judged" stands where nobody stated a capacity or the run did not get to its end.
OK, EXCEEDED, NOT_JUDGED = "within", "exceeded", "not judged"


@dataclass(frozen=True)
class Finding:
    """One criterion: `demand` and `capacity` in `unit`, their ratio, the verdict and the definition."""

    criterion: str
    thing: str
    demand: float
    capacity: float | None
    unit: str
    definition: str

    @property
    def use(self) -> float | None:
        """Demand over capacity; None without a capacity."""
        return None if self.capacity is None else self.demand / self.capacity

    @property
    def verdict(self) -> str:
        """Within, exceeded, or not judged."""
        if self.capacity is None:
            return NOT_JUDGED
        return OK if self.demand <= self.capacity else EXCEEDED

    def as_data(self) -> dict[str, Any]:
        """Plain data with ratio and verdict."""
        return {**asdict(self), "use": self.use, "verdict": self.verdict}


@dataclass(frozen=True)
class Inspection:
    """All findings of one limit state."""

    limit_state: str
    outcome: str
    findings: tuple[Finding, ...]
    complete: bool = True

    @property
    def verdict(self) -> str:
        """Within only if the test was completed and no criterion is exceeded."""
        if not self.complete:
            return NOT_JUDGED
        return EXCEEDED if any(f.verdict == EXCEEDED for f in self.findings) else OK

    def by_criterion(self) -> dict[str, Finding]:
        """For each criterion the finding with the largest use; without capacities the largest demand."""
        worst: dict[str, Finding] = {}
        for finding in self.findings:
            known = worst.get(finding.criterion)
            if known is None or _rank(finding) > _rank(known):
                worst[finding.criterion] = finding
        return worst

    def beyond(self) -> list[str]:
        """Devices with an exceeded criterion, in order."""
        names = [
            f.thing.split(":")[0]
            for f in self.findings
            if f.verdict == EXCEEDED and f.criterion.startswith("device")
        ]
        return list(dict.fromkeys(names))

    def as_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "limit_state": self.limit_state, "outcome": self.outcome, "verdict": self.verdict,
            "complete": self.complete, "findings": [finding.as_data() for finding in self.findings],
        }  # fmt: skip

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> "Inspection":
        """From `as_data`."""
        keys = ("criterion", "thing", "demand", "capacity", "unit", "definition")
        findings = tuple(Finding(**{key: entry[key] for key in keys}) for entry in data["findings"])
        return cls(data["limit_state"], data["outcome"], findings, data["complete"])

    def __str__(self) -> str:
        lines = [f"{self.limit_state}: {self.outcome}; verdict: {self.verdict}"]
        for f in self.findings:
            capacity = "–" if f.capacity is None else f"{f.capacity:.4g}"
            use = "" if f.use is None else f"{100 * f.use:5.0f} %"
            lines.append(
                f"  {f.criterion:<30}{f.thing:<26}{f.demand:>11.4g} /{capacity:>9} {f.unit:<5}{use:>8}  {f.verdict}"
            )
        return "\n".join(lines)


def _rank(finding: Finding) -> tuple[float, float]:
    return (-1.0, finding.demand) if finding.use is None else (finding.use, finding.demand)


def inspect(
    test: Measured,
    residual: Mapping[str, float],
    wear: Mapping[str, Wear],
    criteria: Criteria,
    limit_state: str,
    first: Measured | None = None,
    periods: tuple[float | None, float | None] = (None, None),
) -> Inspection:
    """Compare a test with its criteria.

    `residual` are the storey drift ratios at rest after it; `wear` the devices' after it; `first` the test that this
    one repeats with new devices, and `periods` (s) those of small vibrations before the first and before this one,
    for the recovered stiffness.
    """
    found = [
        *_devices(test, wear, criteria, limit_state),
        *_storeys(test, residual, criteria, limit_state),
        *_elastic(test, criteria),
    ]
    if test.imbalance is not None:
        found.append(
            Finding("energy imbalance", "whole frame", test.imbalance, criteria.imbalance, "-",
                    "largest imbalance of the energy account over the largest input")
        )  # fmt: skip
    if first is not None:
        found += _stiffness(test, first, periods, criteria)
    return Inspection(limit_state, test.outcome, tuple(found), test.completed)


def _devices(test: Measured, wear: Mapping[str, Wear], criteria: Criteria, limit_state: str) -> list[Finding]:
    found = []
    for name, loop in test.devices.items():
        capacity = criteria.of_device(name)
        unit = "rad" if loop.turns else "m"
        here = wear.get(name, Wear().after(loop))
        peak = float(abs(loop.deformation).max())
        found.append(
            Finding("device deformation", name, peak, capacity.deformation_at(limit_state) if capacity else None, unit,
                    "largest |deformation| in this test")
        )  # fmt: skip
        found.append(
            Finding("device energy", name, here.energy, capacity.energy if capacity else None, "J",
                    "energy lost since the device was put in")
        )  # fmt: skip
        damage = capacity.damage(np.asarray(here.turning, dtype=float)) if capacity else None
        if damage is not None:
            found.append(
                Finding("device fatigue", name, damage, 1.0, "-",
                        "Miner's sum since the device was put in, rainflow cycles on its Coffin-Manson line")
            )  # fmt: skip
    return found


def _storeys(
    test: Measured, residual: Mapping[str, float], criteria: Criteria, limit_state: str
) -> list[Finding]:
    limit = criteria.drift.get(limit_state)
    peaks = [
        Finding(
            "storey drift", name, float(abs(drift).max()), limit, "-", "largest |drift ratio| in this test"
        )
        for name, drift in test.drifts.items()
    ]
    left = [
        Finding(
            "residual drift",
            name,
            abs(value),
            criteria.residual_drift,
            "-",
            "|drift ratio| at rest after the test",
        )
        for name, value in residual.items()
    ]
    return peaks + left


def _elastic(test: Measured, criteria: Criteria) -> list[Finding]:
    found = []
    for rule in criteria.elastic:
        for name in rule.members(list(test.strain)):
            found.append(
                Finding("strain of what stays elastic", name, test.strain[name], rule.limit, "-",
                        "largest |N|/EA + |M|c/EI at its ends")
            )  # fmt: skip
    return found


def _stiffness(
    test: Measured, first: Measured, periods: tuple[float | None, float | None], criteria: Criteria
) -> list[Finding]:
    found = []
    definition = "|K/K first − 1|, K: least-squares slope of base shear over roof displacement"
    try:
        change = abs(test.regression() / first.regression() - 1.0)
        found.append(
            Finding("recovered stiffness", "in the test", change, criteria.stiffness, "-", definition)
        )
    except InputError:
        pass  # a roof that does not move has no slope
    old, new = periods
    if old is not None and new is not None:
        definition = "|T²first/T² − 1|, T: first period of small vibrations before the test"
        change = abs((old / new) ** 2 - 1.0)
        found.append(
            Finding("recovered stiffness", "small vibrations", change, criteria.stiffness, "-", definition)
        )
    return found


def inspect_fit(replacement: Replacement, criteria: Criteria) -> tuple[Finding, ...]:
    """Misfit of each new device beside the play of its connections, and the residual drift after the works."""
    found = []
    for swap in replacement.swaps:
        name = f"{swap.device}: {swap.law}"
        capacity = criteria.of_device(name)
        found.append(
            Finding("fit of new devices", name, abs(swap.misfit), capacity.fit if capacity else None,
                    "rad" if swap.turns else "m", "|misfit| of the connection against the drawn geometry")
        )  # fmt: skip
    for name, value in replacement.drift_after.items():
        found.append(
            Finding("residual drift after works", name, abs(value), criteria.residual_drift, "-",
                    "|drift ratio| at rest with the new devices")
        )  # fmt: skip
    return tuple(found)
