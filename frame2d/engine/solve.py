"""Solve with the tangent, watching the quality: refinement first, then a pivoted factorisation.

A factor whose pivots are all positive is backward stable without pivoting (Higham, Accuracy and Stability of Numerical
Algorithms, 2002, ch. 10), and Newton's next residual checks it; the solve is checked where a pivot is negative or was
replaced.
Source: static pivoting with iterative refinement, Li & Demmel 1998. What refinement cannot mend is solved by the pivoted
sparse LU, and the inertia counted from Bunch-Kaufman pivots (`frame2d.engine.pivoted`). Unsymmetric tangents always go
to the sparse LU.
"""

import numpy as np

from frame2d.engine.evaluate import TWIST
from frame2d.engine.factor import dense, factorise, solve_factored, symmetric_product
from frame2d.engine.ordering import Pattern
from frame2d.engine.pivoted import negative_eigenvalues, solve_general
from frame2d.engine.plan import FACTORISATIONS, FALLBACKS, NEGATIVE, REFINED, REPLACED
from frame2d.kernels import compiled, inlined, uncounted

#: Residual of a solve, relative to its right-hand side, that needs no refinement, and that is still accepted after it.
GOOD, POOR = 1e-9, 1e-6
#: Freedoms up to which the inertia is counted again where the factor is poor.
MOST_DENSE = 2000


@inlined
def pattern_of(plan):
    """Pattern of the factor."""
    return Pattern(plan.start, plan.row, plan.left_start, plan.left_column, plan.left_many, plan.left_place)


@inlined
def factor_tangent(plan, room):
    """Factor `room.values`; counts factorisations, and reports negative pivots of this tangent."""
    negative, replaced = factorise(pattern_of(plan), room.values, room.lower, room.pivot, room.column)
    room.counts[FACTORISATIONS] += 1
    room.counts[NEGATIVE] = negative
    room.counts[REPLACED] += replaced
    room.note[40] = negative + replaced
    return negative


@inlined
def solve_tangent(plan, room, b, x):
    """x = A⁻¹·b with the factored tangent; falls back to pivoted factors where they are poor."""
    size = 0.0
    for i in range(b.size):
        x[i] = b[i]
        size = max(size, abs(b[i]) * plan.scale[i])
    if size == 0.0:
        return
    if plan.twist.weight.size > 0 and room.note[TWIST] != 0.0:
        solve_twisted(plan, room, b, x)
        return
    solve_factored(pattern_of(plan), room.lower, room.pivot, x)
    if room.note[40] != 0.0 and not refined(plan, room, b, x, size):
        solve_pivoted(plan, room, b, x)


@uncounted
def refined(plan, room, b, x, size):
    """Refine `x` against the tangent; tells whether its residual became small beside `size`, that of `b`."""
    before = np.inf
    error = 0.0
    for _ in range(4):
        symmetric_product(plan.start, plan.row, room.values, x, room.z)
        error = 0.0
        for i in range(b.size):
            room.z[i] = b[i] - room.z[i]
            error = max(error, abs(room.z[i]) * plan.scale[i])
        if error <= GOOD * size:
            return True
        if not error < 0.5 * before:
            break
        before = error
        solve_factored(pattern_of(plan), room.lower, room.pivot, room.z)
        for i in range(b.size):
            x[i] += room.z[i]
        room.counts[REFINED] += 1
    return error <= POOR * size


@compiled
def solve_pivoted(plan, room, b, x):
    """x = A⁻¹·b by the pivoted factorisation, and the inertia counted again."""
    room.counts[FALLBACKS] += 1
    none = np.empty(0, dtype=np.int64)
    solve_general(plan.start, plan.row, room.values, none, none, np.empty(0), b, x)
    if b.size <= MOST_DENSE:
        room.counts[NEGATIVE] = negative_eigenvalues(dense(plan.start, plan.row, room.values))


@compiled
def solve_twisted(plan, room, b, x):
    """x = A⁻¹·b where parts are unsymmetric. A negative determinant counts as one negative pivot: divergence."""
    twist = plan.twist
    up = np.empty(twist.weight.size)
    for t in range(up.size):
        up[t] = room.note[TWIST] * twist.weight[t] * (room.ke[twist.first[t]] - room.ke[twist.second[t]])
    _, sign = solve_general(plan.start, plan.row, room.values, twist.row, twist.column, up, b, x)
    room.counts[NEGATIVE] = 1 if sign < 0 else 0
