"""What a search for the best cut needs and gives: the rig, the weights of the score, ranked cuts as table, dict and CSV."""

import csv
import io
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from frame2d.errors import InputError, positive, within
from frame2d.model import Frame
from frame2d.reduction.cut_model import TestModel
from frame2d.reduction.cuts import Cut
from frame2d.reduction.fidelity_table import Limits
from frame2d.written import written

#: Share of a capacity that a test may use (common practice, no source).
GATE = 0.85


@dataclass(frozen=True)
class Rig:
    """What the laboratory has: number of actuators, force (N) and stroke (m, one way) of each; rotary ones too.

    `rotary` says whether moments can be driven; `moment` (N·m) is then their capacity.
    """

    actuators: int = 4
    force: float = math.inf
    stroke: float = math.inf
    rotary: bool = False
    moment: float = math.inf

    def __post_init__(self) -> None:
        within("Rig.actuators", self.actuators, 1, 1000)
        for name in ("force", "stroke", "moment"):
            value = getattr(self, name)
            if value != math.inf:
                positive(f"Rig.{name}", value)


@dataclass(frozen=True)
class Weights:
    """Weights of the score: error as a share of its bound, actuators and capacities of what the rig has, moment lost."""

    error: float = 1.0
    actuators: float = 0.25
    capacity: float = 0.25
    moment: float = 0.25


@dataclass(frozen=True)
class Ranked:
    """One candidate with its numbers; `refused` says why it could not be built or run, or what it lacks."""

    cut: Cut
    model: TestModel | None = field(repr=False, default=None)
    #: Over the records: worst floor by NRMSE and by peak, peak base shear, worst dissipated energy (all devices, each
    #: tested one); with their signs.
    nrmse: float = math.nan
    peak: float = math.nan
    shear: float = math.nan
    energy: float = math.nan
    #: Largest of the four over its bound.
    error: float = math.nan
    actuators: int = 0
    #: Largest force (N), stroke (m), moment (N·m) of an actuator.
    force: float = 0.0
    stroke: float = 0.0
    moment: float = 0.0
    #: Largest moment lost at a released rotation, N·m, and its share of the plastic (or the largest end) moment.
    lost: float = 0.0
    lost_share: float = 0.0
    #: Share of the devices' dissipated energy that the specimen dissipates.
    tested_energy: float = 0.0
    score: float = math.inf
    feasible: bool = False
    best_possible: bool = False
    refused: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Numbers as plain data."""
        kept = {name: value for name, value in vars(self).items() if name not in ("cut", "model")}
        return {"cut": self.cut.name, **kept}


@dataclass(frozen=True)
class CutRanking:
    """Candidates from the best to the worst."""

    frame: Frame = field(repr=False)
    entries: tuple[Ranked, ...]
    rig: Rig
    limits: Limits
    interrupted: bool = False
    left: int = 0

    @property
    def best(self) -> Ranked:
        """The best feasible candidate; raises `InputError` where there is none."""
        for entry in self.entries:
            if entry.feasible:
                return entry
        reasons = "; ".join(f"{entry.cut.name}: {entry.refused}" for entry in self.entries[:3])
        raise InputError(f"no candidate cut is feasible with {self.rig}; for instance {reasons}")

    def front(self) -> list[Ranked]:
        """Feasible candidates that no other one beats in error, actuators, capacity and moment lost at once."""
        return [entry for entry in self.entries if entry.best_possible]

    def text(self) -> str:
        """Table of all candidates; a dot marks those that no other beats in everything."""
        head = (
            f"{'':2} {'cut':<48} {'error/bound':>11} {'NRMSE':>7} {'peak':>7} {'shear':>7} {'energy':>7} {'act.':>4} {'force':>8} "
            f"{'stroke':>8} {'moment lost':>15} {'tested':>7} {'score':>6}"
        )
        unit = (
            f"{'':2} {'':<48} {'':>11} {'%':>7} {'%':>7} {'%':>7} {'%':>7} {'':>4} {'kN':>8} {'mm':>8} "
            f"{'kN·m (%)':>15} {'% en.':>7}"
        )
        lines = [f"cuts of {self.frame.name}, {len(self.entries)} candidates", head, unit]
        for entry in self.entries:
            if math.isnan(entry.error):
                lines.append(f"   {entry.cut.name:<48} {entry.refused}")
                continue
            lost = f"{entry.lost / 1e3:.0f} ({100 * entry.lost_share:.0f})"
            lines.append(
                f"{'•' if entry.best_possible else '':2} {entry.cut.name:<48} {entry.error:11.3f} "
                f"{100 * entry.nrmse:7.2f} {100 * entry.peak:+7.2f} {100 * entry.shear:+7.2f} {100 * entry.energy:+7.2f} {entry.actuators:4d} "
                f"{entry.force / 1e3:8.0f} {1e3 * entry.stroke:8.1f} {lost:>15} {100 * entry.tested_energy:7.1f} "
                f"{entry.score:6.2f}" + (f"  {entry.refused}" if entry.refused else "")
            )
        if self.interrupted:
            lines.append(f"INTERRUPTED: {self.left} candidates were not run")
        return "\n".join(lines)

    def __str__(self) -> str:
        return self.text()

    def as_dict(self) -> dict[str, Any]:
        """Everything as plain data."""
        return {
            "frame": self.frame.name,
            "rig": dict(vars(self.rig)),
            "interrupted": self.interrupted,
            "not run": self.left,
            "cuts": [entry.as_dict() for entry in self.entries],
        }

    def to_csv(self, path: Any) -> None:
        """Write the table as CSV (SI); the file appears whole or not at all."""
        buffer = io.StringIO()
        rows = [entry.as_dict() for entry in self.entries]
        writer = csv.DictWriter(buffer, list(rows[0]) if rows else ["cut"], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        target = Path(path)
        with written(target) as beside:
            beside.write_text(buffer.getvalue(), encoding="utf-8")
