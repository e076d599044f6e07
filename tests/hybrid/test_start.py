"""How a test starts: from where the rig stands, once, with its journal, and with arguments that are what they seem."""

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.hybrid import (
    CHECKS,
    Checks,
    Command,
    Computed,
    Declared,
    HybridTest,
    Limits,
    MatrixSolver,
    Model,
    OperatorSplitting,
    Server,
    Tripped,
    Unattended,
    polynomial,
)
from frame2d.hybrid.conduct import NotReady
from frame2d.hybrid.journal import rows, verify
from frame2d.materials import Bilinear, Elastic

K, STEPS, DT = 2e7, 60, 0.01
LIMITS = Limits(
    (-0.05, 0.05), 1e6, 1.0, 0.01, 0.002, energy=5.0, energy_warning=1.0, flat_force=0, flat_displacement=0
)


def solver(scale=1.0):
    load = scale * 0.8e5 * np.sin(12.0 * DT * np.arange(STEPS + 1))[:, None]
    one = np.eye(1)
    part = Computed(1e4 * one, 1e3 * one, 1e5 * one, one)
    return MatrixSolver(part, Declared(1.05 * K * one, K * one), OperatorSplitting(), load, DT, 100.0)


def model():
    return Model(Bilinear(k=K, Fy=2e5, b=0.05))


def make(specimen, journal=None, operator=None, **options):
    given = {"stiffness": [[K]], "time_scale": 100.0} | options
    return HybridTest(solver, specimen, LIMITS, operator or Unattended(True), journal, **given)


def away(place=0.02, count=20):
    """A model that somebody has moved before."""
    specimen = model()
    for i in range(count):
        specimen.apply(Command(i + 1, np.array([place * (i + 1) / count]), 0.25))
    return specimen


def test_a_rig_that_stands_elsewhere_does_not_start():
    """A specimen 20 mm from the solver's start is not commanded: neither by a check nor by the run."""
    specimen = away()
    test = make(specimen)
    with pytest.raises(NotReady, match="stands at"):
        test.run(CHECKS)
    with pytest.raises(NotReady, match="stands at"):
        Checks(test, 0.001)
    assert specimen.last_sequence == 20


def test_the_rig_is_brought_to_the_start_in_small_motions_once_confirmed(tmp_path):
    """`approach` asks, moves within the limits and journals nothing as a step; the test then runs."""
    specimen = away(0.004, 4)
    with pytest.raises(NotReady, match="did not confirm"):
        make(specimen, operator=Unattended(False)).approach()
    assert specimen.last_sequence == 4
    test = make(specimen)
    reading = test.approach()
    assert reading.displacement == pytest.approx([0.0], abs=1e-12)
    outcome = test.run(CHECKS)
    assert outcome.ending == "completed"
    assert abs(outcome.command[0, 0]) <= LIMITS.step


def test_the_specimens_side_knows_where_its_rig_stands():
    """A server in front of a loaded rig counts steps from there."""
    server = Server(away(), LIMITS)
    try:
        with pytest.raises(Tripped, match="step"):
            server.guard.apply(Command(21, np.zeros(1), 1.0))
    finally:
        server.close()


def test_a_test_runs_once(tmp_path):
    """A finished test and a broken one are refused a second run, without a command."""
    specimen = model()
    test = make(specimen, tmp_path / "a.db")
    with pytest.raises(NotReady, match="checks not passed"):
        test.run()
    assert test.run(CHECKS).ending == "completed"
    with pytest.raises(NotReady, match="resume it, or make a new test"):
        test.run(CHECKS)
    with pytest.raises(NotReady, match="was run before"):
        Checks(test, 0.001)
    assert specimen.last_sequence == STEPS
    test.close()


def test_a_test_that_was_interrupted_is_resumed_by_itself_too(tmp_path):
    """After an interruption `run` is refused; `resume` of the same test ends with the undisturbed numbers."""

    def view(progress):
        if progress.step == 20 and test.views:
            raise KeyboardInterrupt

    reference = make(model()).run(CHECKS)
    test = make(model(), tmp_path / "a.db", views=(view,))
    with pytest.raises(KeyboardInterrupt):
        test.run(CHECKS)
    with pytest.raises(NotReady, match="resume it"):
        test.run(CHECKS)
    test.views = ()
    outcome = test.resume()
    assert outcome.ending == "completed" and np.array_equal(outcome.force, reference.force)
    assert np.array_equal(outcome.energy_error, reference.energy_error)
    test.close()


def test_a_guard_that_has_ended_a_check_lets_no_run_start():
    """A run after a stop is refused with the reason."""
    test = make(model())
    test.guard.operator_stop("seen smoke")
    with pytest.raises(Tripped):
        Checks(test, 0.001).tare()
    with pytest.raises(NotReady, match="seen smoke"):
        test.run(CHECKS)


def test_motions_before_the_test_are_journalled(tmp_path):
    """Every command that reaches the specimen has its row: of checks, of the low-level run, and of the test."""
    specimen = model()
    test = make(specimen, tmp_path / "a.db")
    checks = Checks(test, 0.001)
    checks.zero_and_sign()
    checks.low_level()
    before = specimen.last_sequence
    test.run(CHECKS)
    test.close()
    known = rows(tmp_path / "a.db")
    motions = [row.body for row in known if row.kind == "motion"]
    assert [body["sequence"] for body in motions] == list(range(1, before + 1))
    assert {body["why"] for body in motions} == {"zero and sign", "low level"}
    # Each row also says where the motion began.
    assert motions[3]["start"]["u"] == motions[2]["u"]
    assert sum(row.kind == "command" for row in known) == specimen.last_sequence - before == STEPS
    assert verify(tmp_path / "a.db").intact


def test_a_journal_without_a_start_goes_on(tmp_path):
    """A crash during the checks leaves a journal that a new attempt continues; one with a start is never reused."""
    specimen, path = model(), tmp_path / "a.db"
    first = make(specimen, path)
    Checks(first, 0.001).tare()
    first.journal.close()
    other = make(specimen, path, time_scale=50.0)
    with pytest.raises(InputError, match="exists already"):
        other.open()
    again = make(specimen, path)
    with pytest.raises(NotReady, match="zero and sign, tare"):
        again.run()
    assert again.run(CHECKS).ending == "completed"
    again.close()
    kinds = [row.kind for row in rows(path)]
    assert kinds.count("test") == kinds.count("test again") == kinds.count("start") == 1
    assert verify(path).intact
    with pytest.raises(InputError, match="exists already"):
        make(model(), path).open()


def test_unloading_is_journalled_and_not_resumed(tmp_path):
    """Moves of unloading have rows; a test that was unloaded is not taken up again."""
    specimen, path = model(), tmp_path / "a.db"

    def view(progress):
        if progress.step == 20:
            raise KeyboardInterrupt

    test = make(specimen, path, views=(view,))
    with pytest.raises(KeyboardInterrupt):
        test.run(CHECKS)
    assert abs(specimen.read().force[0]) > 1e4
    test.guard.unload()
    assert test.guard.state == "unloaded"
    with pytest.raises(NotReady, match="unloaded"):
        test.resume()
    test.close()
    assert any(row.kind == "motion" and row.body["why"] == "unloading" for row in rows(path))
    with pytest.raises(NotReady, match="unloaded after its last step"):
        make(specimen, path).resume()


class Displaced(MatrixSolver):
    """Starts with the specimen 5 mm from zero: what is commanded counts from there."""

    origin = np.array([0.005])

    def predict(self):
        return super().predict() + self.origin


def displaced(scale):
    made = solver(scale)
    made.__class__ = Displaced
    return made


def test_a_test_may_start_away_from_zero(tmp_path):
    """Checks, compensation, run and resume count from where solver and specimen start, and never go by zero."""
    specimen = Model(Elastic(K))
    for i in range(5):
        specimen.apply(Command(i + 1, np.array([0.001 * (i + 1)]), 0.25))

    def make_displaced(view=None):
        return HybridTest(
            displaced, specimen, LIMITS, Unattended(True), tmp_path / "a.db", stiffness=[[K]], time_scale=100.0,
            make_compensation=lambda: polynomial(2, 0.002, DT), views=(view,) if view else (),
        )  # fmt: skip

    def view(progress):
        if progress.step == 10:
            raise KeyboardInterrupt

    test = make_displaced(view)
    checks = Checks(test, 0.001)
    assert checks.zero_and_sign().ok and checks.stiffness(np.array([[1.05 * K]]))[0].ok
    assert checks.lag(0.0, 0.01)[0].ok and checks.tare(1.01e5).ok and checks.low_level().ok
    with pytest.raises(KeyboardInterrupt):
        test.run()
    test.journal.close()
    again = make_displaced()
    outcome = again.resume()
    again.close()
    assert outcome.ending == "completed" and abs(outcome.command[0, 0] - 0.005) < 1e-3
    moved = [row.body["u"][0] for row in rows(tmp_path / "a.db") if row.kind == "motion"]
    assert min(moved) > 0.003
    # The displaced elastic test is the undisplaced one, moved, with its force at the start as the tare.
    plain = HybridTest(
        solver, Model(Elastic(K)), LIMITS, Unattended(True), time_scale=100.0,
        make_compensation=lambda: polynomial(2, 0.002, DT),
    ).run(CHECKS)  # fmt: skip
    assert outcome.command - 0.005 == pytest.approx(plain.command, abs=1e-9)


class Own:
    """A user's own specimen, which nobody can repeat."""

    def measure(self, displacement):
        return K * displacement


def test_nothing_is_lost_by_silence():
    """Without a journal the operator is told; a specimen that cannot be repeated needs journal=None in so many words."""
    told = []
    operator = Unattended(True)
    operator.tell = told.append
    HybridTest(solver, model(), LIMITS, operator)
    assert any("No journal" in line for line in told) and any("Ctrl-C" in line for line in told)
    with pytest.raises(InputError, match="journal=None"):
        HybridTest(solver, Own(), LIMITS, operator)
    HybridTest(solver, Own(), LIMITS, operator, journal=None)


def test_arguments_that_cannot_be_meant_are_refused():
    """A solver for its maker, a mode without a journal and a transfer of another shape are named before anything moves."""
    with pytest.raises(InputError, match="instead of what makes it"):
        HybridTest(solver(), model(), LIMITS, Unattended(True))
    with pytest.raises(InputError, match="'batched' without a journal"):
        make(model(), mode="batched", may_lose=8)
    with pytest.raises(InputError, match="transfer"):
        make(model(), transfer=[[1.0, 2.0]])
