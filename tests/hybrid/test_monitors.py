"""Monitors begin anew with every run, and a resumed test has those of an undisturbed one."""

import numpy as np
import pytest

from frame2d.hybrid import (
    CHECKS,
    Actuator,
    Checks,
    Computed,
    Controller,
    Declared,
    Guarded,
    HybridTest,
    Limits,
    MatrixSolver,
    Model,
    OperatorSplitting,
    Rig,
    Sensors,
    Unattended,
)
from frame2d.hybrid.actuator import loop_lag
from frame2d.hybrid.specimen import Command, Reading
from frame2d.materials import Bilinear

K, STEPS, DT, SCALE = 2e7, 120, 0.005, 50.0
LIMITS = Limits((-0.1, 0.1), 6e5, 0.05, 0.02, 0.01, energy=1.0, energy_warning=0.9, flat_force=0)


def solver(scale=1.0):
    motion = 4.0 * np.sin(2.0 * np.pi * 1.8 * DT * np.arange(STEPS + 1))
    one = np.eye(1)
    part = Computed(2e4 * one, 8e3 * one, 1e6 * one, one)
    load = -scale * 2e4 * motion[:, None]
    return MatrixSolver(part, Declared(1.05 * K * one, K * one), OperatorSplitting(), load, DT, SCALE)


def rig():
    a = Actuator()
    controller = Controller(kff=1.0 / a.no_load_velocity)
    return Rig(Bilinear(k=K, Fy=1.5e5, b=0.03), a, controller, Sensors.typical(), seed=3)


def make(specimen, journal=None, **options):
    return HybridTest(
        solver, specimen, LIMITS, Unattended(True), journal, stiffness=[[K]], time_scale=SCALE, force_tolerance=0.05,
        **options,
    )  # fmt: skip


def checked(test):
    specimen = test.specimen
    lag = loop_lag(specimen.actuators[0], specimen.controller, K)
    results = Checks(test, 0.002, 1.0).all(np.array([[1.05 * K]]), lag, 0.002)
    assert all(result.ok for result in results), results
    return test


def test_a_run_after_checks_begins_with_a_clean_monitor():
    """The energy error of the checks and of the low-level run is not carried into the test."""
    test = checked(make(rig()))
    left_behind = abs(test.guard.monitor.error) / test.guard.bounds.floor
    outcome = test.run()
    bare = make(rig()).run(CHECKS)
    assert abs(outcome.energy_error[0]) < 0.05 * left_behind
    # Noise apart, which is another after the checks, both runs have the same error.
    assert np.abs(outcome.energy_error).max() == pytest.approx(np.abs(bare.energy_error).max(), rel=0.2)
    # What the monitor itself says of the run is the last row, which began at nothing.
    assert test.guard.monitor.ratio == outcome.energy_error[-1]


def test_resuming_after_checks_equals_the_undisturbed_run(tmp_path):
    """Checks, run, interruption, resume: every number and energy error is that of checks and run, bit for bit."""
    reference = checked(make(rig())).run()
    specimen = rig()

    def view(progress):
        if progress.step == 47:
            raise KeyboardInterrupt

    first = checked(make(specimen, tmp_path / "a.db", views=(view,)))
    with pytest.raises(KeyboardInterrupt):
        first.run()
    first.journal.close()
    test = make(specimen, tmp_path / "a.db")
    outcome = test.resume()
    test.close()
    assert outcome.ending == reference.ending == "completed"
    for name in ("command", "displacement", "force", "energy_error"):
        assert np.array_equal(getattr(outcome, name), getattr(reference, name)), name


def test_counts_of_flat_readings_survive_an_interruption():
    """A sensor that had repeated its value before the interruption trips as soon as it would have without one."""

    class Stuck(Model):
        def apply(self, command):
            reading = super().apply(command)
            return Reading(np.full(1, 0.001), reading.force)

    limits = Limits((-0.1, 0.1), 6e5, 0.05, 0.02, 0.05, flat_displacement=6, flat_force=0)

    def trips(guard, first):
        for i in range(first, 20):
            command = Command(i, np.array([0.001 + 1e-4 * i]), 1.0)
            try:
                guard.apply(command)
            except Exception:
                return i
        return None

    specimen = Stuck(Bilinear(k=K, Fy=1.5e5, b=0.03))
    undisturbed = trips(Guarded(specimen, limits), 1)
    again = Guarded(Stuck(Bilinear(k=K, Fy=1.5e5, b=0.03)), limits)
    start = Reading(np.zeros(1), np.zeros(1))
    again.adopt(np.zeros(1), start, 0)
    again.begin(np.zeros(1), start)
    for i in range(1, 4):
        u = np.array([0.001 + 1e-4 * i])
        again.replayed(Command(i, u, 1.0), Reading(np.full(1, 0.001), K * u))
    assert undisturbed is not None and trips(again, 4) == undisturbed


def test_warnings_are_given_again_in_a_new_run():
    """A margin that a check had warned of is warned of again in the test."""
    specimen = Model(Bilinear(k=K, Fy=1.5e5, b=0.03))
    guard = Guarded(specimen, LIMITS)
    for run in range(2):
        guard.begin(guard.command_now, guard.reading_now)
        for i, u in enumerate(np.linspace(0.0, 0.09, 10)):
            guard.apply(Command(10 * run + i + 1, np.array([u if run == 0 else 0.09 - u]), 1.0))
    assert [event.trigger for event in guard.events].count("margin") == 2


def test_the_lag_check_says_that_compensation_is_not_changed():
    """Whoever reads the lag that was found reads that the compensation keeps its own."""
    test = make(rig())
    result, _ = Checks(test, 0.002, 1.0).lag(0.0, 1.0)
    assert "compensation keeps the lag that it was made with" in result.text
