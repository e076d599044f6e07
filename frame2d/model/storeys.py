"""Storey drift ratios as linear forms of the free freedoms and the support displacements, through all constraints."""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.errors import InputError

if TYPE_CHECKING:
    from frame2d.model.system import System


class Storeys(NamedTuple):
    """Drift ratios = free · q + supports · s, one row a storey, by the name of the floor above."""

    names: list[str]
    free: csr_matrix
    supports: csr_matrix

    def ratios(self, q: np.ndarray, supports: np.ndarray) -> np.ndarray:
        """Drift ratios (storeys; or steps × storeys) of displacements q and support displacements (m, rad)."""
        return np.asarray(q @ self.free.T + supports @ self.supports.T)


class DriftWatch(NamedTuple):
    """Displacement ratios that may not pass their limits while a history runs."""

    free: csr_matrix
    supports: csr_matrix
    limits: np.ndarray

    def first_passed(self, q: np.ndarray, supports: np.ndarray) -> int | None:
        """First row of histories (steps × freedoms) at which a ratio is over its limit."""
        ratios = np.asarray(q @ self.free.T + supports @ self.supports.T)
        over = np.any(np.abs(ratios) > self.limits, axis=1)
        return int(np.argmax(over)) if np.any(over) else None

    def doubled(self) -> "DriftWatch":
        """The same with twice the limits."""
        return self._replace(limits=2.0 * self.limits)

    def pairs(self, supports: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
        """The same as differences of two free freedoms (the second −1: none) and their limits (m), if it is that.

        It is not where floors are means or follow several freedoms, or where `supports` (steps × supports) move them.
        """
        if np.any(abs(self.supports) @ np.abs(supports).max(axis=0, initial=0.0)):
            return None
        pairs, limits = [], []
        for row, limit in zip(range(self.free.shape[0]), self.limits, strict=True):
            here = slice(self.free.indptr[row], self.free.indptr[row + 1])
            freedoms, shares = self.free.indices[here], self.free.data[here]
            if shares.size == 0:
                continue
            if shares.size > 2 or (shares.size == 2 and abs(shares.sum()) > 1e-12 * abs(shares[0])):
                return None
            pairs.append((freedoms[0], freedoms[1] if shares.size == 2 else -1))
            limits.append(limit / abs(shares[0]))
        return np.array(pairs, dtype=np.int64).reshape(-1, 2), np.array(limits)


def storeys(system: "System", mean: bool = True) -> Storeys:
    """Rows of the declared floors: the mean ux of a floor's nodes less that of the floor below, over the height between.

    Without `mean` a floor's first node stands for it, which is the same in tied floors and cheaper to watch in others.
    The ground is the mean of the lowest supports that hold ux. Nodes that follow others move as their constraints say.
    """
    frame = system.frame
    ux = {name: 3 * number for name, number in system.node_index.items()}
    height = frame.ground()
    feet = [
        node for node, held in frame.supports.items() if "ux" in held and frame.nodes[node].y <= height + 1e-9
    ]
    names, rows = [], []
    below = _mean([ux[node] for node in feet], system.size)
    for name, level in frame.levels():
        nodes = frame.floors[name].nodes
        here = _mean([ux[node] for node in (nodes if mean else nodes[:1])], system.size)
        if level > height:
            names.append(name)
            rows.append((here - below) / (level - height))
        below, height = here, level
    table = csr_matrix(np.array(rows).reshape(-1, system.size))
    return Storeys(names, _pruned(table @ system.free), _pruned(table @ system.supported))


def sinking(system: "System", load: np.ndarray) -> Storeys:
    """Rows of the nodes that bear vertical `load` (on the free freedoms): uy over the longest member there.

    The mean length of the members stands for it at nodes of links alone. Nodes that follow others move with these.
    """
    longest = dict.fromkeys(system.node_index, 0.0)
    for member in system.frame.members.values():
        i, j = system.frame.nodes[member.i], system.frame.nodes[member.j]
        length = float(np.hypot(j.x - i.x, j.y - i.y))
        for name in (member.i, member.j):
            longest[name] = max(longest[name], length)
    free = csr_matrix(system.free)
    least = 1e-9 * float(np.abs(load).max(initial=0.0))
    found: dict[int, tuple[float, str]] = {}
    for name, number in system.node_index.items():
        first, last = free.indptr[3 * number + 1 : 3 * number + 3]
        lead = int(free.indices[first]) if last - first == 1 else -1
        if lead >= 0 and free.data[first] == 1.0 and abs(load[lead]) > least:
            found[lead] = max(found.get(lead, (0.0, name)), (longest[name], name))
    shares = [1.0 / (length if length > 0.0 else system.length) for length, _ in found.values()]
    shape = len(found), system.count
    table = csr_matrix((shares, (np.arange(len(found)), list(found))), shape=shape)
    return Storeys([name for _, name in found.values()], table, csr_matrix((len(found), system.held.size)))


def drift_watch(system: "System", limit: float, mean: bool = True) -> DriftWatch:
    """Watch on all storey drift ratios; raises `InputError` where no floors are declared."""
    found = system.storeys(mean)
    if not found.names:
        raise InputError("a drift limit needs floors; allowed: frame.floor(…) for each level")
    return DriftWatch(found.free, found.supports, np.full(len(found.names), limit))


def _mean(freedoms: list[int], size: int) -> np.ndarray:
    row = np.zeros(size)
    for freedom in freedoms:
        row[freedom] += 1.0 / len(freedoms)
    return row


def _pruned(table: csr_matrix) -> csr_matrix:
    """Without entries that are nothing but rounding of equal weights."""
    table = csr_matrix(table)
    table.data[np.abs(table.data) <= 1e-14 * np.abs(table.data).max(initial=0.0)] = 0.0
    table.eliminate_zeros()
    table.sort_indices()
    return table
