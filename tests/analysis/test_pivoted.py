"""Pivoted factorisations: right solutions and inertia where the fixed-pattern factor is not to be trusted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d import Frame, Link, push
from frame2d.analysis.response import MET, Response
from frame2d.engine.pivoted import negative_eigenvalues, solve_general
from frame2d.engine.plan import NEGATIVE, new_room
from frame2d.engine.solve import GROWTH, factor_tangent, solve_tangent
from frame2d.materials import DeterioratingPeakOriented, Elastic
from frame2d.materials.deterioration import Backbone


def lower(full):  # type: ignore[no-untyped-def]
    """Lower columns, each with its diagonal first, and what the upper triangle has beyond their mirror image."""
    n = len(full)
    start, row, values = [0], [], []
    for j in range(n):
        places = [j, *[i for i in range(j + 1, n) if full[i, j] != 0.0]]
        row += places
        values += [full[i, j] for i in places]
        start.append(len(row))
    twist = np.triu(full - np.tril(full, -1).T, 1)
    up_row, up_col = np.nonzero(twist)
    return (
        np.array(start, dtype=np.uint32), np.array(row, dtype=np.uint32), np.array(values, dtype=float),
        up_row.astype(np.int64), up_col.astype(np.int64), twist[up_row, up_col],
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), size=st.integers(1, 40), symmetric=st.booleans())
def test_the_sparse_lu_solves_any_regular_matrix(seed, size, symmetric):
    """Zero diagonals, wide scales, symmetric or not: the residual is that of rounding, the determinant has its sign."""
    rng = np.random.default_rng(seed)
    full = np.where(rng.random((size, size)) < 0.3, rng.normal(size=(size, size)), 0.0)
    full += np.eye(size)[rng.permutation(size)] * 3.0
    if symmetric:
        full = full + full.T + np.diag(np.where(rng.random(size) < 0.5, 0.0, 5.0))
    if abs(np.linalg.det(full)) < 1e-6:
        return
    scale = 10.0 ** rng.uniform(-4, 4, size)
    full = scale[:, None] * full * scale
    b, x = full @ rng.normal(size=size), np.empty(size)
    residual, sign = solve_general(*lower(full), b, x)
    assert residual < 1e-9 and np.allclose(full @ x, b, atol=1e-9 * np.abs(b).max())
    assert sign == np.sign(np.linalg.slogdet(full)[0])


def test_a_singular_matrix_gives_its_free_direction():
    """At a limit point the solution is finite and points along the null vector; nothing is raised."""
    full = np.array([[2.0, -2.0, 0.0], [-2.0, 2.0, 0.0], [0.0, 0.0, 1.0]])
    x = np.empty(3)
    _, sign = solve_general(*lower(full), np.array([1.0, 1.0, 0.0]), x)
    assert sign == 0 and np.all(np.isfinite(x)) and abs(x[0] - x[1]) < 1e-9 * abs(x[0])


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), size=st.integers(1, 30))
def test_the_inertia_is_that_of_the_eigenvalues(seed, size):
    """Bunch-Kaufman pivots count the negative eigenvalues, zero diagonals included."""
    rng = np.random.default_rng(seed)
    full = np.where(rng.random((size, size)) < 0.4, rng.normal(size=(size, size)), 0.0)
    full = full + full.T
    np.fill_diagonal(full, np.where(rng.random(size) < 0.5, 0.0, rng.normal(size=size)))
    values = np.linalg.eigvalsh(full)
    if np.abs(values).min() < 1e-9:
        return
    assert negative_eigenvalues(full.copy()) == np.sum(values < 0.0)


def test_a_tangent_without_a_diagonal_is_solved_and_counted():
    """Where LDLᵀ meets a zero pivot, refinement or the pivoted factors solve, and the inertia is the true one."""
    frame = Frame("chain")
    frame.node("0", 0, 0, support="fixed")
    for k in range(1, 5):
        frame.node(str(k), k, 0, support=("uy", "rz"))
        frame.member(f"s{k}", str(k - 1), str(k), Link(axial=Elastic(1.0)))
    plan = frame.compile().plan
    room = new_room(plan)
    start, row = plan.start.astype(int), plan.row.astype(int)
    full = np.zeros((4, 4))
    for j in range(4):
        for place in range(start[j], start[j + 1]):
            room.values[place] = 0.0 if row[place] == j else 1.0 + place
            full[row[place], j] = full[j, row[place]] = room.values[place]
    factor_tangent(plan, room, room.z)
    b, x = np.array([1.0, -2.0, 3.0, 4.0]), np.empty(4)
    solve_tangent(plan, room, b, x)
    assert np.allclose(full @ x, b, rtol=1e-9)
    assert room.counts[NEGATIVE] == np.sum(np.linalg.eigvalsh(full) < 0.0)


def test_the_growth_of_pivots_is_measured_where_they_are_in_doubt():
    """Eliminating with a pivot of 1e-6 beside entries of 1 makes entries of 1e6; positive pivots are not looked at."""
    frame = Frame("chain")
    frame.node("0", 0, 0, support="fixed")
    for k in (1, 2):
        frame.node(str(k), k, 0, support=("uy", "rz"))
        frame.member(f"s{k}", str(k - 1), str(k), Link(axial=Elastic(1.0)))
    plan = frame.compile().plan
    room = new_room(plan)
    b, x = np.array([1.0, 2.0]), np.empty(2)
    for diagonal, expected in ((2.0, -1.0), (1e-6, 1e6)):
        room.values[:] = [diagonal, 1.0, 0.0 if diagonal < 1.0 else 2.0]
        factor_tangent(plan, room, room.z)
        solve_tangent(plan, room, b, x)
        assert room.note[GROWTH] == pytest.approx(expected, rel=1e-12)
    full = np.array([[1e-6, 1.0], [1.0, 0.0]])
    assert np.allclose(full @ x, b, rtol=1e-9)


def test_a_response_tells_what_the_solver_met(tmp_path):
    """Searches, replaced pivots, refinements, pivoted solves and growth are in the response and in its file."""
    law = DeterioratingPeakOriented(1e7, Backbone(1e5, 1.1e5, 0.02, 0.06, 0.2))
    frame = Frame("three")
    frame.node("0", 0, 0, support="fixed")
    for k in (1, 2, 3):
        frame.node(str(k), k, 0, support=("uy", "rz"))
        frame.member(f"s{k}", str(k - 1), str(k), Link(axial=law if k == 3 else Elastic(1e7)))
    frame.load("3", fx=1.0, case="pull")
    system = frame.compile()
    calm = push(system, pattern="pull", node="3", target=0.01, steps=5)
    assert (
        calm.counts()["negative pivots"]
        == calm.counts()["refinements"]
        == calm.counts()["pivoted solves"]
        == 0
    )
    assert calm.pivot_growth() == 1.0
    soft = push(system, pattern="pull", arc_length=0.02, most_steps=20)
    counts = soft.counts()
    assert counts["negative pivots"] == 1 and counts["line searches"] > 0
    for name, entry in MET.items():
        assert counts[name] == soft.totals[entry]
    assert soft.extra["pivot growth"] > 0.0
    soft.save(tmp_path / "soft.h5")
    again = Response.load(tmp_path / "soft.h5")
    assert again.counts() == counts and again.pivot_growth() == soft.pivot_growth()
    assert np.array_equal(again.log.q, soft.log.q)
