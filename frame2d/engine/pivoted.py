"""Pivoted factorisations for what LDLᵀ on a fixed pattern cannot be trusted with: unsymmetric and badly scaled tangents.

Sparse LU by columns with threshold partial pivoting (Gilbert & Peierls 1988; the diagonal is kept where it is at least a
tenth of the largest entry), factored and used at once; and the inertia of a dense symmetric matrix by block LDLᵀ with
1 × 1 and 2 × 2 pivots (Bunch & Kaufman 1977). Neither raises: a zero pivot, the mark of a mechanism or a load limit,
is replaced by the smallest number that rounding leaves of its column.
"""

import numpy as np

from frame2d.kernels import Later, compiled, solver_kernel, view

#: Freedoms up to which the inertia is counted again where the factor is poor.
MOST_DENSE = 2000
#: Share of the largest entry from which the diagonal is kept as pivot, and share of a column that counts as zero.
KEEP, NOTHING = 0.1, 1e-15


@compiled
def whole_columns(start, row, values, up_row, up_col, up_value):
    """Columns of the matrix whose lower triangle is given; `up` entries (row < col) come on top of its mirror image."""
    n = start.size - 1
    at = np.zeros(n + 1, dtype=np.int64)
    for j in range(n):
        for place in range(start[j], start[j + 1]):
            i = row[place]
            at[j + 1] += 1
            if i != j:
                at[i + 1] += 1
    for t in range(up_col.size):
        at[up_col[t] + 1] += 1
    for j in range(n):
        at[j + 1] += at[j]
    fill = at[:-1].copy()
    rows = np.empty(at[n], dtype=np.int64)
    data = np.empty(at[n])
    for j in range(n):
        for place in range(start[j], start[j + 1]):
            i = np.int64(row[place])
            rows[fill[j]], data[fill[j]] = i, values[place]
            fill[j] += 1
            if i != j:
                rows[fill[i]], data[fill[i]] = j, values[place]
                fill[i] += 1
    for t in range(up_col.size):
        j = up_col[t]
        rows[fill[j]], data[fill[j]] = up_row[t], up_value[t]
        fill[j] += 1
    return at, rows, data


@compiled
def product(at, rows, data, x, y):
    """y = A·x by columns."""
    y[:] = 0.0
    for j in range(x.size):
        for place in range(at[j], at[j + 1]):
            y[rows[place]] += data[place] * x[j]


@compiled
def _grown(array, size):
    new = np.empty(size, dtype=array.dtype)
    new[: array.size] = array
    return new


@compiled
def lu(at, rows, data):
    """Factor L·U = P·A; returns L (unit, its diagonal first) and U (its diagonal last) by columns, the place of each
    row, and the sign of the determinant (0 where a pivot was replaced)."""
    n = at.size - 1
    room = 4 * rows.size + n
    l_at, u_at = np.zeros(n + 1, dtype=np.int64), np.zeros(n + 1, dtype=np.int64)
    l_row, l_val = np.empty(room, dtype=np.int64), np.empty(room)
    u_row, u_val = np.empty(room, dtype=np.int64), np.empty(room)
    place_of = np.full(n, -1, dtype=np.int64)
    x = np.zeros(n)
    mark = np.full(n, -1, dtype=np.int64)
    reach = np.empty(n, dtype=np.int64)
    stack, here = np.empty(n, dtype=np.int64), np.empty(n, dtype=np.int64)
    l_end, u_end = 0, 0
    sign = 1
    for k in range(n):
        if l_end + n > l_row.size:
            l_row, l_val = _grown(l_row, 2 * l_row.size + n), _grown(l_val, 2 * l_val.size + n)
        if u_end + n > u_row.size:
            u_row, u_val = _grown(u_row, 2 * u_row.size + n), _grown(u_val, 2 * u_val.size + n)
        l_at[k], u_at[k] = l_end, u_end
        # Which entries of this column can become nonzero: depth first through L, in topological order from `top` on.
        top = n
        for p in range(at[k], at[k + 1]):
            i = rows[p]
            if mark[i] == k:
                continue
            depth = 0
            stack[0] = i
            mark[i] = k
            column = place_of[i]
            here[0] = l_at[column] + 1 if column >= 0 else 0
            while depth >= 0:
                i = stack[depth]
                column = place_of[i]
                last = l_at[column + 1] if column >= 0 else 0
                deeper = False
                t = here[depth]
                while column >= 0 and t < last:
                    j = l_row[t]
                    t += 1
                    if mark[j] != k:
                        mark[j] = k
                        here[depth] = t
                        depth += 1
                        stack[depth] = j
                        other = place_of[j]
                        here[depth] = l_at[other] + 1 if other >= 0 else 0
                        deeper = True
                        break
                if not deeper:
                    depth -= 1
                    top -= 1
                    reach[top] = i
        for t in range(top, n):
            x[reach[t]] = 0.0
        scale = 0.0
        for p in range(at[k], at[k + 1]):
            x[rows[p]] += data[p]
            scale = max(scale, abs(data[p]))
        for t in range(top, n):
            i = reach[t]
            column = place_of[i]
            if column < 0:
                continue
            u_row[u_end], u_val[u_end] = column, x[i]
            u_end += 1
            for p in range(l_at[column] + 1, l_at[column + 1]):
                x[l_row[p]] -= l_val[p] * x[i]
        best, choice = -1.0, -1
        for t in range(top, n):
            i = reach[t]
            if place_of[i] < 0 and abs(x[i]) > best:
                best, choice = abs(x[i]), i
        if choice < 0 or best < 0.0:
            choice = 0
            while place_of[choice] >= 0:
                choice += 1
            x[choice], best = 0.0, 0.0
        if place_of[k] < 0 and mark[k] == k and abs(x[k]) >= KEEP * best:
            choice = k
        pivot = x[choice]
        if not abs(pivot) > NOTHING * scale:
            pivot = NOTHING * scale if scale > 0.0 else 1e-300
            sign = 0
        u_row[u_end], u_val[u_end] = k, pivot
        u_end += 1
        place_of[choice] = k
        l_row[l_end], l_val[l_end] = choice, 1.0
        l_end += 1
        for t in range(top, n):
            i = reach[t]
            if place_of[i] < 0:
                l_row[l_end], l_val[l_end] = i, x[i] / pivot
                l_end += 1
        l_at[k + 1], u_at[k + 1] = l_end, u_end
        if pivot < 0.0:
            sign = -sign
    for p in range(l_end):
        l_row[p] = place_of[l_row[p]]
    seen = np.zeros(n, dtype=np.bool_)
    for i in range(n):
        length = 0
        j = i
        while not seen[j]:
            seen[j] = True
            j = place_of[j]
            length += 1
        if length > 0 and length % 2 == 0:
            sign = -sign
    return l_at, l_row, l_val, u_at, u_row, u_val, place_of, sign


@compiled
def solve_lu(l_at, l_row, l_val, u_at, u_row, u_val, place_of, b, x):
    """x = A⁻¹·b from the factors of `lu`."""
    n = b.size
    for i in range(n):
        x[place_of[i]] = b[i]
    for j in range(n):
        for p in range(l_at[j] + 1, l_at[j + 1]):
            x[l_row[p]] -= l_val[p] * x[j]
    for back in range(n):
        j = n - 1 - back
        x[j] /= u_val[u_at[j + 1] - 1]
        for p in range(u_at[j], u_at[j + 1] - 1):
            x[u_row[p]] -= u_val[p] * x[j]


@compiled
def solve_general(start, row, values, up_row, up_col, up_value, b, x):
    """x = A⁻¹·b with one refinement; A as of `whole_columns`. Returns the residual over the largest of `b`, and the
    sign of the determinant."""
    at, rows, data = whole_columns(start, row, values, up_row, up_col, up_value)
    l_at, l_row, l_val, u_at, u_row, u_val, place_of, sign = lu(at, rows, data)
    n = b.size
    rest, step = b.copy(), np.empty(n)
    for i in range(n):
        x[i] = 0.0
    size = 0.0
    for i in range(n):
        size = max(size, abs(b[i]))
    best = np.inf
    for _ in range(3):
        solve_lu(l_at, l_row, l_val, u_at, u_row, u_val, place_of, rest, step)
        for i in range(n):
            x[i] += step[i]
        product(at, rows, data, x, rest)
        error = 0.0
        for i in range(n):
            rest[i] = b[i] - rest[i]
            error = max(error, abs(rest[i]))
        if not error < 0.5 * best:
            if not error <= best:
                for i in range(n):
                    x[i] -= step[i]
            break
        best = error
        if error <= 1e-12 * size:
            break
    return best / size if size > 0.0 else 0.0, sign


@compiled
def negative_eigenvalues(full):
    """Number of negative eigenvalues of a dense symmetric matrix, which is overwritten (Bunch & Kaufman 1977)."""
    n = full.shape[0]
    bound = (1.0 + np.sqrt(17.0)) / 8.0
    negative = 0
    k = 0
    while k < n:
        own = abs(full[k, k])
        column, other = 0.0, k
        for i in range(k + 1, n):
            if abs(full[i, k]) > column:
                column, other = abs(full[i, k]), i
        if own == 0.0 and column == 0.0:
            k += 1
            continue
        wide, pivot = 1, k
        if own < bound * column:
            largest = 0.0
            for j in range(k, n):
                if j != other:
                    largest = max(largest, abs(full[other, j]))
            if own * largest >= bound * column * column:
                pivot = k
            elif abs(full[other, other]) >= bound * largest:
                pivot = other
            else:
                pivot, wide = other, 2
        to = k + wide - 1
        if pivot != to:
            for j in range(k, n):
                full[to, j], full[pivot, j] = full[pivot, j], full[to, j]
            for i in range(k, n):
                full[i, to], full[i, pivot] = full[i, pivot], full[i, to]
        if wide == 1:
            d = full[k, k]
            negative += 1 if d < 0.0 else 0
            for i in range(k + 1, n):
                share = full[i, k] / d
                if share != 0.0:
                    for j in range(k + 1, n):
                        full[i, j] -= share * full[k, j]
        else:
            a, b, c = full[k, k], full[k + 1, k], full[k + 1, k + 1]
            det = a * c - b * b
            if det < 0.0:
                negative += 1
            elif a + c < 0.0:
                negative += 2
            for i in range(k + 2, n):
                x, y = full[i, k], full[i, k + 1]
                s, t = (c * x - b * y) / det, (a * y - b * x) / det
                if s != 0.0 or t != 0.0:
                    for j in range(k + 2, n):
                        full[i, j] -= s * full[k, j] + t * full[k + 1, j]
        k += wide
    return negative


@compiled
def dense(start, row, values):
    """Full symmetric matrix of the values of its lower columns."""
    n = start.size - 1
    full = np.zeros((n, n))
    for j in range(n):
        for place in range(start[j], start[j + 1]):
            full[row[place], j] = values[place]
            full[j, row[place]] = values[place]
    return full


@solver_kernel
def solve_hard(n, start, row, values, turned, i, j, first, second, weight, share, k, b, x):
    """x = A⁻¹·b; returns the negative pivots of A, or −1 where A is too large to count them.

    `turned` entries above the diagonal, share·weight·(k[first] − k[second]) at (i, j), come on top of the mirror image of
    the lower triangle. Of an unsymmetric matrix a negative determinant counts as one negative pivot: divergence.
    """
    starts = view(start, n + 1)
    entries = np.int64(starts[n])
    rows, vals = view(row, entries), view(values, entries)
    up = np.empty(turned)
    for t in range(turned):
        up[t] = share * weight[t] * (k[first[t]] - k[second[t]])
    _, sign = solve_general(starts, rows, vals, view(i, turned), view(j, turned), up, view(b, n), view(x, n))
    if turned > 0:
        return 1 if sign < 0 else 0
    return negative_eigenvalues(dense(starts, rows, vals)) if n <= MOST_DENSE else -1


#: Few analyses need the pivoted factorisations, and their compilation takes seconds: it waits until one does.
HARD = Later(solve_hard)
