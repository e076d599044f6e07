"""Elimination order and pattern of the factor, found once per system.

Minimum degree ordering through SuperLU's implementation (Liu 1985, as in scipy.sparse.linalg.splu), then postordering
of the elimination tree and symbolic factorisation by merging its columns (George & Liu, Computer Solution of Large
Sparse Positive Definite Systems, 1981, ch. 5). Neighbouring columns with the same rows below them form blocks, at the
price of a few stored zeros (relaxed supernodes, Ashcraft & Grimes 1989, from memory).
"""

from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.linalg import splu

Index = np.uint32

#: Stored zeros that a column accepts to join the block of the next one, and columns of a block (measured: fastest).
RELAXED, WIDEST = 2, 4


def minimum_degree(rows: np.ndarray, cols: np.ndarray, size: int) -> np.ndarray:
    """New position of each freedom, for a symmetric pattern given by its entries (any triangle)."""
    if size < 3:
        return np.arange(size)
    pattern = coo_matrix((np.ones(rows.size), (rows, cols)), shape=(size, size)).tocsc()
    pattern = pattern + pattern.T
    pattern.data[:] = -1.0
    degree = np.asarray(abs(pattern).sum(axis=0)).ravel()
    pattern.setdiag(degree + 1.0)
    factors = splu(
        csc_matrix(pattern),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    position = np.asarray(factors.perm_c, dtype=np.int64)
    entries = pattern.tocoo()
    return postorder(elimination_tree(position[entries.row], position[entries.col], size))[position]


def elimination_tree(rows: np.ndarray, cols: np.ndarray, size: int) -> np.ndarray:
    """Parent of each column (−1 for a root), for a symmetric pattern in elimination order (Liu 1986, from memory)."""
    parent = np.full(size, -1, dtype=np.int64)
    ancestor = [-1] * size  # shortcuts to the root of the tree found so far
    lower = rows > cols
    order = np.argsort(rows[lower], kind="stable")
    for i, j in zip(rows[lower][order].tolist(), cols[lower][order].tolist(), strict=True):
        while ancestor[j] not in (-1, i):
            ancestor[j], j = i, ancestor[j]
        if ancestor[j] == -1:
            ancestor[j] = i
            parent[j] = i
    return parent


def postorder(parent: np.ndarray) -> np.ndarray:
    """New position of each column so that the columns of every subtree stand together, children before parents."""
    children: list[list[int]] = [[] for _ in range(parent.size + 1)]
    for column, above in enumerate(parent.tolist()):
        children[above].append(column)  # roots in the last list
    position = np.empty(parent.size, dtype=np.int64)
    waiting, number = list(children[-1]), parent.size
    while waiting:
        column = waiting.pop()
        number -= 1
        position[column] = number
        waiting += children[column]
    return position


class Pattern(NamedTuple):
    """Columns of the unit lower factor; the first entry of each column is its diagonal."""

    #: Start of each column (size n + 1) and the row of each entry, ascending.
    start: np.ndarray
    row: np.ndarray
    #: For each row j, the runs of columns k < j of one block with an entry there: the first, how many, its place.
    #: All columns of a block have the same rows below it.
    left_start: np.ndarray
    left_column: np.ndarray
    left_many: np.ndarray
    left_place: np.ndarray

    def places(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """Places of entries (row >= column) among the values of the pattern."""
        n = self.start.size - 1
        column_of = np.repeat(np.arange(n), (self.start[1:] - self.start[:-1]).astype(np.int64))
        keys = column_of * n + self.row.astype(np.int64)
        wanted = np.asarray(cols, dtype=np.int64) * n + np.asarray(rows, dtype=np.int64)
        found = np.searchsorted(keys, wanted)
        if found.size and (found.max() >= keys.size or not np.array_equal(keys[found], wanted)):
            raise AssertionError("an entry lies outside the pattern of the factor")
        return found


def symbolic(rows: np.ndarray, cols: np.ndarray, size: int) -> Pattern:
    """Pattern of the factor of a symmetric matrix with lower entries (rows, cols), rows >= cols, already ordered."""
    below: list[set[int]] = [set() for _ in range(size)]
    for i, j in zip(rows.tolist(), cols.tolist(), strict=True):
        if i > j:
            below[j].add(i)
    parent = [-1] * size
    for j in range(size):
        if below[j]:
            parent[j] = min(below[j])
            below[parent[j]] |= below[j] - {parent[j]}
    # From the last column on, so that a block may grow by several: what joins has its rows in the column it joins.
    joins = [False] * size
    for j in range(size - 2, -1, -1):
        whole = below[j + 1] | {j + 1}
        if parent[j] == j + 1 and len(whole) - len(below[j]) <= RELAXED:
            below[j], joins[j] = whole, True
    block = [0]
    for j in range(1, size):
        if not joins[j - 1] or j - block[-1] == WIDEST:
            block.append(j)
    columns = [np.array([j, *sorted(below[j])], dtype=np.int64) for j in range(size)]
    start = np.concatenate([[0], np.cumsum([column.size for column in columns])]) if size else np.zeros(1)
    row = np.concatenate(columns) if size else np.zeros(0)
    runs: list[list[tuple[int, int, int]]] = [[] for _ in range(size)]
    for first, end in zip(block, [*block[1:], size], strict=True) if size else ():
        for place in range(int(start[first]) + 1, int(start[first + 1])):
            j = int(row[place])
            runs[j].append((first, min(j, end) - first, place))
    counts = [len(entries) for entries in runs]
    table = np.array([entry for entries in runs for entry in entries], dtype=np.int64).reshape(-1, 3)
    return Pattern(
        start.astype(Index),
        row.astype(Index),
        np.concatenate([[0], np.cumsum(counts)]).astype(Index),
        *(np.ascontiguousarray(column).astype(Index) for column in table.T),
    )
