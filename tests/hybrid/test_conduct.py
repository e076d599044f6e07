"""Conduct of a test: checks before it, confirmation, holds, resuming, views, and kills of either process."""

import importlib.util
import io
import json
import time
import urllib.request
from pathlib import Path

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.hybrid import (
    CAUTION,
    CHECKS,
    Actuator,
    Checks,
    Command,
    Computed,
    Console,
    Controller,
    Declared,
    HybridTest,
    MatrixSolver,
    Model,
    Network,
    Operator,
    OperatorSplitting,
    Page,
    Reading,
    Replay,
    Rig,
    Sensors,
    Terminal,
    Unattended,
)
from frame2d.hybrid.actuator import loop_lag
from frame2d.hybrid.conduct import NotReady
from frame2d.hybrid.journal import history, rows, verify
from frame2d.materials import Elastic

_file = Path(__file__).parents[2] / "benchmarks" / "hybrid_kills.py"
_spec = importlib.util.spec_from_file_location("hybrid_kills", _file)
kills = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(kills)

K = kills.K


def rig(**options):
    a = Actuator()
    controller = Controller(kff=1.0 / a.no_load_velocity)
    return Rig(kills.make_specimen("model").network, a, controller, Sensors.typical(), seed=3, **options)


def make(specimen, journal=None, operator=None, views=(), **options):
    operator = operator or Unattended(True)
    defaults = {"stiffness": np.array([[K]]), "time_scale": kills.SCALE, "force_tolerance": 0.05}
    limits = options.pop("limits", kills.LIMITS)
    return HybridTest(
        kills.make_solver, specimen, limits, operator, journal, views=views, **(defaults | options)
    )


def test_a_test_refuses_to_start_unchecked_or_unconfirmed(tmp_path):
    """Every check must have passed or be overridden by name, and the operator must confirm the table."""
    test = make(kills.make_specimen("model"), tmp_path / "a.db")
    with pytest.raises(NotReady, match="zero and sign, tare, stiffness, lag, low level"):
        test.run()
    with pytest.raises(InputError, match="override names"):
        test.run(("everything",))
    test.close()
    refused = make(kills.make_specimen("model"), operator=Unattended(False))
    with pytest.raises(NotReady, match="did not confirm"):
        refused.run(CHECKS)
    assert refused.guard.last_sequence == 0


def test_all_checks_then_the_main_run(tmp_path):
    """On a simulated rig with noise all checks pass, each with its line in the journal; then the test completes."""
    told = []
    operator = Unattended(True)
    operator.tell = told.append
    test = make(rig(), tmp_path / "a.db", operator)
    checks = Checks(test, 0.002, 1.0)
    initial = test.specimen.stiffness
    expected = loop_lag(test.specimen.actuators[0], test.specimen.controller, initial[0, 0])
    results = checks.all(np.array([[K]]), lag=expected, lag_bound=0.002, model=initial)
    assert [r.check for r in results] == list(CHECKS)
    assert all(r.ok for r in results), [r.text for r in results]
    outcome = test.run()
    test.close()
    assert outcome.ending == "completed" and outcome.step == kills.STEPS
    assert told[0] == CAUTION and "interlocks" in CAUTION
    lines = [row.body["check"] for row in rows(tmp_path / "a.db") if row.kind == "check"]
    assert lines == list(CHECKS)
    again = Replay.from_journal(tmp_path / "a.db")
    assert again.apply(Command(1, outcome.command[0], 1.0)).force.tolist() == outcome.force[0].tolist()


class Wrong(Model):
    """A specimen with a fault of its wiring."""

    def __init__(self, fault):
        super().__init__(kills.make_specimen("model").network)
        self.fault = fault

    def apply(self, command):
        reading = super().apply(command)
        scale = {"sign": (1, -1), "unit": (1000, 1), "force": (1, 3), "tare": (1, 1), "offset": (1, 1)}[
            self.fault
        ]
        shift, off = 5e4 * (self.fault == "tare"), 1e-3 * (self.fault == "offset")
        return Reading(reading.displacement * scale[0] + off, reading.force * scale[1] + shift)


@pytest.mark.parametrize(
    ("fault", "check", "word"),
    [
        ("sign", "zero_and_sign", "does not resist"),
        ("unit", "zero_and_sign", "unit"),
        ("offset", "zero_and_sign", "not zeroed"),
        ("tare", "tare", "initial force"),
        ("force", "stiffness", "times as stiff"),
    ],
)
def test_each_check_finds_its_fault(fault, check, word, tmp_path):
    """Wrong sign, wrong unit, a channel off zero, an initial force and a stiffer specimen fail their check, and the run stays refused."""
    from dataclasses import replace

    loose = replace(
        kills.LIMITS, tracking=100.0, force=1e9 if fault != "tare" else 6e5, stroke=(-5, 5), energy=1e9
    )
    test = make(Wrong(fault), tmp_path / "a.db", limits=loose)
    checks = Checks(test, 0.002)
    result = checks.stiffness(np.array([[K]]))[0] if check == "stiffness" else getattr(checks, check)()
    assert not result.ok and word in result.text
    with pytest.raises(NotReady):
        test.run()
    test.close()
    assert any(row.kind == "check failed" for row in rows(tmp_path / "a.db"))


def test_the_lag_check_measures_the_lag():
    """The measured lag is the closed loop's own, and 60 ms of transport delay come on top of it."""
    found = []
    for delay in (0.0, 0.06):
        a = Actuator(friction=0.0)
        c = Controller(kff=1.0 / a.no_load_velocity, delay=delay)
        specimen = Rig(kills.make_specimen("model").network, a, c)
        expected = loop_lag(a, c, specimen.stiffness[0, 0])
        result, lag = Checks(make(specimen), 0.002).lag(expected, 0.001)
        assert result.ok, result.text
        found.append(lag)
    assert found[1] - found[0] == pytest.approx(0.06, abs=0.001)


def test_the_lag_of_every_freedom_is_looked_at():
    """Of two freedoms the second lags; the check names it, and fails by it."""

    class Lagging(Model):
        def __init__(self):
            super().__init__(Network([(Elastic(K), [1.0, 0.0]), (Elastic(K), [0.0, 1.0])], freedoms=2))
            self.before = np.zeros(2)

        def apply(self, command):
            late = np.array([command.displacement[0], 0.9 * command.displacement[1] + 0.1 * self.before[1]])
            self.before = np.array(command.displacement)
            reading = super().apply(command)
            return reading._replace(displacement=late)

    M = 2e4 * np.eye(2)
    part, declared = Computed(M, 0.4 * M, K * np.eye(2), np.eye(2)), Declared(K * np.eye(2), K * np.eye(2))
    load = np.zeros((9, 2))
    test = HybridTest(
        lambda scale: MatrixSolver(part, declared, OperatorSplitting(), scale * load, 0.005, kills.SCALE),
        Lagging(), kills.LIMITS, Unattended(True), time_scale=kills.SCALE,
    )  # fmt: skip
    result, lag = Checks(test, 0.002).lag(0.0, 0.01)
    # A tenth of the command of the step before lags a tenth of a step.
    assert lag == pytest.approx(0.1 * test.duration, rel=0.05)
    assert not result.ok and "freedom 2" in result.text


class Clever(Operator):
    """Answers holds from a list."""

    def __init__(self, *decisions):
        self.decisions = list(decisions)

    def confirm(self, question):
        return True

    def decide(self, event, possible):
        return self.decisions.pop(0)


class Jumpy(Model):
    """One reading, at step 30, is 15 mm off."""

    def apply(self, command):
        reading = super().apply(command)
        wrong = 0.015 if command.sequence == 30 else 0.0
        return reading._replace(displacement=reading.displacement + wrong)


@pytest.mark.parametrize(
    ("decision", "ending", "steps"),
    [("continue", "completed", kills.STEPS), ("unload", "unloaded", 29), ("stop", "stopped", 29)],
)
def test_after_a_hold_the_operator_decides(decision, ending, steps, tmp_path):
    """A tracking error holds the test; it goes on, unloads or stops as the operator says, and the journal tells."""
    test = make(Jumpy(kills.make_specimen("model").network), tmp_path / "a.db", Clever(decision))
    outcome = test.run(CHECKS)
    test.close()
    assert (outcome.ending, outcome.step) == (ending, steps)
    kinds = [row.kind for row in rows(tmp_path / "a.db")]
    assert "event" in kinds and "decision" in kinds and kinds.count("override") == len(CHECKS)


class Interrupted(BaseException):
    """As a program that ends: a view that merely fails is dropped."""


def interrupt(at):
    def view(progress):
        if progress.step == at:
            raise Interrupted

    return view


def broken_off(tmp_path, at=100):
    """A test interrupted in this process; its specimen lives on."""
    specimen = rig()
    test = make(specimen, tmp_path / "a.db", views=(interrupt(at),))
    with pytest.raises(Interrupted):
        test.run(CHECKS)
    test.journal.close()
    return specimen


def test_a_resumed_test_equals_an_undisturbed_one(tmp_path):
    """Interrupted at step 100 and resumed on the same specimen, every number is that of the undisturbed run."""
    reference = make(rig()).run(CHECKS)
    test = make(broken_off(tmp_path), tmp_path / "a.db")
    outcome = test.resume()
    test.close()
    assert outcome.ending == "completed"
    assert np.array_equal(outcome.force, reference.force) and np.array_equal(
        outcome.command, reference.command
    )
    assert np.array_equal(history(tmp_path / "a.db")["force"], reference.force)
    assert np.array_equal(outcome.energy_error, reference.energy_error)
    assert verify(tmp_path / "a.db").intact
    with pytest.raises(Exception, match="was completed"):
        make(rig(), tmp_path / "a.db").resume()


def test_resuming_is_refused_when_anything_is_not_as_it_was(tmp_path):
    """Lost memory, a crept position, another model and a missing confirmation are each refused without a motion."""
    specimen = broken_off(tmp_path)
    before = specimen.last_sequence
    with pytest.raises(NotReady, match="lost its memory"):
        make(rig(), tmp_path / "a.db").resume()
    with pytest.raises(NotReady, match="did not confirm"):
        make(specimen, tmp_path / "a.db", Unattended(False)).resume()
    with pytest.raises(Exception, match="another test"):
        make(specimen, tmp_path / "a.db", time_scale=40.0).resume()
    good = specimen._reading
    specimen._reading = good._replace(displacement=good.displacement + 2e-4)
    with pytest.raises(NotReady, match="crept, relaxed or was moved"):
        make(specimen, tmp_path / "a.db").resume()
    specimen._reading = good._replace(force=good.force + 1e5)
    with pytest.raises(NotReady, match="crept, relaxed or was moved"):
        make(specimen, tmp_path / "a.db").resume()
    specimen._reading = good
    specimen.last_sequence += 3
    with pytest.raises(NotReady, match="somebody else moved it"):
        make(specimen, tmp_path / "a.db").resume()
    specimen.last_sequence = before
    assert make(specimen, tmp_path / "a.db").resume().ending == "completed"


@pytest.mark.parametrize(
    ("mode", "count", "victims"), [("durable", 2, ("solver", "specimen")), ("batched", 1, ("solver",))]
)
def test_killed_processes_resume_to_the_same_bits(mode, count, victims):
    """Solver and specimen in real processes, killed at random steps, end with the undisturbed numbers."""
    for figure in kills.figures(count, "model", seed=2, mode=mode, victims=victims):
        assert figure["ok"], figure


def test_paced_steps_keep_their_beat():
    """A paced test records how late each step began, and none begins early."""
    test = make(kills.make_specimen("model"), pace=0.002)
    began = time.perf_counter()
    outcome = test.run(CHECKS)
    assert time.perf_counter() - began >= kills.STEPS * 0.002
    assert (outcome.lateness >= 0.0).all() and (outcome.step_time > 0.0).all()


def test_views_show_what_the_guard_sees():
    """Terminal and page show step, time left, errors and margins; the page answers on loopback and nowhere else."""
    sink, page = io.StringIO(), Page()
    test = make(rig(), views=(Terminal(sink), page))
    test.run(CHECKS)
    assert f"step {kills.STEPS}/{kills.STEPS}" in sink.getvalue() and "energy error" in sink.getvalue()
    with urllib.request.urlopen(page.url + "state.json") as answer:
        state = json.load(answer)
    assert state["step"] == kills.STEPS and set(state["shares"]) == {"stroke", "force", "tracking", "energy"}
    assert len(state["history"]) == kills.STEPS
    with urllib.request.urlopen(page.url) as answer:
        assert "interlocks" in answer.read().decode()
    page.close()
    with pytest.raises(InputError, match="loopback"):
        Page("0.0.0.0")


def test_the_console_asks_in_words():
    """Only the typed word confirms; an answer that is none of the three stops."""
    said = io.StringIO()
    console = Console("invented operator", io.StringIO("no\nyes\nunload\nx\ny\nz\n"), said)
    from frame2d.hybrid.limits import Action, Event

    event = Event("tracking", Action.HOLD, "3 mm", "solver", 4)
    assert not console.confirm("Move?") and console.confirm("Move?")
    assert console.decide(event) == "unload" and console.decide(event) == "stop"
    assert isinstance(OperatorSplitting(), OperatorSplitting) and "HOLD" in said.getvalue()
