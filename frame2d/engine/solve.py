"""Solve with the tangent, watching the quality: refinement first, then a pivoted factorisation.

A factor whose pivots are all positive is backward stable without pivoting (Higham, Accuracy and Stability of Numerical
Algorithms, 2002, ch. 10), and Newton's next residual checks it; the solve is checked where a pivot is negative or was
replaced.
Source: static pivoting with iterative refinement, Li & Demmel 1998. What refinement cannot mend is solved by the pivoted
sparse LU, and the inertia counted from Bunch-Kaufman pivots (`frame2d.engine.pivoted`). Unsymmetric tangents always go
to the sparse LU.

Where refinement converges the signs of the pivots are right as well: with another inertia than the tangent A the factors,
those of A + E, have a singular A + t·E (0 < t < 1) between them, with null vector x, and (A + E)⁻¹·E·x = x/(1 − t) grows.
The growth of the pivots is measured where the factor is in doubt; with positive pivots no entry grows.
"""

import numpy as np

from frame2d.engine.evaluate import TWIST
from frame2d.engine.factor import factorise, solve_back, solve_factored, solve_forward, symmetric_product
from frame2d.engine.ordering import Pattern
from frame2d.engine.plan import FACTORISATIONS, FALLBACKS, HARD_SOLVER, NEGATIVE, REFINED, REPLACED
from frame2d.kernels import ask, at, call_solver, inner, uncounted

#: Residual of a solve, relative to its right-hand side, that needs no refinement, and that is still accepted after it.
GOOD, POOR = 1e-9, 1e-6
#: Entry of `Room.note`: replaced and negative pivots of the factor.
SUSPECT = 40
#: Entry of `Room.note`: largest pivot growth so far, negative while no factor was in doubt.
GROWTH = 45


@uncounted
def pattern_of(plan):
    """Pattern of the factor."""
    return Pattern(plan.start, plan.row, plan.left_start, plan.left_column, plan.left_many, plan.left_place)


@uncounted
def factor_tangent(plan, room, x):
    """Factor `room.values`, and take L⁻¹ of `x`; counts factorisations, and reports negative pivots of this tangent.

    Where nothing is to be solved, `x` is scratch space: `room.z`.
    """
    negative, replaced = factorise(pattern_of(plan), room.values, room.lower, room.pivot, room.column, x)
    room.counts[FACTORISATIONS] += 1
    room.counts[NEGATIVE] = negative
    room.counts[REPLACED] += replaced
    room.note[SUSPECT] = negative + replaced
    return negative


@uncounted
def solve_tangent(plan, room, b, x):
    """x = A⁻¹·b with the factored tangent; falls back to pivoted factors where they are poor."""
    for i in range(b.size):
        x[i] = b[i]
    solve_forward(pattern_of(plan), room.lower, x)
    end_solve(plan, room, b, x)


@uncounted
def end_solve(plan, room, b, x):
    """From x = L⁻¹·b to A⁻¹·b, checked and mended where the factor is not above doubt."""
    solve_back(pattern_of(plan), room.lower, room.pivot, x)
    twisted = plan.twist.weight.size > 0 and room.note[TWIST] != 0.0
    if twisted or (room.note[SUSPECT] != 0.0 and not refined(plan, room, b, x)):
        solve_pivoted(plan, room, b, x)


@inner
def growth(plan, room):
    """Largest entry of D·Lᵀ over the largest of the tangent (Higham 2002, ch. 9), moments over the mean length."""
    largest, grown = 0.0, 0.0
    for j in range(room.pivot.size):
        own, d = plan.scale[j], room.pivot[j]
        first = plan.start[j]
        largest = max(largest, abs(room.values[first]) * own * own)
        grown = max(grown, abs(d) * own * own)
        for place in range(first + 1, plan.start[j + 1]):
            across = own * plan.scale[plan.row[place]]
            largest = max(largest, abs(room.values[place]) * across)
            grown = max(grown, abs(room.lower[place] * d) * across)
    return grown / largest if largest > 0.0 else np.inf


@inner
def refined(plan, room, b, x):
    """Refine `x` against the tangent; tells whether its residual became small beside `b`."""
    room.note[GROWTH] = max(room.note[GROWTH], growth(plan, room))
    before = np.inf
    error, size = 0.0, 0.0
    for i in range(b.size):
        size = max(size, abs(b[i]) * plan.scale[i])
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


@inner
def solve_pivoted(plan, room, b, x):
    """x = A⁻¹·b by the pivoted factorisation, and the negative pivots counted from it."""
    twist = plan.twist
    turned = twist.weight.size if room.note[TWIST] != 0.0 else 0
    if turned == 0:
        room.counts[FALLBACKS] += 1
    address = ask(room.note[HARD_SOLVER])
    negative = call_solver(
        address, b.size, at(plan.start, 0), at(plan.row, 0), at(room.values, 0), turned,
        at(twist.row, 0), at(twist.column, 0), at(twist.first, 0), at(twist.second, 0), at(twist.weight, 0),
        room.note[TWIST], at(room.ke, 0), at(b, 0), at(x, 0),
    )  # fmt: skip
    if negative >= 0:
        room.counts[NEGATIVE] = negative
