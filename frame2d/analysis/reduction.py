"""Reduction of linear parts: static (Guyan) and fixed-interface component modes (Craig-Bampton), and their coupling.

Guyan 1965 and Irons 1965: u = [I; −Kbb⁻¹Kba]·u_kept, exact in statics and for freedoms without mass. Craig & Bampton
1968: the same constraint modes and the first modes of the component with its boundary held.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import eigh
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from frame2d.errors import InputError, within


@dataclass(frozen=True)
class Reduced:
    """A component in few freedoms: boundary first, then modal ones. `shapes` gives all freedoms from these."""

    stiffness: np.ndarray
    mass: np.ndarray
    shapes: np.ndarray
    #: Numbers of the boundary freedoms among the component's.
    boundary: np.ndarray

    def frequencies(self) -> np.ndarray:
        """Circular frequencies of the reduced component, rad/s."""
        return np.sqrt(np.maximum(eigh(self.stiffness, self.mass, eigvals_only=True), 0.0))


def craig_bampton(stiffness: Any, mass: Any, boundary: Sequence[int], count: int) -> Reduced:
    """Reduce to the `boundary` freedoms and `count` modes with the boundary held.

    Matrices are symmetric, size × size, N/m and kg. Raises `InputError` for freedoms that do not exist or a count
    above what the interior has.
    """
    K, M = csc_matrix(stiffness), csc_matrix(mass)
    size = K.shape[0]
    kept = np.asarray(boundary, dtype=np.int64)
    if kept.size == 0 or np.unique(kept).size != kept.size or kept.min() < 0 or kept.max() >= size:
        raise InputError(f"boundary is {list(boundary)!r}; allowed: different numbers from 0 to {size - 1}")
    rest = np.setdiff1d(np.arange(size), kept)
    modes = int(within("count of modes", count, 0, rest.size, hint="the interior has no more freedoms"))
    shapes = np.zeros((size, kept.size + modes))
    shapes[kept, np.arange(kept.size)] = 1.0
    if rest.size:
        shapes[rest, : kept.size] = -splu(csc_matrix(K[rest][:, rest])).solve(K[rest][:, kept].toarray())
        if modes:
            _, held = eigh(
                K[rest][:, rest].toarray(), M[rest][:, rest].toarray(), subset_by_index=(0, modes - 1)
            )
            shapes[rest, kept.size :] = held
    return Reduced(shapes.T @ (K @ shapes), shapes.T @ (M @ shapes), shapes, kept)


def guyan(stiffness: Any, mass: Any, kept: Sequence[int]) -> Reduced:
    """Static reduction to the `kept` freedoms."""
    return craig_bampton(stiffness, mass, kept, 0)


def couple(components: Sequence[Reduced], maps: Sequence[Sequence[int]]) -> Reduced:
    """Join components at shared boundary freedoms; `maps` numbers each component's boundary in the whole.

    Shared freedoms come first, then the modal ones of every component. `shapes` is the identity: each component's own
    shapes still give its freedoms.
    """
    shared = 1 + max(int(max(numbers)) for numbers in maps)
    modal = [part.stiffness.shape[0] - part.boundary.size for part in components]
    size = shared + sum(modal)
    K, M = np.zeros((size, size)), np.zeros((size, size))
    first = shared
    for part, numbers, count in zip(components, maps, modal, strict=True):
        if len(numbers) != part.boundary.size:
            raise InputError(
                f"a component with {part.boundary.size} boundary freedoms is mapped by {len(numbers)} numbers"
            )
        place = np.concatenate([np.asarray(numbers, dtype=np.int64), first + np.arange(count)])
        K[np.ix_(place, place)] += part.stiffness
        M[np.ix_(place, place)] += part.mass
        first += count
    return Reduced(K, M, np.eye(size), np.arange(shared))
