"""Numeric LDLᵀ on a fixed pattern, left-looking, with its solves.

Source: left-looking column Cholesky with a work column, George & Liu 1981, ch. 5, without square roots, so that
indefinite matrices pass; the sign of the pivots counts the negative eigenvalues (Sylvester's law of inertia). The
columns of a block (`frame2d.engine.ordering`) act together, up to four in one pass over their common rows.
"""

import numpy as np

from frame2d.kernels import uncounted

#: A pivot below this share of its column's original size is replaced, counted, and mended by refinement.
TINY = 1e-13

#: Unsigned counting keeps the compiler from testing every index for a negative value.
ZERO, ONE, TWO, THREE = np.uint64(0), np.uint64(1), np.uint64(2), np.uint64(3)


@uncounted
def factorise(pattern, values, lower, pivot, work, x):
    """Factor `values` into `lower` (unit, diagonal slots unused) and `pivot`; returns negative and replaced pivots.

    `x` is overwritten with L⁻¹·x on the way: a right-hand side, or scratch space.
    """
    start, row = pattern.start, pattern.row
    negative = 0
    replaced = 0
    for j in range(np.uint64(pivot.size)):
        first, last = np.uint64(start[j]), np.uint64(start[j + ONE])
        for place in range(first, last):
            work[row[place]] = values[place]
        xj = x[j]
        for t in range(np.uint64(pattern.left_start[j]), np.uint64(pattern.left_start[j + ONE])):
            k = np.uint64(pattern.left_column[t])
            many = np.uint64(pattern.left_many[t])
            here, end = np.uint64(pattern.left_place[t]), np.uint64(start[k + ONE])
            # Steps from an entry of the first column to the same row of the next ones, each a row shorter.
            size = end - np.uint64(start[k])
            to1 = size - ONE
            to2 = to1 + size - TWO
            to3 = to2 + size - THREE
            f0 = lower[here] * pivot[k]
            xj -= lower[here] * x[k]
            if many == ONE:
                for place in range(here, end):
                    work[row[place]] -= lower[place] * f0
                continue
            f1 = lower[here + to1] * pivot[k + ONE]
            xj -= lower[here + to1] * x[k + ONE]
            if many == TWO:
                for place in range(here, end):
                    work[row[place]] -= lower[place] * f0 + lower[place + to1] * f1
                continue
            f2 = lower[here + to2] * pivot[k + TWO]
            xj -= lower[here + to2] * x[k + TWO]
            if many == THREE:
                for place in range(here, end):
                    work[row[place]] -= lower[place] * f0 + lower[place + to1] * f1 + lower[place + to2] * f2
                continue
            f3 = lower[here + to3] * pivot[k + THREE]
            xj -= lower[here + to3] * x[k + THREE]
            for place in range(here, end):
                work[row[place]] -= (lower[place] * f0 + lower[place + to1] * f1) + (
                    lower[place + to2] * f2 + lower[place + to3] * f3
                )
        x[j] = xj
        d = work[j]
        scale = abs(values[first])
        if abs(d) <= TINY * scale or d == 0.0:
            # A zero pivot marks a mechanism or a load limit: keep the sign, stay finite, let refinement mend it.
            d = (TINY * scale if scale > 0.0 else 1e-300) * (-1.0 if d < 0.0 else 1.0)
            replaced += 1
        if d < 0.0:
            negative += 1
        pivot[j] = d
        inverse = 1.0 / d
        for place in range(first + ONE, last):
            lower[place] = work[row[place]] * inverse
    return negative, replaced


@uncounted
def solve_factored(pattern, lower, pivot, x):
    """Overwrite the right-hand side `x` with the solution."""
    solve_forward(pattern, lower, x)
    solve_back(pattern, lower, pivot, x)


@uncounted
def solve_forward(pattern, lower, x):
    """Overwrite the right-hand side `x` with L⁻¹·x."""
    start, row = pattern.start, pattern.row
    for j in range(np.uint64(x.size)):
        xj = x[j]
        for place in range(np.uint64(start[j]) + ONE, np.uint64(start[j + ONE])):
            x[row[place]] -= lower[place] * xj


@uncounted
def solve_back(pattern, lower, pivot, x):
    """Overwrite x = L⁻¹·b with the solution."""
    start, row = pattern.start, pattern.row
    n = np.uint64(pivot.size)
    for back in range(n):
        j = n - ONE - back
        s = x[j] / pivot[j]
        last = np.uint64(start[j + ONE])
        # The nearest row comes last: only there must a column wait for the one before.
        for behind in range(ONE, last - np.uint64(start[j])):
            place = last - behind
            s -= lower[place] * x[row[place]]
        x[j] = s


@uncounted
def symmetric_product(start, row, values, x, y):
    """y = A·x for a symmetric matrix given by its lower columns (each begins with its diagonal)."""
    n = np.uint64(x.size)
    if row.size == x.size:  # a diagonal, as of lumped masses
        for j in range(n):
            y[j] = values[j] * x[j]
        return
    for j in range(n):
        y[j] = 0.0
    for j in range(n):
        first = np.uint64(start[j])
        xj = x[j]
        s = values[first] * xj
        for place in range(first + ONE, np.uint64(start[j + ONE])):
            i = row[place]
            y[i] += values[place] * xj
            s += values[place] * x[i]
        y[j] += s
