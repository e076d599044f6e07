"""`Measured`: what one test of a campaign leaves behind as plain arrays, computed or measured, on disk and back."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import h5py
import numpy as np

from frame2d.errors import InputError
from frame2d.written import written

if TYPE_CHECKING:
    from frame2d.analysis.response import Response
    from frame2d.campaign.capacities import StaysElastic

FORMAT = "frame2d/measured/1"


class Loop(NamedTuple):
    """Deformation (m or rad), force (N or N·m), energy lost so far (J) of one law; `turns`: a rotation."""

    deformation: np.ndarray
    force: np.ndarray
    lost: np.ndarray
    turns: bool


@dataclass(frozen=True)
class Measured:
    """Histories of one test, at common times (s).

    `floors` (m, relative to the ground), `drifts` (ratios), `shear` (N), `devices` (by law), `strain` (largest of each
    member that must stay elastic), `energies` (J), `ground` (m/s²). `outcome` is the text of how it ended and
    `completed` whether all of it was run; a run that did not converge is not a collapse.
    """

    time: np.ndarray
    floors: dict[str, np.ndarray]
    drifts: dict[str, np.ndarray]
    shear: np.ndarray
    devices: dict[str, Loop]
    heights: dict[str, float]
    outcome: str = "completed"
    completed: bool = True
    collapsed: bool = False
    strain: dict[str, float] = field(default_factory=dict)
    energies: dict[str, np.ndarray] = field(default_factory=dict)
    imbalance: float | None = None
    ground: np.ndarray | None = None
    #: Where the numbers come from: "computed", "rehearsal", "hybrid test".
    origin: str = "computed"
    counts: dict[str, int] = field(default_factory=dict)

    @property
    def roof(self) -> np.ndarray:
        """Displacement of the highest floor, m."""
        return self.floors[max(self.heights, key=lambda name: self.heights[name])]

    def secant(self) -> float:
        """Base shear over roof displacement, peak to peak, N/m."""
        travel = float(np.ptp(self.roof))
        if travel <= 0.0:
            raise InputError("the roof does not move; its stiffness is not defined")
        return float(np.ptp(self.shear)) / travel

    def regression(self) -> float:
        """Base shear over roof displacement by least squares about the means, N/m."""
        u, v = self.roof - self.roof.mean(), self.shear - self.shear.mean()
        if not np.any(u):
            raise InputError("the roof does not move; its stiffness is not defined")
        return float(u @ v / (u @ u))

    def save(self, path: Any) -> None:
        """Write to HDF5, beside the target, then move into place."""
        target = Path(path)
        with written(target) as beside, h5py.File(beside, "w") as file:
            file.attrs["format"] = FORMAT
            for name in ("outcome", "completed", "collapsed", "origin"):
                file.attrs[name] = getattr(self, name)
            for name, value in (("heights", self.heights), ("strain", self.strain), ("counts", self.counts)):
                file.attrs[name] = json.dumps(value)
            file.attrs["imbalance"] = np.nan if self.imbalance is None else self.imbalance
            _put(file, "time", self.time)
            _put(file, "shear", self.shear)
            if self.ground is not None:
                _put(file, "ground", self.ground)
            for group, table in (
                ("floors", self.floors),
                ("drifts", self.drifts),
                ("energies", self.energies),
            ):
                for number, (name, values) in enumerate(table.items()):
                    _put(file, f"{group}/{number:04d}", values).attrs["name"] = name
            for number, (name, loop) in enumerate(self.devices.items()):
                for part in ("deformation", "force", "lost"):
                    _put(file, f"devices/{number:04d}/{part}", getattr(loop, part))
                file[f"devices/{number:04d}"].attrs["name"] = name
                file[f"devices/{number:04d}"].attrs["turns"] = loop.turns

    @classmethod
    def load(cls, path: Any) -> "Measured":
        """Read what `save` wrote; raises `InputError` for another kind of file."""
        with h5py.File(path, "r") as file:
            if file.attrs.get("format") != FORMAT:
                raise InputError(f"{path} has format {file.attrs.get('format')!r}; allowed: {FORMAT!r}")
            heights: dict[str, float] = json.loads(file.attrs["heights"])

            def table(group: str) -> dict[str, np.ndarray]:
                return {str(v.attrs["name"]): v[()] for v in file[group].values()} if group in file else {}

            devices = {
                str(g.attrs["name"]): Loop(
                    g["deformation"][()], g["force"][()], g["lost"][()], bool(g.attrs["turns"])
                )
                for g in (file["devices"].values() if "devices" in file else ())
            }
            imbalance = float(file.attrs["imbalance"])
            return cls(
                file["time"][()],
                table("floors"),
                table("drifts"),
                file["shear"][()],
                devices,
                heights,
                str(file.attrs["outcome"]),
                bool(file.attrs["completed"]),
                bool(file.attrs["collapsed"]),
                json.loads(file.attrs["strain"]),
                table("energies"),
                None if np.isnan(imbalance) else imbalance,
                file["ground"][()] if "ground" in file else None,
                str(file.attrs["origin"]),
                json.loads(file.attrs["counts"]),
            )


def _put(file: Any, name: str, values: np.ndarray) -> Any:
    data = np.asarray(values, dtype=np.float64)
    return file.create_dataset(name, data=data, compression="gzip", compression_opts=1)


def measured(
    response: "Response", elastic: "tuple[StaysElastic, ...]" = (), origin: str = "computed"
) -> Measured:
    """Histories of a `Response`; times count from its start. Devices only, or every law where nothing is a device."""
    from frame2d.analysis.outcome import Outcome

    system = response.system
    if not system.frame.floors:
        raise InputError(
            f"frame {system.frame.name!r} has no floors; allowed: frame.floor(…) for each level, drifts are taken there"
        )
    marked = set(system.frame.devices())
    loops = {}
    lawful = [place for place in system.parts if place.part.law is not None]
    for name, place in zip(response.laws(), lawful, strict=True):
        if marked and place.member not in marked:
            continue
        loop = response.device(name)
        lost = loop.work - loop.recoverable
        touched = np.abs(place.part.transform[-1:]).sum(axis=0) > 0.0
        turns = place.last - place.first <= 2 and bool(
            np.all(system.kinds[system.freedoms_of[place.member][touched]] == "r")
        )
        loops[name] = Loop(loop.deformation, loop.force, lost - lost[0], turns)
    strain = {}
    for rule in elastic:
        for name in rule.members(list(system.frame.members)):
            member: Any = system.frame.members[name].member
            ends = response.end_forces(name)
            moment = np.maximum(np.abs(ends["M_start"]), np.abs(ends["M_end"]))
            axial = np.maximum(np.abs(ends["N"]), np.abs(ends["N_start"]))
            history = axial / (member.E * member.A) + moment * rule.half_depth / (member.E * member.I)
            strain[name] = float(history.max())
    return Measured(
        response.time - response.time[0],
        {name: response.floor(name) for name, _ in system.frame.levels()},
        response.drifts(),
        response.base_shear(),
        loops,
        {name: float(level) for name, level in system.frame.levels()},
        response.outcome.value,
        response.outcome is Outcome.COMPLETED,
        response.outcome is Outcome.COLLAPSED,
        strain,
        response.energies(),
        response.imbalance(),
        response.extra.get("ground"),
        origin,
        response.counts(),
    )
