"""`split`: a frame divided in a computed and a tested part along interface freedoms.

Members are dealt out, never copied: the parts are slices of the element tensor, and the sum of the slices is the
whole. Masses, loads and constraints of shared nodes are dealt out by stated shares. In the free freedoms q of each
part the interface displacements are

    u_interface = pick_computed · q_computed = pick_tested · q_tested
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from scipy.sparse import csr_matrix, vstack

from frame2d.errors import InputError, known
from frame2d.model.frame import COMPONENTS, Frame
from frame2d.model.freedoms import node_freedom
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.substructure.part_system import PartSystem
from frame2d.substructure.parts import (
    COMPUTED,
    TESTED,
    part_of,
    shares,
    spread_nodes,
    tested_members,
)
from frame2d.substructure.sharing import share_state

Freedom = tuple[str, str]


@dataclass(frozen=True)
class Split:
    """A frame in two parts. Freedoms are (node, component); matrices act on the free freedoms of each `System`."""

    whole: Frame
    computed: Frame
    tested: Frame
    #: Freedoms that both parts share and that are tied.
    interface: tuple[Freedom, ...]
    #: Freedoms that both parts have and that are left apart: their forces are lost at the cut.
    released: tuple[Freedom, ...]
    #: Names of the tested members.
    tested_members: tuple[str, ...]
    #: Share of each node's masses and loads that went to the tested part.
    shares: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def whole_system(self) -> System:
        """The frame before the cut, compiled."""
        return self.whole.compile()

    @cached_property
    def computed_system(self) -> System:
        """The computed part, compiled; it may float."""
        return PartSystem(self.computed)

    @cached_property
    def tested_system(self) -> System:
        """The tested part, compiled; it may float."""
        return PartSystem(self.tested)

    def system(self, part: str) -> System:
        """System of "whole", "computed" or "tested"."""
        known("part", part, ("whole", COMPUTED, TESTED))
        systems = {"whole": "whole_system", COMPUTED: "computed_system", TESTED: "tested_system"}
        return getattr(self, systems[part])  # type: ignore[no-any-return]

    @cached_property
    def pick_computed(self) -> csr_matrix:
        """Interface displacements from the free freedoms of the computed part, interface × free."""
        return pick(self.computed_system, self.interface)

    @cached_property
    def pick_tested(self) -> csr_matrix:
        """Interface displacements from the free freedoms of the tested part, interface × free."""
        return pick(self.tested_system, self.interface)

    def pick(self, part: str) -> csr_matrix:
        """`pick_computed` or `pick_tested` by name."""
        return self.pick_computed if known("part", part, (COMPUTED, TESTED)) == COMPUTED else self.pick_tested

    def expand(self, part: str) -> csr_matrix:
        """Free displacements of a part from those of the whole, part's free × whole's free."""
        system, whole = self.system(part), self.whole_system
        return csr_matrix(whole.free[whole_freedoms(system, whole)[system.leads]])

    def slice(self, part: str, kind: str = "stiffness") -> csr_matrix:
        """Sum of a part's slice of the whole's element tensor ("stiffness", "damped" or "mass"), on all freedoms."""
        whole = self.whole_system
        known("kind of matrix", kind, whole.tensor)
        names = list(whole.pieces)
        chosen = [n for n, name in enumerate(names) if (name in self.tested_members) == (part == TESTED)]
        return csr_matrix(whole.tensor[kind][chosen].sum(axis=0).tocsr())

    def share(self, state: State) -> dict[str, State]:
        """States of both parts, by name, that move, remember and carry what the whole does in `state`."""
        return {
            part: share_state(self.system(part), self.whole_system, state, self.expand(part))
            for part in (COMPUTED, TESTED)
        }

    def summary(self) -> str:
        """The parts and what ties them, as text."""
        tied = ", ".join(f"{component} of {node}" for node, component in self.interface)
        lost = ", ".join(f"{component} of {node}" for node, component in self.released) or "none"
        masses = [sum(mx for mx, _, _ in frame.masses.values()) for frame in (self.computed, self.tested)]
        return (
            f"{self.whole.name}: {len(self.computed.members)} members computed, {len(self.tested.members)} tested\n"
            f"tied at the interface: {tied}\nreleased at the interface: {lost}\n"
            f"nodal mass: {masses[0]:.6g} kg computed, {masses[1]:.6g} kg tested"
        )


def whole_freedoms(system: System, whole: System) -> np.ndarray:
    """Number in the whole of each of all freedoms of a part (−1: the part's own, as of a strut)."""
    numbers = np.full(system.size, -1, dtype=np.int64)
    for node, n in system.node_index.items():
        if node in whole.node_index:
            numbers[3 * n : 3 * n + 3] = 3 * whole.node_index[node] + np.arange(3)
    for name, own in system.freedoms_of.items():
        if name in whole.freedoms_of:
            numbers[own[6:]] = whole.freedoms_of[name][6:]
    return numbers


def pick(system: System, freedoms: Sequence[Freedom]) -> csr_matrix:
    """Rows that give displacements (node, component) from the free freedoms of a system."""
    rows = [system.free[node_freedom(system.node_index, node, part)] for node, part in freedoms]
    return csr_matrix(vstack(rows)) if rows else csr_matrix((0, system.count))


def shared_freedoms(first: System, second: System) -> list[Freedom]:
    """Free freedoms (node, component) that two parts have in common, without those that follow from others."""
    found: list[Freedom] = []
    basis = np.zeros((0, first.count + second.count))
    for node in first.node_index:
        if node not in second.node_index:
            continue
        for component in COMPONENTS:
            rows = [
                system.free[node_freedom(system.node_index, node, component)].toarray().ravel()
                for system in (first, second)
            ]
            if not (np.any(rows[0]) and np.any(rows[1])):
                continue
            row = np.concatenate([rows[0], -rows[1]])
            apart = row - basis.T @ (basis @ row)
            apart -= basis.T @ (basis @ apart)
            size = float(np.linalg.norm(apart))
            if size > 1e-9 * float(np.linalg.norm(row)):
                basis = np.vstack([basis, apart / size])
                found.append((node, component))
    return found


def split(
    frame: Frame,
    tested: Iterable[str],
    interface: Iterable[Freedom] | None = None,
    *,
    tested_share: Mapping[str, float] | None = None,
) -> Split:
    """Divide `frame` into a computed part and the `tested` members, links or devices.

    `interface` are the freedoms (node, "ux" | "uy" | "rz") that are tied; by default all that both parts have, without
    which the union of the parts is not the whole. Leaving one out releases it: without "rz" a cut column has a hinge.
    `tested_share` is the share (0 to 1) of the masses and loads of a node with members of both parts that belongs to
    the tested part; by default they are computed. Raises `InputError` for unknown names and freedoms that cannot be
    tied.
    """
    chosen = tested_members(frame, tested)
    computed_nodes, tested_nodes = spread_nodes(frame, chosen)
    share = shares(frame, chosen, computed_nodes, tested_nodes, tested_share or {})
    rest = {node: 1.0 - value for node, value in share.items()}
    computed = part_of(frame, COMPUTED, set(frame.members) - chosen, computed_nodes, rest)
    own = part_of(frame, TESTED, chosen, tested_nodes, share)
    systems = PartSystem(computed), PartSystem(own)
    possible = shared_freedoms(*systems)
    if not possible:
        raise InputError(
            f"the tested members {sorted(chosen)} share no free freedom with the rest; allowed: parts that meet"
        )
    tied = tuple(possible) if interface is None else checked(interface, systems)
    result = Split(
        whole=frame,
        computed=computed,
        tested=own,
        interface=tied,
        released=tuple(freedom for freedom in possible if freedom not in tied),
        tested_members=tuple(name for name in frame.members if name in chosen),
        shares=share,
    )
    result.__dict__.update(computed_system=systems[0], tested_system=systems[1])
    return result


def checked(interface: Iterable[Freedom], systems: tuple[System, System]) -> tuple[Freedom, ...]:
    """Interface freedoms that exist in both parts, each once; raises `InputError`."""
    tied: list[Freedom] = []
    for entry in interface:
        node, component = entry
        known("component of the interface", component, COMPONENTS)
        for part, system in zip((COMPUTED, TESTED), systems, strict=True):
            known(f"node of the interface in the {part} part", node, system.node_index)
            if not np.any(system.row(node, component)):
                raise InputError(
                    f"{component} of node {node!r} is not free in the {part} part; allowed: freedoms that both parts "
                    "have. Likely mistake: a supported freedom, or the rotation of a pinned end"
                )
        if (node, component) in tied:
            raise InputError(f"{component} of node {node!r} stands twice in the interface; allowed: once")
        tied.append((node, component))
    if not tied:
        raise InputError("the interface is empty; allowed: at least one (node, component)")
    rows: Any = np.hstack([pick(systems[0], tied).toarray(), -pick(systems[1], tied).toarray()])
    if np.linalg.matrix_rank(rows) < len(tied):
        raise InputError(
            f"the interface {tied} says something twice; allowed: freedoms of which none follows from the others. "
            "Likely mistake: two nodes of one tied floor"
        )
    return tuple(tied)
