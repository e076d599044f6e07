"""What the speed figures are compared with solves the same problem as the engine."""

import numpy as np
import pytest

from benchmarks.speed import OPTIONS
from benchmarks.speed_frame import Motion, checksum, frame, motion
from benchmarks.speed_ivp import Problem
from benchmarks.speed_twin import Twin
from frame2d import Rayleigh, gravity, time_history

DAMPING = Rayleigh(0.03, (1, 2))


@pytest.fixture(scope="module")
def case():  # type: ignore[no-untyped-def]
    """Two storeys of one bay under the strong part of the motion, and the engine's answer."""
    system = frame(2, 1).compile()
    standing = gravity(system).state
    record = Motion(1.5 * motion().acceleration[600:760], 0.005)
    ours = time_history(system, record, standing, damping=DAMPING, options=OPTIONS)
    return system, standing, record, ours


def test_the_motion_is_the_one_of_the_recipe():
    """The seeded motion has 20 s, peak 0.5 g and a checksum that does not move."""
    record = motion()
    assert record.acceleration.size == 4001 and record.dt == 0.005
    assert np.abs(record.acceleration).max() == pytest.approx(0.5 * 9.81, rel=1e-12)
    assert checksum(record) == "555ed38f3dfe58e8"


def test_the_numpy_twin_gives_the_numbers_of_the_engine(case):
    """The same algorithm over arrays agrees to the residual's tolerance, with as many iterations."""
    system, standing, record, ours = case
    shape = system.influence()
    load = standing.load - np.outer(record.acceleration, shape)
    peak = (
        np.abs(record.acceleration).max() * np.abs(shape) + np.abs(standing.load) + np.abs(standing.motion.f)
    )
    twin = Twin(system, standing, DAMPING.matrix(system, standing))
    found = twin.run(load, record.dt, OPTIONS.tolerance * system.force_scale(peak))
    assert np.abs(found - ours.log.q).max() < 1e-6 * np.abs(ours.log.q).max()
    assert twin.iterations == ours.counts()["iterations"]
    turned = max(np.abs(ours.device(name).deformation).max() for name in ours.laws())
    assert turned > twin.law.uy  # hinges have yielded


def test_the_rate_equations_have_their_exact_jacobian(case):
    """The Jacobian handed to the general solver is the derivative of its right-hand side."""
    system, standing, record, _ = case
    problem = Problem(system, standing, DAMPING.matrix(system, standing), record)
    rng = np.random.default_rng(1)
    kinds = np.repeat([1e-4, 1e-2, 0.3], [system.count, problem.massive.size, problem.hinge.size])
    y = problem.start + kinds * rng.normal(size=kinds.size)
    exact = problem.jacobian(0.1, y)
    for column in range(y.size):
        step = np.zeros(y.size)
        step[column] = 1e-3 * kinds[column]
        slope = (problem(0.1, y + step) - problem(0.1, y - step)) / (2.0 * step[column])
        size = np.abs(exact[:, column]).max()
        assert np.abs(slope - exact[:, column]).max() < 1e-4 * size


def test_a_general_solver_comes_to_the_engines_answer(case):
    """BDF at a tight tolerance and the engine at a small step meet far below the engine's error at 5 ms."""
    system, standing, record, ours = case
    problem = Problem(system, standing, DAMPING.matrix(system, standing), record)
    q, _ = problem.solve("BDF", 1e-6)
    fine = time_history(system, record, standing, damping=DAMPING, options=OPTIONS, dt=record.dt / 16)
    reference = fine.log.q[::16]
    size = np.abs(reference).max(axis=0)
    error = np.abs(ours.log.q - reference).max(axis=0) / size
    assert np.all(np.abs(q - reference).max(axis=0) / size < 0.1 * error.max())
