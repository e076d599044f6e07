"""The ladder across the wire, and a person who takes time to read."""

import threading
import time

import numpy as np
import pytest

from frame2d.hybrid import (
    CHECKS,
    Computed,
    Declared,
    HybridTest,
    Limits,
    MatrixSolver,
    Model,
    Network,
    Operator,
    OperatorSplitting,
    Remote,
    Server,
    Unattended,
)
from frame2d.hybrid.guard import Guarded
from frame2d.hybrid.journal import rows
from frame2d.hybrid.ladder import far_guard
from frame2d.hybrid.limits import Action, Table
from frame2d.hybrid.specimen import Command, Reading, Refused
from frame2d.materials import Bilinear

K, STEPS = 2e7, 60
WIDE = Limits(
    (-0.05, 0.05), 1e6, 1.0, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0, flat_displacement=0
)
#: The specimen's own stroke is shorter than the motion.
SHORT = Limits(
    (-0.004, 0.004), 1e6, 1.0, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0, flat_displacement=0
)


def make_solver(scale):
    load = scale * 1.2e5 * np.sin(0.12 * np.arange(STEPS + 1))[:, None]
    part = Computed(np.array([[1e4]]), np.array([[1e3]]), np.array([[1e5]]), np.eye(1))
    declared = Declared(1.05 * K * np.eye(1), K * np.eye(1))
    return MatrixSolver(part, declared, OperatorSplitting(0.0), load, 0.01, 100.0)


class Yielding(Model):
    """Yields under the motion; takes `wait` seconds for each command and remembers what reached it."""

    def __init__(self, wait=0.0):
        super().__init__(Bilinear(k=K, Fy=2e5, b=0.05))
        self.wait, self.stops = wait, []

    def apply(self, command):
        time.sleep(self.wait)
        return super().apply(command)

    def stop(self, reason):
        self.stops.append(reason)


class Asked(Operator):
    """Thinks for a while, decides by a list, and remembers what it was asked."""

    name = "invented operator"

    def __init__(self, *decisions, thinks=0.0):
        self.decisions, self.thinks, self.offered, self.read, self.told = list(decisions), thinks, [], [], []

    def tell(self, text):
        self.told.append(text)

    def confirm(self, question):
        self.read.append(question)
        time.sleep(self.thinks)
        return True

    def decide(self, event, possible):
        self.offered.append(tuple(possible))
        time.sleep(self.thinks)
        return self.decisions.pop(0)


@pytest.fixture(scope="module", autouse=True)
def compiled():
    """With a cold cache the first command would take longer than the client's patience."""
    Yielding().apply(Command(1, np.zeros(1), 1.0))


@pytest.fixture
def start(monkeypatch):
    servers, remotes = [], []
    connected = Remote.__init__

    def connect(self, *arguments, **options):
        remotes.append(self)
        connected(self, *arguments, **options)

    monkeypatch.setattr(Remote, "__init__", connect)

    def begin(specimen, limits, **options):
        server = Server(specimen, limits, **options)
        threading.Thread(target=server.run, daemon=True).start()
        servers.append(server)
        return server

    yield begin
    for remote in remotes:
        remote.close()
    for server in servers:
        server.close()


def make(server, operator, limits=WIDE, journal=None, **options):
    remote = Remote(port=server.port, **options)
    return HybridTest(make_solver, remote, limits, operator, journal, stiffness=[[K]], time_scale=100.0)


def force(server):
    return float(server.guard.read().force[0])


def test_the_guard_that_holds_unloads(start, tmp_path):
    """After a hold of the specimen's guard "unload" is carried out by that guard, to zero force, and both sides know."""
    server = start(Yielding(), SHORT)
    operator = Asked("unload")
    test = make(server, operator, journal=tmp_path / "a.db")
    outcome = test.run(CHECKS)
    assert outcome.ending == "unloaded" and 0 < outcome.step < STEPS
    assert server.guard.state == "unloaded" and abs(force(server)) <= 0.005 * 1e6
    assert abs(outcome.force[-1, 0]) > 0.05 * 1e6
    assert test.guard.last_sequence == server.guard.last_sequence > outcome.step
    test.close()
    last = [row for row in rows(tmp_path / "a.db") if row.kind in ("decision", "at rest", "end")]
    assert [row.kind for row in last] == ["decision", "at rest", "end"]
    assert last[1].body["f"] == [force(server)]
    assert any(event.trigger == "operator" and event.action == Action.UNLOAD for event in server.guard.events)


def test_only_what_is_possible_is_offered(start):
    """A command beyond a limit cannot go on; a hold that nobody at the rig can end cannot either; any other answer stops."""
    server = start(Yielding(), SHORT)
    operator = Asked("continue")
    outcome = make(server, operator).run(CHECKS)
    assert operator.offered == [("unload", "stop")] and outcome.ending == "stopped"
    assert any("cannot be carried out" in line for line in operator.told) and server.guard.state == "stopped"

    soft = Limits((-0.05, 0.05), 5e4, 1.0, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0)
    holding = Table({"force": Action.HOLD})
    server = start(Yielding(), soft, table=holding)
    operator = Asked("stop")
    assert make(server, operator).run(CHECKS).ending == "stopped"
    assert operator.offered == [("unload", "stop")]

    server = start(Yielding(), soft, table=holding, release=lambda question: False)
    operator = Asked("continue", "unload")
    outcome = make(server, operator).run(CHECKS)
    assert operator.offered == [("continue", "unload", "stop"), ("unload", "stop")]
    assert outcome.ending == "unloaded" and server.guard.state == "unloaded"


def test_a_hold_at_the_rig_ends_when_the_person_there_agrees(start):
    """The solver's operator can only ask; with the agreement the run goes on and equals one that was never held."""
    soft = Limits((-0.05, 0.05), 1.2e5, 1.0, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0)
    questions = []

    def agree(question):
        questions.append(question)
        time.sleep(0.02)
        return True

    server = start(Yielding(), soft, table=Table({"force": Action.HOLD}), release=agree)
    operator = Asked(*["continue"] * STEPS)
    outcome = make(server, operator).run(CHECKS)
    free = HybridTest(make_solver, Yielding(), WIDE, Unattended(True), stiffness=[[K]], time_scale=100.0)
    reference = free.run(CHECKS)
    assert outcome.ending == "completed" and len(questions) == len(operator.offered) > 0
    assert "force" in questions[0]
    assert np.array_equal(outcome.force, reference.force)


def test_a_long_unloading_at_the_rig_is_no_lost_link(start):
    """The specimen's guard unloads by its own table for longer than the solver's patience; both end unloaded."""
    slow = Limits(
        (-0.05, 0.05), 5e4, 1.0, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0, unload_velocity=1e-3,
        unload_cycle=0.05,
    )  # fmt: skip
    server = start(Yielding(wait=0.02), slow)
    test = make(server, Asked(), patience=0.2)
    began = time.monotonic()
    outcome = test.run(CHECKS)
    taken = server.guard.last_sequence - outcome.step
    assert taken * 0.02 > 0.2 and time.monotonic() - began > 0.2
    assert outcome.ending == "unloaded" == server.guard.state and abs(force(server)) <= 0.005 * 5e4
    assert [event.trigger for event in outcome.events if event.action == Action.UNLOAD] == ["force"]


def test_a_stop_goes_through_while_the_rig_unloads(start):
    """The operator's stop reaches the rig's own hardware during the specimen's own unloading, and no move follows it."""
    slow = Limits(
        (-0.05, 0.05), 5e4, 1.0, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0, unload_velocity=1e-4,
        unload_cycle=0.05,
    )  # fmt: skip
    specimen = Yielding(wait=0.02)
    server = start(specimen, slow)
    test = make(server, Asked())

    def press():
        while server.guard.state != "unloading":
            time.sleep(0.01)
        time.sleep(0.1)
        test.guard.operator_stop()

    threading.Thread(target=press, daemon=True).start()
    outcome = test.run(CHECKS)
    assert outcome.ending == "stopped" == server.guard.state
    assert "operator's stop" in specimen.stops and abs(force(server)) > 0.005 * 5e4
    time.sleep(0.1)
    moved = specimen.last_sequence
    time.sleep(0.1)
    assert specimen.last_sequence == moved
    with pytest.raises(Refused):
        test.guard.apply(Command(moved + 1, np.zeros(1), 1.0))


def test_reading_the_table_is_no_silence(start):
    """Before the test and after a hold a person may think for longer than the specimen's side bears silence."""
    server = start(Yielding(), WIDE, silence=0.3)
    tight = Limits((-0.05, 0.05), 5e4, 1.0, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0)
    operator = Asked("unload", thinks=0.8)
    test = HybridTest(
        make_solver, Remote(port=server.port), tight, operator, None, table=Table({"force": Action.HOLD}),
        stiffness=[[K]], time_scale=100.0,
    )  # fmt: skip
    outcome = test.run(CHECKS)
    assert outcome.ending == "unloaded" and operator.offered and server.guard.events == []
    assert abs(force(server)) <= 0.005 * 5e4


def test_silence_of_the_solver_itself_still_holds_and_is_resolved(start):
    """A solver that is silent on its own is held by the specimen's side; the operator then decides, and it unloads."""

    def sleepy(progress):
        if progress.step == 20:
            time.sleep(0.7)

    server = start(Yielding(), WIDE, silence=0.3)
    operator = Asked("unload")
    remote = Remote(port=server.port, retries=1)
    test = HybridTest(
        make_solver, remote, WIDE, operator, None, stiffness=[[K]], time_scale=100.0, views=(sleepy,)
    )
    outcome = test.run(CHECKS)
    assert (outcome.ending, outcome.step) == ("unloaded", 20)
    assert server.guard.state == "unloaded" and server.guard.events[0].trigger == "silence"


def test_a_link_lost_while_a_person_reads_is_told(start):
    """When the specimen's side goes away during the question its loss is told, and nothing moves."""
    server = start(Yielding(), WIDE, silence=0.2)
    operator = Asked(thinks=0.5)
    test = make(server, operator)
    threading.Timer(0.1, lambda: (server.close(), test.specimen._channel.connection.close())).start()
    outcome = test.run(CHECKS)
    assert outcome.ending == "stopped" and outcome.step == 0 and server.guard.last_sequence == 0
    assert any("does not answer" in line for line in operator.told)


def test_both_tables_are_read_and_journalled(start, tmp_path):
    """The operator confirms the specimen's table with the own one; a server back under another table is refused."""
    server = start(Yielding(), SHORT)
    operator = Asked("stop")
    test = make(server, operator, journal=tmp_path / "a.db", retries=2)
    test.run(CHECKS)
    assert server.guard.table.text(SHORT) in operator.read[0] and test.table.text(WIDE) in operator.read[0]
    test.close()
    (confirmed,) = [row for row in rows(tmp_path / "a.db") if row.kind == "confirmed"]
    assert confirmed.body["table"] == test.table.digest(WIDE)
    assert confirmed.body["specimen's table"] == server.guard.table.digest(SHORT)
    remote = Remote(port=start(Yielding(), SHORT).port)
    remote.close()
    other = start(Yielding(), WIDE)
    other.guard.session = remote.session
    remote.port = other.port
    with pytest.raises(Refused, match="another table"):
        remote.read()


def test_a_specimen_brought_back_knows_its_own_unloading(start, tmp_path):
    """Moves of the specimen's own unloading are in its memory: served again it stands at rest where it was left."""
    server = start(Yielding(), SHORT, memory=tmp_path / "memory.db")
    test = make(server, Asked("unload"))
    test.run(CHECKS)
    test.close()
    at_rest = server.guard.read()
    server.close()
    again = start(Yielding(), SHORT, memory=tmp_path / "memory.db")
    assert again.guard.last_sequence == server.guard.last_sequence
    assert again.guard.read().force == at_rest.force
    assert again.guard.command_now == server.guard.command_now


def test_a_guard_in_this_process_unloads_too():
    """The far guard may stand in this process and behind other things; the ladder finds it and it unloads."""
    far = Guarded(Yielding(), SHORT, stiffness=[[K]], side="specimen")
    test = HybridTest(make_solver, far, WIDE, Asked("unload"), None, stiffness=[[K]], time_scale=100.0)
    assert far_guard(test.guard.inner) is far
    assert test.run(CHECKS).ending == "unloaded" == far.state
    assert abs(float(far.read().force[0])) <= 0.005 * 1e6
    assert far_guard(Model(Network([(Bilinear(k=K, Fy=2e5), [1.0])]))) is None
    assert Reading(np.zeros(1), np.zeros(1)).force == 0.0


def test_a_rig_that_is_at_rest_already_stays_there(start):
    """Where the specimen's side has unloaded meanwhile, "unload" ends the test there, and going on is not offered."""

    def press(progress):
        if progress.step == 20:
            server.guard.ask_unload("the person at the rig")

    server = start(Yielding(), WIDE)
    operator = Asked("unload")
    test = HybridTest(
        make_solver, Remote(port=server.port), WIDE, operator, None, stiffness=[[K]], time_scale=100.0, views=(press,)
    )  # fmt: skip
    outcome = test.run(CHECKS)
    assert operator.offered == [("unload", "stop")]
    assert (outcome.ending, outcome.step) == ("unloaded", 20) and server.guard.state == "unloaded"
    assert abs(force(server)) <= 0.005 * 1e6
