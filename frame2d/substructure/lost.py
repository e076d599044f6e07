"""What a cut loses: forces of released freedoms, moments at hinges, axial force that the specimen does not feel."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from frame2d.analysis import gravity
from frame2d.errors import InputError, known, positive
from frame2d.model.frame import COMPONENTS
from frame2d.substructure.split import Freedom, Split, split

if TYPE_CHECKING:
    from frame2d.analysis.response import Response
    from frame2d.model.state import State
    from frame2d.model.system import System


class Lost(NamedTuple):
    """Force across a released freedom in the unsplit frame, by step (N or N·m), and what it is measured by."""

    force: np.ndarray
    peak: float
    #: Plastic moment given, or the largest end moment (force) of the tested members at the node.
    reference: float
    share: float


def lost_forces(
    cut: Split, response: "Response", plastic: Mapping[str, float] | None = None
) -> dict[Freedom, Lost]:
    """Force (N) or moment (N·m) that the tested members give the rest over each released freedom.

    `response` is a run or push of the unsplit frame. A moment's `share` is its peak over the plastic moment of the
    node, if `plastic` has it (N·m), else over the largest end moment of the tested members there, as a force's is.
    """
    if response.system.frame is not cut.whole:
        raise InputError(
            "the response belongs to another frame; allowed: a run of the unsplit frame, for instance of "
            "split.whole_system"
        )
    result = {}
    for node, component in cut.released:
        column = COMPONENTS.index(component)
        total, largest = np.zeros(response.time.size), 0.0
        for name in cut.tested_members:
            placed = cut.whole.members[name]
            if node not in (placed.i, placed.j):
                continue
            forces = end_forces(response, name)
            total = total + forces[:, column if node == placed.i else 3 + column]
            largest = max(largest, float(np.abs(forces[:, [column, 3 + column]]).max()))
        peak = float(np.abs(total).max())
        reference = largest
        if component == "rz" and plastic and node in plastic:
            reference = positive(f"plastic moment at node {node!r}", plastic[node])
        result[node, component] = Lost(total, peak, reference, peak / reference if reference > 0.0 else 0.0)
    return result


def end_forces(response: "Response", name: str) -> np.ndarray:
    """Forces of a member on its end freedoms, with what its own loads take, steps × 6."""
    forces = response.member_forces(name)[:, :6]
    factors = response.case_factors()
    for load in response.system.frame.member_loads:
        if load.member == name and load.case in factors:
            forces = forces - np.outer(factors[load.case], response.system.equivalent(load)[:6])
    return np.asarray(forces)


class ColumnEffect(NamedTuple):
    """A tested column without and with its axial force, beside the unsplit frame; peaks over the run."""

    compression: dict[str, float]
    moment: dict[str, float]
    hinge: dict[str, float]


@dataclass(frozen=True)
class AxialEffect:
    """Runs of the model "whole", "missing" (no weight on the specimen) and "present" (all of it)."""

    columns: dict[str, ColumnEffect]
    base_shear: dict[str, float]
    responses: dict[str, "Response"]

    def change(self, name: str) -> float:
        """Peak end moment of a tested column without its axial force, over that with it, minus one."""
        moment = self.columns[known("tested column", name, self.columns)].moment
        return moment["missing"] / moment["present"] - 1.0

    def summary(self) -> str:
        """Peaks of every tested column both ways, as text."""
        lines = ["base shear: " + ", ".join(f"{way} {value:.4g} N" for way, value in self.base_shear.items())]
        for name, found in self.columns.items():
            lines.append(f"{name}: missing axial force changes the peak moment by {self.change(name):+.1%}")
            for what, unit, values in (
                ("compression", "N", found.compression),
                ("end moment", "N·m", found.moment),
                ("hinge rotation", "rad", found.hinge),
            ):
                # What rounding leaves of an unloaded column is nothing.
                least = 1e-9 * max(abs(value) for value in values.values())
                shown = {way: value if abs(value) > least else 0.0 for way, value in values.items()}
                lines.append(
                    f"  {what}: " + ", ".join(f"{way} {value:.4g} {unit}" for way, value in shown.items())
                )
        return "\n".join(lines)


def axial_effect(
    cut: Split, run: Callable[["System", "State"], "Response"], case: str = "gravity"
) -> AxialEffect:
    """Run the model both ways, without and with the weight on the specimen, and beside it the unsplit frame.

    `run` takes a system and its state under load case `case` and returns a push or a time history. Estimates what the
    missing axial force does to the strength and the hinges of the tested columns.
    """
    columns = [name for strut in cut.struts for name in strut.columns]
    if not columns:
        raise InputError("no tested column lost its axial force; allowed: an interface without its 'uy'")
    own = [node for node in cut.tested.nodes if cut.shares[node] > 0.0]
    loaded = [node for node in own if any(load.node == node and load.fy for load in cut.whole.node_loads)]
    along = {load.member for load in cut.whole.member_loads} & set(cut.tested_members)
    systems = {"whole": cut.whole_system}
    for way, on_specimen in (("missing", [*along]), ("present", [*columns, *loaded, *along])):
        again = split(
            cut.whole,
            cut.tested_members,
            cut.interface,
            tested_share=shared_by_choice(cut),
            on_specimen=on_specimen,
            case=case,
        )
        systems[way] = again.joined_system
    responses = {way: run(system, gravity(system, case=case).state) for way, system in systems.items()}
    found = {}
    for name in columns:
        compression, moment, hinge = {}, {}, {}
        for way, response in responses.items():
            ends = response.end_forces(name)
            compression[way] = float(np.max(-ends["N"]))
            moment[way] = float(max(np.abs(ends["M_start"]).max(), np.abs(ends["M_end"]).max()))
            turned = [
                float(np.abs(response.device(law).deformation).max())
                for law in response.laws()
                if law.split(":")[0] == name
            ]
            hinge[way] = max(turned, default=0.0)
        found[name] = ColumnEffect(compression, moment, hinge)
    shear = {way: float(np.abs(response.base_shear()).max()) for way, response in responses.items()}
    return AxialEffect(found, shear, responses)


def shared_by_choice(cut: Split) -> dict[str, float]:
    """Shares of the nodes that have members of both parts."""
    own = {end for n in cut.tested_members for end in (cut.whole.members[n].i, cut.whole.members[n].j)}
    rest = {
        end
        for n, placed in cut.whole.members.items()
        if n not in cut.tested_members
        for end in (placed.i, placed.j)
    }
    return {node: cut.shares[node] for node in own & rest}


__all__ = ["AxialEffect", "ColumnEffect", "Lost", "axial_effect", "lost_forces"]
