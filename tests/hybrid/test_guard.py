"""Guard: every trigger by an injected fault, the ladder, and no command beyond a limit whatever happens."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import Frame2dError, InputError
from frame2d.hybrid import Action, Command, Guarded, Limits, Model, Reading, Specimen, Table, Tripped
from frame2d.hybrid.specimen import LinkLost, Own, Refused
from frame2d.materials import Bilinear

LIMITS = Limits(
    (-0.05, 0.05), 2.5e5, 0.05, 0.01, 0.002, energy=0.05, deadline=0.5, flat_force=6, flat_displacement=4
)


class Faulty(Specimen):
    """A yielding specimen whose faults are switched on by name; keeps every command that reached it."""

    def __init__(self):
        super().__init__(1)
        self.model = Model(Bilinear(k=2e7, Fy=2e5, b=0.05))
        self.fault = ""
        self.sent = []
        self.stops = []
        self.frozen = None

    def apply(self, command):
        assert not self.stops, "a command left after stop"
        self.sent.append(command)
        reading = self.model.apply(command)
        self.last_sequence = command.sequence
        if self.fault == "link":
            raise LinkLost("no answer")
        if self.fault == "nan force":
            return reading._replace(force=np.array([np.nan]))
        if self.fault == "nan displacement":
            return reading._replace(displacement=np.array([np.inf]))
        if self.fault == "flat force":
            self.frozen = reading.force if self.frozen is None else self.frozen
            return reading._replace(force=self.frozen)
        if self.fault == "flat displacement":
            self.frozen = reading.displacement if self.frozen is None else self.frozen
            return reading._replace(displacement=self.frozen)
        if self.fault == "offset":
            return reading._replace(displacement=reading.displacement + 0.003)
        if self.fault == "strong":
            return reading._replace(force=3.0 * reading.force)
        return reading

    def read(self):
        return self.model.read()

    def stop(self, reason):
        self.stops.append(reason)


def guarded(limits=LIMITS, table=None, clock=None):
    rig, now = Faulty(), [0.0]
    return rig, Guarded(rig, limits, table, [[2e7]], clock=clock or (lambda: now[0])), now


def walk(guard, path, duration=0.25):
    for u in path:
        guard.apply(Command(guard.last_sequence + 1, np.array([u]), duration))


def tripped(guard, path, duration=0.25):
    with pytest.raises(Tripped) as caught:
        walk(guard, path, duration)
    return caught.value.event


@pytest.mark.parametrize(
    ("path", "duration", "trigger"),
    [
        ([np.nan], 0.25, "command"),
        ([0.009, 0.018, 0.027, 0.036, 0.045, 0.0501], 0.25, "stroke"),
        ([0.0101], 0.25, "step"),
        ([0.006], 0.1, "velocity"),
        ([0.001], 0.0, "command"),
    ],
)
def test_a_command_beyond_a_limit_never_leaves(path, duration, trigger):
    """Stroke, step, velocity and nonsense are caught before the command leaves."""
    limits = replace(LIMITS, force=1e7, flat_displacement=0, energy=1e9, tracking=1.0)
    rig, guard, _ = guarded(limits)
    assert tripped(guard, path, duration).trigger == trigger
    assert len(rig.sent) == len(path) - 1
    with pytest.raises(Refused):
        walk(guard, [0.0])


@pytest.mark.parametrize(
    "fault", ["nan force", "nan displacement", "link", "flat force", "flat displacement"]
)
def test_lost_feedback_stops(fault):
    """NaN, a flat line and a lost link hand over to the rig's own hardware, without one more motion."""
    rig, guard, _ = guarded(replace(LIMITS, tracking=1.0, energy=1e9))
    walk(guard, [0.001])
    rig.fault = fault
    event = tripped(guard, np.linspace(0.0012, 0.004, 12))
    assert event.action == Action.STOP and guard.state == "stopped" and rig.stops
    assert event.trigger == {"n": "nan", "l": "link", "f": "flat line"}[fault[0]]
    count = len(rig.sent)
    with pytest.raises(Refused):
        guard.unload()
    assert len(rig.sent) == count


def test_tracking_error_holds_and_keeps_the_force():
    """A measured displacement 3 mm off holds the position; only a confirmed release goes on."""
    rig, guard, _ = guarded(replace(LIMITS, energy=1e9))
    walk(guard, [0.001])
    rig.fault = "offset"
    assert tripped(guard, [0.002]).trigger == "tracking"
    assert guard.state == "held" and not rig.stops
    guard.release(False)
    assert guard.state == "held"
    rig.fault = ""
    guard.release(True)
    walk(guard, [0.003])


def test_too_large_a_force_unloads_to_zero_force_not_to_zero_displacement():
    """After yielding the specimen is left at its residual displacement, reached at the limited velocity."""
    rig, guard, _ = guarded()
    walk(guard, np.linspace(0.004, 0.02, 5))
    before = len(rig.sent)
    rig.fault = "strong"
    assert tripped(guard, [0.022]).trigger == "force"
    assert guard.state == "unloaded"
    reading = rig.read()
    assert abs(reading.force[0]) <= LIMITS.bounds(1).no_force[0] / 3.0 + 1e-6
    assert 0.005 < reading.displacement[0] < 0.0215
    moves = np.diff([0.022, *[c.displacement[0] for c in rig.sent[before + 1 :]]])
    assert np.abs(moves).max() <= LIMITS.bounds(1).slow[0] * LIMITS.unload_cycle * (1.0 + 1e-9)


def test_unloading_stops_when_its_feedback_dies():
    """A force that turns NaN while unloading ends in stop."""
    rig, guard, _ = guarded()
    walk(guard, np.linspace(0.004, 0.02, 5))
    rig.fault = "nan force"
    guard.unload()
    assert guard.state == "stopped" and rig.stops


def test_energy_error_is_monitored():
    """A specimen that lags its command feeds energy in; the monitor warns first and then holds."""
    limits = replace(LIMITS, energy=0.05, flat_force=0, flat_displacement=0, energy_floor=300.0)
    events = []

    class Lagging(Faulty):
        def apply(self, command):
            before = self.sent[-1].displacement if self.sent else np.zeros(1)
            late = 0.5 * (command.displacement - before)
            reading = super().apply(command)
            u = reading.displacement - late
            return Reading(u, 2e7 * u)

    guard = Guarded(Lagging(), limits, stiffness=[[2e7]], clock=lambda: 0.0, watch=events.append)
    event = tripped(guard, 0.004 * np.sin(np.linspace(0.0, 60.0, 600)))
    assert event.trigger == "energy" and guard.monitor.error < 0.0
    assert [e.action for e in events if e.trigger == "energy"] == [Action.WARN, Action.HOLD]


def test_energy_error_has_its_closed_form():
    """∮ r du_c of an elastic specimen behind a sine by φ is −kπa²·sin φ per cycle (Mosqueda et al. 2007)."""
    from frame2d.hybrid.energy import EnergyMonitor

    a, phi, k, n = 0.01, 0.1, 2e7, 4000
    t = np.linspace(0.0, 2.0 * np.pi, n + 1)
    monitor = EnergyMonitor(1, 1e-12)
    monitor.begin(np.zeros(1), Reading(np.array([-a * np.sin(phi)]), np.array([-k * a * np.sin(phi)])))
    for angle in t[1:]:
        u = a * np.sin(angle - phi) * np.ones(1)
        monitor.update(a * np.sin(angle) * np.ones(1), Reading(u, k * u))
    assert monitor.error == pytest.approx(-k * np.pi * a**2 * np.sin(phi), rel=1e-5)


def test_late_commands_count_only_in_a_row():
    """Three late commands in a row trip the deadline; one in time begins the count anew."""
    _, guard, now = guarded()
    for late in (1, 1, 0, 1, 1):
        walk(guard, [0.0005])
        now[0] += 0.6 if late else 0.1
    walk(guard, [0.0006])
    now[0] += 0.6
    assert tripped(guard, [0.0007]).trigger == "deadline"


def test_the_operators_stop_acts_before_the_next_command():
    """An operator's stop from outside lets no further command out."""
    rig, guard, _ = guarded()
    walk(guard, [0.001])
    guard.operator_stop()
    assert tripped(guard, [0.002]).trigger == "operator"
    assert len(rig.sent) == 1 and rig.stops


def test_margins_warn_once():
    """Beyond 85 % of a limit the guard warns once and goes on."""
    _, guard, _ = guarded()
    walk(guard, [0.009, 0.018, 0.026, 0.025, 0.026])
    assert [e.trigger for e in guard.events] == ["margin"]


def test_unsafe_tables_are_refused():
    """NaN may not unload, a command beyond a limit may not merely warn, unknown triggers are named."""
    for changes in (
        {"nan": Action.UNLOAD},
        {"stroke": Action.WARN},
        {"flat line": Action.HOLD},
        {"link": Action.HOLD},
    ):
        with pytest.raises(InputError, match="allowed"):
            Table(changes)
    with pytest.raises(InputError, match=r"Action\.UNLOAD"):
        Table({"force": "UNLOAD"})
    with pytest.raises(InputError, match="did you mean 'stroke'"):
        Table({"strokes": Action.STOP})
    assert "force      UNLOAD" in Table().text(LIMITS)


FAULTS = ["", "link", "nan force", "nan displacement", "flat force", "flat displacement", "offset", "strong"]
ACTIONS = {
    "tracking": list(Action),
    "force": [Action.HOLD, Action.UNLOAD, Action.STOP],
    "stroke": [Action.HOLD],
}


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(FAULTS),
            st.one_of(st.floats(-0.08, 0.08), st.just(float("nan")), st.just(float("inf"))),
            st.sampled_from([0.25, 0.05, 1e-6, 0.0, float("nan")]),
            st.sampled_from(["go", "release", "unload", "operator"]),
        ),
        min_size=1,
        max_size=40,
    ),
    st.sampled_from(list(Action)),
)
def test_no_command_beyond_a_limit_ever_leaves(story, on_tracking):
    """Over any sequence of faults, bad commands, releases and unloadings, whatever leaves keeps every limit."""
    rig, guard, _ = guarded(replace(LIMITS, unload_time=5.0), Table({"tracking": on_tracking}))
    for fault, move, duration, deed in story:
        rig.fault = fault
        try:
            if deed == "release":
                guard.release(True)
            elif deed == "unload":
                guard.unload()
            elif deed == "operator":
                guard.operator_stop()
            base = rig.sent[-1].displacement[0] if rig.sent else 0.0
            target = move if abs(move) > 0.04 or not np.isfinite(move) else base + 0.3 * move
            guard.apply(Command(guard.last_sequence + 1, np.array([target]), duration))
        except Frame2dError:
            pass
    before = 0.0
    for command in rig.sent:
        u = command.displacement[0]
        assert np.isfinite(u) and LIMITS.stroke[0] <= u <= LIMITS.stroke[1]
        assert command.duration > 0.0
        assert abs(u - before) <= min(LIMITS.step, LIMITS.velocity * command.duration) * (1.0 + 1e-12)
        before = u


class Springs:
    """Two springs, as a user writes them."""

    def measure(self, displacement):
        return np.array([1e6, 1e5]) * displacement


def test_limits_may_differ_from_freedom_to_freedom():
    """Translations and rotations have limits of their own; a tuple of the wrong length is refused."""
    limits = replace(LIMITS, stroke=((-0.05, -0.01), (0.05, 0.01)), step=(0.01, 0.001), force=(1e5, 1e4))
    two = Guarded(Own(Springs(), 2), limits, clock=lambda: 0.0)
    two.apply(Command(1, np.array([0.009, 0.0009]), 0.25))
    with pytest.raises(Tripped, match="step"):
        two.apply(Command(2, np.array([0.009, 0.0029]), 0.25))
    with pytest.raises(InputError, match="one a freedom"):
        limits.bounds(3)
