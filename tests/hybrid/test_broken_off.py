"""A test that breaks off: the operator's Ctrl-C, and errors of specimen, view and solver, leave a safe state and a line."""

import os
import signal
import threading

import numpy as np
import pytest

from frame2d.hybrid import (
    CHECKS,
    Action,
    Checks,
    Computed,
    Declared,
    HybridTest,
    Limits,
    MatrixSolver,
    Model,
    OperatorSplitting,
    Table,
    Tripped,
    Unattended,
)
from frame2d.hybrid.interrupt import stops_on_interrupt
from frame2d.hybrid.journal import rows
from frame2d.materials import Bilinear

K, STEPS, DT = 2e7, 60, 0.01
LIMITS = Limits(
    (-0.05, 0.05), 1e6, 1.0, 0.01, 0.002, energy=5.0, energy_warning=1.0, flat_force=0, flat_displacement=0
)


def solver(scale=1.0):
    load = scale * 0.8e5 * np.sin(12.0 * DT * np.arange(STEPS + 1))[:, None]
    one = np.eye(1)
    part = Computed(1e4 * one, 1e3 * one, 1e5 * one, one)
    return MatrixSolver(part, Declared(1.05 * K * one, K * one), OperatorSplitting(), load, DT, 100.0)


class Rig(Model):
    """Does something at one command; remembers stops."""

    def __init__(self, at=0, deed=None):
        super().__init__(Bilinear(k=K, Fy=2e5, b=0.05))
        self.at, self.deed, self.stops = at, deed, []

    def apply(self, command):
        reading = super().apply(command)
        if command.sequence == self.at:
            return self.deed()
        return reading

    def stop(self, reason):
        self.stops.append(reason)


def make(specimen, journal=None, make_solver=solver, operator=None, **options):
    given = {"stiffness": [[K]], "time_scale": 100.0} | options
    return HybridTest(make_solver, specimen, LIMITS, operator or Unattended(True), journal, **given)


def pressed():
    os.kill(os.getpid(), signal.SIGINT)


def interrupting(rig, at):
    """Ctrl-C while the specimen executes that command, whose reading comes back."""

    def deed():
        pressed()
        return rig.read()

    rig.at, rig.deed = at, deed
    return rig


def test_ctrl_c_is_the_operators_stop(tmp_path):
    """An interrupt at step 30 ends the test as stopped before step 31, with event and last line; the terminal is as before."""
    before = signal.getsignal(signal.SIGINT)
    rig = interrupting(Rig(), 30)
    test = make(rig, tmp_path / "a.db")
    outcome = test.run(CHECKS)
    test.close()
    assert (outcome.ending, outcome.step) == ("stopped", 30) and rig.last_sequence == 30
    assert rig.stops == ["Ctrl-C at the operator's terminal"]
    known = rows(tmp_path / "a.db")
    assert (known[-1].kind, known[-1].body["ending"]) == ("end", "stopped")
    assert any(row.kind == "event" and row.body["trigger"] == "operator" for row in known)
    assert signal.getsignal(signal.SIGINT) is before


def test_ctrl_c_at_the_last_step_still_stops():
    """A stop that comes while the last command is executed is not lost."""
    rig = interrupting(Rig(), STEPS)
    outcome = make(rig).run(CHECKS)
    assert (outcome.ending, outcome.step) == ("stopped", STEPS) and rig.stops


def test_ctrl_c_ends_unloading_and_checks(tmp_path):
    """The operator's stop is heard while the ladder unloads and while checks move."""
    rig = Rig()
    test = make(rig, table=Table({"solver": Action.UNLOAD}), views=(lambda progress: interrupt(progress),))

    def interrupt(progress):
        if progress.step == 20:
            interrupting(rig, 21)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        test.run(CHECKS)
    assert test.guard.state == "stopped" and rig.last_sequence == 21 and rig.stops
    rig = interrupting(Rig(), 5)
    test = make(rig, tmp_path / "a.db")
    with pytest.raises(Tripped, match="operator"):
        Checks(test, 0.001).stiffness(np.array([[1.05 * K]]))
    test.close()
    assert rig.last_sequence == 5 and rig.stops
    last = rows(tmp_path / "a.db")[-1]
    assert last.kind == "check failed" and "operator" in last.body["text"]


def test_a_second_ctrl_c_interrupts():
    """The first one asks for the stop, the second one is the program's end; another thread changes nothing."""
    asked = []
    with pytest.raises(KeyboardInterrupt), stops_on_interrupt(asked.append), stops_on_interrupt(asked.append):
        pressed()
        assert len(asked) == 1
        pressed()
    assert len(asked) == 1

    def elsewhere():
        with stops_on_interrupt(asked.append):
            kept.append(signal.getsignal(signal.SIGINT))

    kept = []
    thread = threading.Thread(target=elsewhere)
    thread.start()
    thread.join()
    assert kept == [signal.getsignal(signal.SIGINT)]


def raises(error):
    def deed():
        raise error

    return deed


@pytest.mark.parametrize(
    ("deed", "word"),
    [
        (raises(RuntimeError("driver bug")), "driver bug"),
        (raises(ZeroDivisionError()), "ZeroDivisionError"),
        (lambda: None, "allowed: a Reading"),
    ],
)
def test_an_error_of_the_specimens_program_stops(deed, word, tmp_path):
    """Whatever a specimen raises, or an answer that is no reading, is a lost link: stop, event and last line."""
    rig = Rig(30, deed)
    test = make(rig, tmp_path / "a.db")
    outcome = test.run(CHECKS)
    test.close()
    assert (outcome.ending, outcome.step) == ("stopped", 29) and rig.stops
    assert outcome.events[-1].trigger == "link" and word in outcome.events[-1].text
    assert rows(tmp_path / "a.db")[-1].body == {"ending": "stopped", "steps": 29}


def test_a_view_that_fails_is_dropped(tmp_path):
    """A broken pipe of one view ends neither the test nor the other views, and the journal says so once."""
    seen, told = [], []

    def broken(progress):
        if progress.step == 20:
            raise BrokenPipeError("the window is gone")

    operator = Unattended(True)
    operator.tell = told.append
    test = make(
        Rig(),
        tmp_path / "a.db",
        operator=operator,
        views=(broken, lambda progress: seen.append(progress.step)),
    )
    assert test.run(CHECKS).ending == "completed"
    test.close()
    assert seen == list(range(1, STEPS + 1))
    notes = [row for row in rows(tmp_path / "a.db") if row.kind == "view"]
    assert len(notes) == 1 and notes[0].step == 20 and "the window is gone" in told[-1]


class Failing(MatrixSolver):
    """A computation that fails at step 25."""

    def correct(self, force):
        if self.step == 24:
            raise FloatingPointError("no equilibrium")
        super().correct(force)


def failing(scale):
    made = solver(scale)
    made.__class__ = Failing
    return made


@pytest.mark.parametrize(
    ("action", "state"), [(None, "held"), (Action.UNLOAD, "unloaded"), (Action.STOP, "stopped")]
)
def test_an_error_of_the_computation_holds(action, state, tmp_path):
    """The rig is held, or as the table says, before the error leaves; the journal ends with it."""
    rig = Rig()
    table = Table() if action is None else Table({"solver": action})
    test = make(rig, tmp_path / "a.db", failing, table=table)
    with pytest.raises(FloatingPointError, match="no equilibrium"):
        test.run(CHECKS)
    test.close()
    assert test.guard.state == state and (rig.last_sequence == 25) == (state != "unloaded")
    last = rows(tmp_path / "a.db")[-1]
    assert last.kind == "end" and last.body["ending"] == state and "no equilibrium" in last.body["error"]
    assert last.body["steps"] == 24
