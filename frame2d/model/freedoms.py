"""Which freedoms are free: supports, ties and rigid bodies turned into one linear map u = T·q + S·s."""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix

from frame2d.errors import InputError
from frame2d.model.frame import COMPONENTS, Frame


@dataclass(frozen=True)
class Freedoms:
    """Map from free freedoms q and support displacements s to all freedoms u (nodes by three, then inner ones)."""

    #: T, all × free, and S, all × supports.
    free: csr_matrix
    supported: csr_matrix
    #: Freedoms of all that lead, in the order of q before elimination ordering, and the supported ones.
    leads: np.ndarray
    held: np.ndarray
    #: Freedoms that nothing touches (a node on pins only): left out, always zero.
    idle: np.ndarray


def node_freedom(index: dict[str, int], node: str, component: str) -> int:
    """Number of a node's freedom among all."""
    return 3 * index[node] + COMPONENTS.index(component)


def map_freedoms(frame: Frame, inner: int, touched: np.ndarray) -> Freedoms:
    """Resolve supports, ties and bodies of `frame` with `inner` inner freedoms; raises `InputError` on conflicts."""
    index = {name: number for number, name in enumerate(frame.nodes)}
    total = 3 * len(index) + inner
    held = {
        node_freedom(index, node, component) for node, parts in frame.supports.items() for component in parts
    }
    follows: dict[int, list[tuple[int, float]]] = {}

    def label(freedom: int) -> str:
        return f"{COMPONENTS[freedom % 3]} of node {list(index)[freedom // 3]!r}"

    def bind(freedom: int, terms: list[tuple[int, float]], what: str) -> None:
        if freedom in follows:
            raise InputError(
                f"{label(freedom)} follows two leads ({what}). Likely mistake: a node in two ties or rigid bodies"
            )
        if freedom in held:
            if all(lead in held for lead, _ in terms):
                return
            raise InputError(
                f"{label(freedom)} is supported and follows {label(terms[0][0])} ({what}). "
                "Likely mistake: name the supported node first in the tie"
            )
        follows[freedom] = terms

    followers = {node_freedom(index, *follower) for follower, _ in frame.follows}
    # Ties that share nodes are one group: the supported node leads, else one that follows others, else the first.
    for component in COMPONENTS:
        groups: list[list[str]] = []
        for tied, nodes in frame.ties:
            if tied != component:
                continue
            members = list(nodes)
            apart = []
            for group in groups:
                if set(group) & set(members):
                    members = group + [node for node in members if node not in group]
                else:
                    apart.append(group)
            groups = [*apart, members]
        for group in groups:
            freedoms = [node_freedom(index, node, component) for node in group]
            lead = next((freedom for freedom in freedoms if freedom in held), None)
            if lead is None:
                lead = next((freedom for freedom in freedoms if freedom in followers), freedoms[0])
            for freedom in freedoms:
                if freedom != lead:
                    bind(freedom, [(lead, 1.0)], f"tie of {component}")
    for follower, terms in frame.follows:
        bind(
            node_freedom(index, *follower),
            [(node_freedom(index, node, component), weight) for node, component, weight in terms],
            "linear follower",
        )
    for lead_node, nodes, parts in frame.bodies:
        origin = frame.nodes[lead_node]
        turn = node_freedom(index, lead_node, "rz")
        for node in nodes:
            dx, dy = frame.nodes[node].x - origin.x, frame.nodes[node].y - origin.y
            if "ux" in parts:
                bind(
                    node_freedom(index, node, "ux"),
                    [(node_freedom(index, lead_node, "ux"), 1.0), (turn, -dy)],
                    f"rigid body of {lead_node!r}",
                )
            if "uy" in parts:
                bind(
                    node_freedom(index, node, "uy"),
                    [(node_freedom(index, lead_node, "uy"), 1.0), (turn, dx)],
                    f"rigid body of {lead_node!r}",
                )
            if "rz" in parts:
                bind(node_freedom(index, node, "rz"), [(turn, 1.0)], f"rigid body of {lead_node!r}")

    resolved: dict[int, dict[int, float]] = {}

    def resolve(freedom: int, path: tuple[int, ...]) -> dict[int, float]:
        if freedom in path:
            raise InputError(
                f"{label(freedom)} follows itself around a circle of ties. "
                "Likely mistake: two bodies that lead each other"
            )
        if freedom not in resolved:
            terms: dict[int, float] = {}
            if freedom in follows:
                for lead, weight in follows[freedom]:
                    for end, share in resolve(lead, (*path, freedom)).items():
                        terms[end] = terms.get(end, 0.0) + weight * share
            else:
                terms = {freedom: 1.0}
            resolved[freedom] = terms
        return resolved[freedom]

    rows, ends, weights = [], [], []
    for freedom in range(total):
        for end, weight in resolve(freedom, ()).items():
            if weight != 0.0:
                rows.append(freedom)
                ends.append(end)
                weights.append(weight)
    everything = coo_matrix((weights, (rows, ends)), shape=(total, total)).tocsc()
    reached = np.asarray(abs(everything[touched]).sum(axis=0)).ravel() > 0.0
    is_lead = np.asarray(abs(everything).sum(axis=0)).ravel() > 0.0
    held_list = np.array(sorted(held), dtype=np.int64)
    is_free = is_lead & reached
    is_free[held_list] = False
    idle = is_lead & ~reached
    idle[held_list] = False
    leads = np.flatnonzero(is_free)
    return Freedoms(
        everything[:, leads].tocsr(),
        everything[:, held_list].tocsr(),
        leads,
        held_list,
        np.flatnonzero(idle),
    )
