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
from frame2d.substructure.joined import joined, twin
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
from frame2d.substructure.vertical import (
    Strut,
    add_struts,
    applied_forces,
    is_column,
    move_weights,
    press,
    struts,
)

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
    #: Ways down for weights whose vertical freedom is released.
    struts: tuple[Strut, ...] = ()
    #: Compression that really acts on tested columns, N.
    applied: Mapping[str, float] = field(default_factory=dict)

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

    @cached_property
    def joined(self) -> Frame:
        """Both parts as one frame, tied at the interface alone."""
        return joined(self)

    @cached_property
    def joined_system(self) -> System:
        """The joined frame, compiled; raises `InputError` where the cut leaves a mechanism."""
        return self.joined.compile()

    def system(self, part: str) -> System:
        """System of "whole", "joined", "computed" or "tested"."""
        known("part", part, ("whole", "joined", COMPUTED, TESTED))
        systems = {name: f"{name}_system" for name in ("whole", "joined", COMPUTED, TESTED)}
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

    def expand(self, part: str, source: str = "whole") -> csr_matrix:
        """Free displacements of a part from those of the whole (or of the joined parts), part's free × its free."""
        system, whole = self.system(part), self.system(source)
        numbers = numbers_in(system, whole, self._names(part, source))
        return csr_matrix(whole.free[numbers[system.leads]])

    def _names(self, part: str, source: str) -> dict[str, str]:
        doubled = part == TESTED and source == "joined"
        return {node: twin(self, node) if doubled else node for node in self.system(part).node_index}

    def slice(self, part: str, kind: str = "stiffness") -> csr_matrix:
        """Sum of a part's slice of the whole's element tensor ("stiffness", "damped" or "mass"), on all freedoms."""
        whole = self.whole_system
        tensor = whole.tensor[known("kind of matrix", kind, whole.tensor)]
        tested = np.array([name in self.tested_members for name in whole.pieces])
        element, rows, cols = tensor.coords
        own = tested[element] == (known("part", part, (COMPUTED, TESTED)) == TESTED)
        return csr_matrix((tensor.data[own], (rows[own], cols[own])), shape=tensor.shape[1:])

    def share(self, state: State, source: str = "whole") -> dict[str, State]:
        """States of both parts, by name, that move, remember and carry what the whole does in `state`.

        With released freedoms the whole's loads would leave the parts out of balance: share a state of the "joined"
        system then, for instance that of `start`.
        """
        return {
            part: share_state(
                self.system(part),
                self.system(source),
                state,
                self.expand(part, source),
                self._names(part, source),
            )
            for part in (COMPUTED, TESTED)
        }

    def start(self, case: str = "gravity") -> dict[str, State]:
        """States of both parts under their weights, in equilibrium with each other at the interface."""
        from frame2d.analysis import gravity

        return self.share(gravity(self.joined_system, case=case).state, "joined")

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


def numbers_in(system: System, whole: System, names: Mapping[str, str]) -> np.ndarray:
    """Number in the whole of each of all freedoms of a part, whose nodes have `names` there; −1: the part's own."""
    numbers = np.full(system.size, -1, dtype=np.int64)
    for node, n in system.node_index.items():
        if names[node] in whole.node_index:
            numbers[3 * n : 3 * n + 3] = 3 * whole.node_index[names[node]] + np.arange(3)
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
    on_specimen: Iterable[str] | Mapping[str, float | None] = (),
    case: str = "gravity",
) -> Split:
    """Divide `frame` into a computed part and the `tested` members, links or devices.

    `interface` are the freedoms (node, "ux" | "uy" | "rz") that are tied; by default all that both parts have, without
    which the union of the parts is not the whole. Leaving one out releases it: without "rz" a cut column has a hinge;
    without "uy" the weight goes down a strut on the computed side, with its second-order force.
    `tested_share` is the share (0 to 1) of the masses and loads of a node with members of both parts that belongs to
    the tested part; by default they are computed. `on_specimen` declares the vertical loads that the specimen really
    carries: names of tested columns (their axial force in load case `case`, or {name: compression in N}), of tested
    nodes, and of tested members with loads along them. All others act on the computed side. Raises `InputError` for
    unknown names, freedoms that cannot be tied, and weights without a way down.
    """
    chosen = tested_members(frame, tested)
    computed_nodes, tested_nodes = spread_nodes(frame, chosen)
    share = shares(frame, chosen, computed_nodes, tested_nodes, tested_share or {})
    rest = {node: 1.0 - value for node, value in share.items()}
    computed = part_of(frame, COMPUTED, set(frame.members) - chosen, computed_nodes, rest)
    own = part_of(frame, TESTED, chosen, tested_nodes, share)
    declared = dict(on_specimen) if isinstance(on_specimen, Mapping) else dict.fromkeys(on_specimen)
    ways: list[Strut] = []
    applied: dict[str, float] = {}
    tied: tuple[Freedom, ...] = ()
    if interface is not None:
        tied = named(interface, tested_nodes)
        ways = struts(frame, chosen, computed_nodes | {node for node, _ in tied}, tied)
    pressed = {name for name in declared if name in chosen and is_column(frame, name)}
    if declared and not ways:
        raise InputError(
            f"on_specimen names {sorted(declared)}, but no weight is cut off: the interface ties every vertical "
            "freedom above tested columns; allowed: no declaration"
        )
    if ways:
        applied = applied_forces(frame, ways, {name: declared[name] for name in pressed}, case)
        add_struts(computed, frame, ways, applied)
        move_weights(computed, own, set(declared) - pressed, tied)
        press(own, frame, applied, case)
    systems = PartSystem(computed), PartSystem(own)
    possible = shared_freedoms(*systems)
    if not possible:
        raise InputError(
            f"the tested members {sorted(chosen)} share no free freedom with the rest; allowed: parts that meet"
        )
    tied = tuple(possible) if interface is None else checked(tied, systems)
    result = Split(
        whole=frame,
        computed=computed,
        tested=own,
        interface=tied,
        released=tuple(freedom for freedom in possible if freedom not in tied),
        tested_members=tuple(name for name in frame.members if name in chosen),
        shares=share,
        struts=tuple(ways),
        applied=applied,
    )
    result.__dict__.update(computed_system=systems[0], tested_system=systems[1])
    return result


def named(interface: Iterable[Freedom], tested_nodes: set[str]) -> tuple[Freedom, ...]:
    """Interface freedoms with names that exist; raises `InputError`."""
    result = []
    for node, component in interface:
        known("component of the interface", component, COMPONENTS)
        known("node of the interface in the tested part", node, tested_nodes)
        if (node, component) in result:
            raise InputError(f"{component} of node {node!r} stands twice in the interface; allowed: once")
        result.append((node, component))
    if not result:
        raise InputError("the interface is empty; allowed: at least one (node, component)")
    return tuple(result)


def checked(tied: tuple[Freedom, ...], systems: tuple[System, System]) -> tuple[Freedom, ...]:
    """Interface freedoms that are free in both parts and none of which follows from others; raises `InputError`."""
    for node, component in tied:
        for part, system in zip((COMPUTED, TESTED), systems, strict=True):
            known(f"node of the interface in the {part} part", node, system.node_index)
            if not np.any(system.row(node, component)):
                raise InputError(
                    f"{component} of node {node!r} is not free in the {part} part; allowed: freedoms that both parts "
                    "have. Likely mistake: a supported freedom, or the rotation of a pinned end"
                )
    rows: Any = np.hstack([pick(systems[0], tied).toarray(), -pick(systems[1], tied).toarray()])
    if np.linalg.matrix_rank(rows) < len(tied):
        raise InputError(
            f"the interface {tied} says something twice; allowed: freedoms of which none follows from the others. "
            "Likely mistake: two nodes of one tied floor"
        )
    return tied
