"""Elimination order and pattern of the factor, found once per system.

Minimum degree ordering through SuperLU's implementation (Liu 1985, as in scipy.sparse.linalg.splu); symbolic
factorisation by merging the columns of the elimination tree (George & Liu, Computer Solution of Large Sparse Positive
Definite Systems, 1981, ch. 5).
"""

from typing import NamedTuple

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.linalg import splu

Index = np.uint32


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
    return np.asarray(factors.perm_c, dtype=np.int64)


class Pattern(NamedTuple):
    """Columns of the unit lower factor; the first entry of each column is its diagonal."""

    #: Start of each column (size n + 1) and the row of each entry, ascending.
    start: np.ndarray
    row: np.ndarray
    #: For each row j, the columns k < j with an entry there and the place of that entry.
    left_start: np.ndarray
    left_column: np.ndarray
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
    columns: list[np.ndarray] = []
    children: list[list[int]] = [[] for _ in range(size)]
    for j in range(size):
        structure = below[j]
        for child in children[j]:
            structure |= below[child]
            structure.discard(j)
        column = np.array([j, *sorted(structure)], dtype=np.int64)
        columns.append(column)
        if column.size > 1:
            children[column[1]].append(j)
    start = np.concatenate([[0], np.cumsum([column.size for column in columns])]) if size else np.zeros(1)
    row = np.concatenate(columns) if size else np.zeros(0)
    column_of = np.repeat(np.arange(size), [column.size for column in columns])
    off = np.flatnonzero(row != column_of)
    by_row = off[np.lexsort((column_of[off], row[off]))]
    counts = np.bincount(row[by_row].astype(np.int64), minlength=size) if size else np.zeros(0)
    return Pattern(
        start.astype(Index),
        row.astype(Index),
        np.concatenate([[0], np.cumsum(counts)]).astype(Index),
        column_of[by_row].astype(Index),
        by_row.astype(Index),
    )
