"""Wire, server and remote specimen on loopback."""

import json
import socket
import threading
import time

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.hybrid import Command, Limits, Model, Remote, Server, Tripped, serve
from frame2d.hybrid.journal import JournalError, rows
from frame2d.hybrid.limits import Action
from frame2d.hybrid.specimen import LinkLost, Refused
from frame2d.hybrid.wire import UNITS, VERSION, array, is_loopback, numbers
from frame2d.materials import Bilinear

LIMITS = Limits((-0.05, 0.05), 5e5, 0.1, 0.01, 0.002, energy=1.0, energy_warning=0.9, flat_force=0)
SECRET = "a long shared secret"


class Counting(Model):
    """Counts what it really executes."""

    def __init__(self, wait=0.0):
        super().__init__(Bilinear(k=2e7, Fy=2e5, b=0.03))
        self.count, self.wait, self.stops = 0, wait, []

    def apply(self, command):
        self.count += 1
        time.sleep(self.wait)
        return super().apply(command)

    def stop(self, reason):
        self.stops.append(reason)


@pytest.fixture(scope="module", autouse=True)
def compiled():
    """With a cold cache the first command would take longer than the client's patience."""
    Counting().apply(Command(1, np.zeros(1), 1.0))


@pytest.fixture
def start():
    servers = []

    def begin(specimen, **options):
        server = Server(specimen, options.pop("limits", LIMITS), **options)
        threading.Thread(target=server.run, daemon=True).start()
        servers.append(server)
        return server

    yield begin
    for server in servers:
        server.close()


def command(n, u=0.001):
    return Command(n, np.array([u]), 0.25)


@pytest.mark.parametrize("secret", [None, SECRET])
def test_a_remote_specimen_answers_as_the_local_one(start, secret):
    """Displacements and forces pass the wire without losing a bit, with and without a secret."""
    local, server = Model(Bilinear(k=2e7, Fy=2e5, b=0.03)), start(Counting(), secret=secret)
    remote = Remote(port=server.port, secret=secret)
    for n, u in enumerate(np.pi * 1e-3 * np.arange(1, 8)):
        assert remote.apply(command(n + 1, u)).force == local.apply(command(n + 1, u)).force
    assert remote.read().displacement == local.read().displacement
    assert remote.answer(3).displacement[0] == 3 * (np.pi * 1e-3)
    assert remote.answer(99) is None
    remote.alive()
    remote.close()


def test_a_command_sent_again_is_answered_from_memory(start):
    """The same number moves nothing again; with another displacement, or out of order, it is refused."""
    specimen = Counting()
    remote = Remote(port=start(specimen).port)
    first = remote.apply(command(1))
    assert remote.apply(command(1)).force == first.force and specimen.count == 1
    for bad in (command(1, 0.002), command(3), command(0)):
        with pytest.raises(Refused):
            remote.apply(bad)
    assert specimen.count == 1
    remote.close()


def test_a_broken_connection_is_opened_again_with_the_same_command(start):
    """After a break the client sends the same command again, and the specimen executes it once."""
    specimen = Counting()
    server = start(specimen, release=lambda question: True)
    remote = Remote(port=server.port, retries=3)
    remote.apply(command(1))
    remote._channel.connection.shutdown(socket.SHUT_RDWR)
    time.sleep(0.1)
    remote.apply(command(2, 0.002))
    remote.apply(command(2, 0.002))
    assert specimen.count == 2
    remote.close()


def test_wrong_secrets_are_refused(start):
    """No secret, another secret, and a specimen that does not know the secret are refused on the side that sees it."""
    guarded, open_one = start(Counting(), secret=SECRET), start(Counting())
    with pytest.raises(Refused, match="secret is wrong"):
        Remote(port=guarded.port)
    with pytest.raises(Refused, match="secret is wrong"):
        Remote(port=guarded.port, secret="another long secret")
    with pytest.raises(Refused, match="asks for no secret"):
        Remote(port=open_one.port, secret=SECRET)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"version": VERSION - 1}, "version"),
        ({"version": VERSION + 1}, "version"),
        ({"units": "mm kN"}, "units"),
        ({"frame2d": "x"}, "version"),
    ],
)
def test_wrong_version_and_units_are_refused(start, change, reason):
    """Another version or unit is refused before anything moves."""
    with socket.create_connection(("127.0.0.1", start(Counting()).port)) as connection:
        file = connection.makefile("rw")
        file.readline()
        hello = {"frame2d": "solver", "version": VERSION, "units": UNITS, "nonce": "00"} | change
        file.write(json.dumps(hello) + "\n")
        file.flush()
        assert reason in json.loads(file.readline())["refused"]
        file.close()


def test_changed_lines_are_refused(start):
    """A line with a wrong authentication ends the session without a motion."""
    specimen = Counting()
    remote = Remote(port=start(specimen, secret=SECRET, release=lambda q: True).port, secret=SECRET)
    remote._channel._sent += 1
    with pytest.raises((Refused, LinkLost)):
        remote.apply(command(1))
    remote.close()
    assert specimen.count == 0


def test_nonsense_on_the_wire_is_refused(start):
    """Text that is not JSON is answered with a refusal and moves nothing."""
    specimen = Counting()
    server = start(specimen)
    with socket.create_connection(("127.0.0.1", server.port)) as connection:
        file = connection.makefile("rwb")
        file.readline()
        file.write(b"GET / HTTP/1.1\n")
        file.flush()
        assert b"not JSON" in file.readline()
        file.close()
    assert specimen.count == 0


def test_other_addresses_need_a_secret():
    """Serving or connecting outside of this machine without a secret, or with a short one, is an input error."""
    with pytest.raises(InputError, match="outside of this machine"):
        Server(Counting(), LIMITS, host="0.0.0.0")
    with pytest.raises(InputError, match="outside of this machine"):
        Remote("192.0.2.1", 5000)
    with pytest.raises(InputError, match="12 or more"):
        Remote("127.0.0.1", 5000, secret="short")
    assert is_loopback("127.0.0.9") and is_loopback("::1") and not is_loopback("example.org")


def test_only_one_solver_at_a_time(start):
    """A second solver is refused while the first is connected."""
    server = start(Counting())
    first = Remote(port=server.port)
    with pytest.raises(Refused, match="another solver"):
        Remote(port=server.port)
    first.close()


def test_the_specimens_guard_cannot_be_passed(start):
    """The specimen's own limits hold whatever the solver's side asks; the trip travels back with its reason."""
    specimen = Counting()
    remote = Remote(port=start(specimen).port)
    with pytest.raises(Tripped) as caught:
        remote.apply(command(1, 0.02))
    assert caught.value.event.side == "specimen" and caught.value.event.trigger == "step"
    with pytest.raises(Refused, match="held"):
        remote.apply(command(1, 0.001))
    assert specimen.count == 0
    remote.close()


def test_a_lost_solver_makes_the_specimen_hold(start):
    """When the solver vanishes the specimen's side holds, and goes on only if its own operator agrees."""
    agreed = []
    server = start(Counting(), release=lambda question: bool(agreed))
    remote = Remote(port=server.port)
    remote.apply(command(1))
    remote._channel.connection.close()
    time.sleep(0.1)
    assert server.guard.state == "held" and server.guard.events[-1].trigger == "silence"
    again = Remote(port=server.port)
    with pytest.raises(Refused, match="held"):
        again.apply(command(2))
    again.close()
    agreed.append(1)
    third = Remote(port=server.port)
    third.apply(command(2))
    third.close()


def test_silence_holds_too(start):
    """An open connection without a word for the agreed time is as good as lost."""
    server = start(Counting(), silence=0.15)
    remote = Remote(port=server.port)
    remote.apply(command(1))
    time.sleep(0.5)
    assert server.guard.state == "held"
    with pytest.raises((LinkLost, Refused)):
        remote.apply(command(2))
    remote.close()


def test_an_answer_that_does_not_come_is_a_lost_link(start):
    """The client waits for the command's duration and its patience, not longer."""
    remote = Remote(port=start(Counting(wait=1.0)).port, patience=0.1)
    with pytest.raises(LinkLost, match="no answer within"):
        remote.apply(command(1)._replace(duration=0.1))
    with pytest.raises(LinkLost, match="no specimen"):
        Remote(port=1)


def test_stop_reaches_the_rig(start):
    """The solver's stop reaches the rig's own stop, and nothing moves afterwards."""
    specimen = Counting()
    server = start(specimen)
    remote = Remote(port=server.port)
    remote.stop("enough")
    assert specimen.stops == ["enough"] and server.guard.state == "stopped"
    with pytest.raises(Refused):
        remote.apply(command(1))
    remote.close()


def test_ending_the_server_by_hand_is_the_operators_stop(monkeypatch):
    """Ctrl-C at the rig hands it over to its own hardware and releases it."""
    specimen, closed = Counting(), []
    specimen.close = lambda: closed.append(True)

    def interrupted(server):
        raise KeyboardInterrupt

    monkeypatch.setattr(Server, "run", interrupted)
    serve(specimen, LIMITS)
    assert len(specimen.stops) == 1 and "operator" in specimen.stops[0] and closed == [True]


def test_a_specimen_with_memory_comes_back_as_it_was(start, tmp_path):
    """Served again from its memory, a model has its session, answers and state; another law is found out."""
    memory = tmp_path / "memory.db"
    first = start(Counting(), memory=memory)
    remote = Remote(port=first.port)
    answers = [remote.apply(command(n, 0.004 * n)).force[0] for n in (1, 2, 3, 4)]
    remote.close()
    first.close()
    second = start(Counting(), memory=memory)
    again = Remote(port=second.port)
    assert again.session == remote.session and again.last_sequence == 4
    assert again.apply(command(4, 0.016)).force[0] == answers[-1]
    assert again.read().force[0] == answers[-1]
    again.close()
    second.close()
    assert [row.kind for row in rows(memory)][:3] == ["session", "command", "reading"]
    with pytest.raises(JournalError, match="not the same specimen"):
        Server(Model(Bilinear(k=1e7, Fy=2e5)), LIMITS, memory=memory)


def test_a_command_that_its_guard_refused_leaves_no_doubt(start, tmp_path):
    """A refused command was not executed, and the memory says so; one whose answer is missing stays doubtful."""
    specimen = Counting()
    specimen.replayable = False
    server = start(specimen, memory=tmp_path / "memory.db", release=lambda question: True)
    remote = Remote(port=server.port)
    remote.apply(command(1))
    for refused, reason in ((0.02, "step"), (0.001, "held")):
        with pytest.raises((Tripped, Refused), match=reason):
            remote.apply(command(2, refused))
    remote.close()
    server.close()
    again = Counting()
    again.replayable = False
    server = start(again, memory=tmp_path / "memory.db")
    assert server.guard.last_sequence == 1 and server.guard.session == specimen.session
    server._specimen.journal.command(2, command(2))
    server.close()
    with pytest.raises(JournalError, match="under way"):
        start(again, memory=tmp_path / "memory.db")


def test_numbers_that_are_not_finite_pass_the_wire():
    """NaN and infinities travel as words, so that the guard sees them."""
    there = array(json.loads(json.dumps(numbers([1.5, np.nan, -np.inf]), allow_nan=False)))
    assert there[0] == 1.5 and np.isnan(there[1]) and there[2] == -np.inf
    with pytest.raises(Refused):
        array(["x"])
    assert Action.STOP > Action.HOLD
