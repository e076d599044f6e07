"""Virtual tests in compiled code, against the test loop in Python."""

from dataclasses import replace

import numpy as np
import pytest

from frame2d.demo import laboratory
from frame2d.errors import InputError
from frame2d.hybrid import (
    CHECKS,
    Chang,
    Command,
    Computed,
    Declared,
    FrameSolver,
    HybridTest,
    KRAlpha,
    Limits,
    LinearlyImplicit,
    MatrixSolver,
    Network,
    OperatorSplitting,
    Reading,
    Rig,
    Sensors,
    Unattended,
    polynomial,
)
from frame2d.hybrid.limits import TRIGGERS
from frame2d.hybrid.virtual import UNCOVERED, chance, chances, rehearse, virtual_test
from frame2d.materials import Bilinear, Elastic
from frame2d.motions.record import Record

K, DT, SCALE = 2e7, 0.005, 20.0
LIMITS = Limits((-0.2, 0.2), 1e6, 0.2, 0.05, 0.01, energy=1.0, energy_warning=0.9, flat_force=0)
T = np.arange(161) * DT
LOAD = -np.outer(5.0 * np.sin(9.0 * T) * np.sin(np.pi * T / T[-1]), [2e4, 2e4])


def solver_of(scheme, load=LOAD, restoring=None):
    M, k = np.diag([2e4, 2e4]), np.array([[K, -K], [-K, K]])
    declared = Declared(np.array([[K]]), np.array([[K]]))
    return MatrixSolver(Computed(M, 0.4 * M, k, [[1.0, 0.0]], restoring), declared, scheme, load, DT, SCALE)


def rig_of(seed):
    return Rig(Bilinear(k=K, Fy=2e5, b=0.03), sensors=Sensors.typical(), seed=seed)


@pytest.mark.parametrize(
    "scheme", [OperatorSplitting(-0.1), LinearlyImplicit(0.7), Chang(), KRAlpha(0.7)], ids=str
)
def test_the_compiled_loop_is_the_test_loop(scheme):
    """Compiled virtual test and test loop give the same histories to rounding, compensation and noise included."""
    weights = polynomial(2, 0.001, DT).weights
    run = virtual_test(solver_of(scheme), rig_of(5), LIMITS, weights)
    test = HybridTest(
        lambda scale: solver_of(scheme, scale * LOAD), rig_of(5), LIMITS, Unattended(True), time_scale=SCALE,
        make_compensation=lambda: polynomial(2, 0.001, DT),
    )  # fmt: skip
    outcome = test.run(CHECKS)
    assert run.completed and run.target.shape == outcome.target.shape
    # A reading may round to the neighbouring step of the sensor's resolution.
    assert run.target == pytest.approx(outcome.target, abs=1e-6)
    assert np.abs(run.target).max() > 0.012
    # The energy limit is judged by the guard's own quantity.
    most = np.abs(outcome.energy_error).max()
    assert run.energy_error == pytest.approx(outcome.energy_error, abs=0.01 * most) and most > 1e-4


def test_a_frames_virtual_test_knows_the_guards_energy_error():
    """Around a frame the history of the energy error is the guard's, and the energy limit is hit where the guard trips."""
    record = Record(np.where(T < 0.8, LOAD[:, 0] / 3e4, 0.0), DT, "invented pulse", synthetic=True)
    test = laboratory.demo_test(record, 1.0, laboratory.demo_rig(seed=3))
    lag = max(laboratory.demo_lag(), 0.0) / laboratory.TIME_SCALE
    weights = polynomial(2, lag, laboratory.DT).weights
    free = virtual_test(
        laboratory.demo_solver(record), laboratory.demo_rig(seed=3), laboratory.demo_limits(), weights
    )
    outcome = test.run(CHECKS)
    most = np.abs(outcome.energy_error).max()
    assert (
        free.energy_error == pytest.approx(outcome.energy_error, abs=1e-6 * most) and free.hit["energy"] == -1
    )
    tight = replace(laboratory.demo_limits(), energy=0.7 * most, energy_warning=0.6 * most)
    hit = virtual_test(laboratory.demo_solver(record), laboratory.demo_rig(seed=3), tight, weights).hit[
        "energy"
    ]
    test = laboratory.demo_test(record, 1.0, laboratory.demo_rig(seed=3))
    guarded = HybridTest(
        test.make_solver, test.specimen, tight, Unattended(True), time_scale=laboratory.TIME_SCALE,
        make_compensation=test.make_compensation,
    )  # fmt: skip
    tripped = guarded.run(CHECKS)
    assert tripped.events[-1].trigger == "energy" and tripped.step == hit - 1 > 5


def test_changes_are_counted_from_where_the_run_starts():
    """A solver that goes on from a displaced interface makes no jump there: neither step nor velocity is hit."""
    record = Record(LOAD[:, 0] / 1e5, DT, "invented pulse", synthetic=True)
    first = laboratory.demo_solver(record)
    at = Reading(np.array([0.02]), np.array([3e4]))
    solver = FrameSolver(
        first.split, laboratory.along_brace(), first.tested, LinearlyImplicit(0.8), record,
        state=first.begin, start=at, time_scale=20.0, dt=DT,
    )  # fmt: skip
    rig = Rig(Bilinear(k=K, Fy=2e5, b=0.03))
    rig.apply(Command(1, at.displacement, 30.0))
    limits = Limits((-0.2, 0.2), 1e6, 0.05, 0.005, 0.01, energy=1e3, energy_warning=1e2)
    run = virtual_test(solver, rig, limits)
    assert np.abs(run.command[0] - 0.02) < 1e-3 and run.hit["step"] == run.hit["velocity"] == -1


def test_a_sensor_that_repeats_itself_is_seen():
    """A force channel whose resolution swallows the motion counts as flat at the step at which the guard would say so."""
    coarse = Sensors(force_step=5e5)
    limits = replace(LIMITS, flat_force=12)
    run = virtual_test(solver_of(Chang()), Rig(Bilinear(k=K, Fy=2e5, b=0.03), sensors=coarse), limits)
    test = HybridTest(
        lambda scale: solver_of(Chang(), scale * LOAD), Rig(Bilinear(k=K, Fy=2e5, b=0.03), sensors=coarse), limits,
        Unattended(True), time_scale=SCALE,
    )  # fmt: skip
    outcome = test.run(CHECKS)
    assert outcome.events[-1].trigger == "flat line" and run.hit["flat line"] == outcome.step + 1
    clear = virtual_test(solver_of(Chang()), rig_of(5), limits)
    assert clear.hit["flat line"] == -1


def test_every_trigger_of_the_guard_is_counted_or_named():
    """A run counts a trigger, or breaks down on what is not a number, or the trigger is named as one that is not covered."""
    run = virtual_test(solver_of(Chang()), rig_of(5), LIMITS)
    assert not set(run.hit) & set(UNCOVERED)
    assert {*run.hit, *UNCOVERED, "command", "nan", "margin"} == set(TRIGGERS)


def test_limits_are_noted_where_they_are_hit():
    """A force limit that the motion must exceed is found at the first step beyond it; others stay untouched."""
    limits = Limits((-0.2, 0.2), 1.5e5, 0.2, 0.05, 0.01, energy=1.0, energy_warning=0.9)
    run = virtual_test(solver_of(Chang()), rig_of(1), limits)
    over = np.abs(run.force).max(axis=1) > 1.5e5
    assert run.hit["force"] == np.argmax(over) + 1 > 1
    assert run.hit["stroke"] == run.hit["step"] == -1


def test_rehearsals_repeat_by_seed_whatever_the_threads():
    """The same seeds give the same bits in one thread and in two; other seeds differ."""

    def make(seed):
        return solver_of(KRAlpha(0.9)), rig_of(seed)

    one, two = rehearse(make, LIMITS, [1, 2, 3], threads=1), rehearse(make, LIMITS, [1, 2, 3], threads=2)
    assert all(np.array_equal(a.force, b.force) for a, b in zip(one, two, strict=True))
    assert not np.array_equal(one[0].force, one[1].force)
    assert chances(one)["force"].value == 0.0 and chances(one)["breakdown"].high < 0.6


def test_probabilities_have_wilsons_interval():
    """Ten of a hundred: 5.5 % to 17.4 % at 95 % (Wilson 1927, the usual textbook numbers)."""
    estimate = chance(10, 100)
    assert estimate.value == 0.1
    assert (estimate.low, estimate.high) == pytest.approx((0.0552, 0.1744), abs=1e-4)
    assert chance(0, 200).high == pytest.approx(0.0188, abs=1e-4)


def test_a_nonlinear_computed_part_runs_in_the_test_loop_only():
    """Laws in the computed part yield there too; the compiled loop says that it is for linear ones."""
    springs = [(Elastic(K), [1.0, 0.0]), (Bilinear(k=K, Fy=1e5, b=0.02), [-1.0, 1.0])]
    network = Network(springs, freedoms=2)
    with pytest.raises(InputError, match="not linear"):
        virtual_test(solver_of(Chang(), restoring=network), rig_of(1), LIMITS)
    by_function = solver_of(Chang(), restoring=lambda u: network.stiffness @ u)
    by_matrix = solver_of(Chang())
    by_matrix.part = by_matrix.part._replace(K=network.stiffness)
    by_laws = solver_of(Chang(), restoring=network)
    answers = []
    for solver in (by_function, by_matrix, by_laws):
        for _ in range(160):
            solver.predict()
            solver.correct(np.zeros(1))
        answers.append(solver.state.u)
    assert answers[0] == pytest.approx(answers[1])
    assert np.abs(answers[2] - answers[0]).max() > 1e-3
