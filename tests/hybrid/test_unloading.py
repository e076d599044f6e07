"""Unloading: what ends it, and that no move follows a sensor that cannot be trusted."""

from dataclasses import replace

import numpy as np
import pytest

from frame2d.hybrid import Action, Command, Guarded, Limits, Model, Network, Specimen, Tripped
from frame2d.hybrid.unloading import FLAT, STALLED, WRONG
from frame2d.materials import Bilinear, Elastic

K = 2e7
LIMITS = Limits((-0.05, 0.05), 2.5e5, 0.05, 0.01, 0.002, energy=1e9, energy_warning=1e8, flat_force=0)


class Rig(Specimen):
    """Yields at 200 kN; from `begins` moves on its readings have the fault."""

    def __init__(self, fault="", begins=0, law=None):
        super().__init__(1)
        self.model = Model(law or Bilinear(k=K, Fy=2e5, b=0.05))
        self.fault, self.begins, self.moves, self.stops, self.seen = fault, begins, [], [], []
        self.at_move = None

    def apply(self, command):
        assert not self.stops
        self.moves.append(command.displacement.copy())
        reading = self.model.apply(command)
        self.last_sequence = command.sequence
        if self.at_move is not None:
            self.at_move(len(self.moves))
        if self.fault and len(self.moves) > self.begins:
            now, last = reading, self.seen[-1]
            reading = {
                "flat force": lambda: now._replace(force=last.force),
                "flat displacement": lambda: now._replace(displacement=last.displacement),
                "sign of force": lambda: now._replace(force=-now.force),
                "drift of force": lambda: now._replace(force=last.force + 30.0),
                "offset": lambda: now._replace(displacement=now.displacement + 0.003),
                "NaN": lambda: now._replace(force=np.array([np.nan])),
                "program": lambda: 1 / 0,
            }[self.fault]()
        self.seen.append(reading)
        return reading

    def read(self):
        return self.model.read()

    def stop(self, reason):
        self.stops.append(reason)


def loaded(rig, stiffness=((K,),), limits=LIMITS):
    """Guard of a rig that has been pushed to 20 mm, well into yielding: five commands."""
    guard = Guarded(rig, limits, None, stiffness, clock=lambda: 0.0)
    for u in np.linspace(0.004, 0.02, 5):
        guard.apply(Command(guard.last_sequence + 1, np.array([u]), 0.25))
    return guard


FAULTS = [
    ("flat force", FLAT, "force 1 does not"),
    ("flat displacement", FLAT, "displacement"),
    ("sign of force", WRONG + 1, "sign"),
    ("drift of force", STALLED, "did not fall"),
    ("offset", 1, "does not follow"),
    ("NaN", 1, "valid force"),
    ("program", 1, "failed"),
]


@pytest.mark.parametrize("stiffness", [((K,),), None], ids=["stiffness known", "unknown"])
@pytest.mark.parametrize("before", [0, 4], ids=["at once", "on the way"])
@pytest.mark.parametrize(("fault", "most", "word"), FAULTS)
def test_unloading_stops_at_a_feedback_that_fails(fault, most, word, before, stiffness):
    """A channel that rests, a wrong sign, growing force, an offset, NaN, an error: few moves follow, and an event says why."""
    rig = Rig(fault, begins=5 + before)
    guard = loaded(rig, stiffness)
    guard.unload()
    assert guard.state == "stopped" and rig.stops
    assert len(rig.moves) - rig.begins <= most
    event = guard.events[-1]
    assert (event.trigger, event.action) == ("unloading", Action.STOP) and word in event.text
    # No fault drives the specimen farther than a few moves at the limited velocity.
    bounds = LIMITS.bounds(1)
    assert abs(rig.model.read().displacement[0] - rig.moves[rig.begins - 1][0]) <= (
        most * bounds.slow[0] * LIMITS.unload_cycle + 1e-12
    )


@pytest.mark.parametrize("fault", ["flat displacement", "sign of force"])
def test_a_fault_from_before_the_unloading_stops_it_too(fault):
    """A sensor that failed while the specimen was loaded does not guide unloading."""
    rig = Rig(fault, begins=4)
    guard = loaded(rig, limits=replace(LIMITS, tracking=1.0, flat_displacement=0))
    guard.unload()
    assert guard.state == "stopped" and len(rig.moves) - 5 <= FLAT
    assert guard.events[-1].trigger == "unloading"


def test_a_force_that_never_falls_is_given_up():
    """Unloading that gets nowhere, since the specimen is far softer than its stiffness says, ends by itself in stop."""
    rig = Rig()
    guard = loaded(rig, ((1e12,),))
    guard.unload()
    assert guard.state == "stopped" and "did not fall" in guard.events[-1].text
    assert len(rig.moves) < 40


@pytest.mark.parametrize("stiffness", [((K,),), ((3.0 * K,),), ((0.2 * K,),), None])
def test_unloading_arrives_though_its_stiffness_is_wrong(stiffness):
    """A stiffness three times too large, five times too small or unknown only costs moves."""
    rig = Rig()
    guard = loaded(rig, stiffness)
    guard.unload()
    assert guard.state == "unloaded" and not rig.stops
    assert abs(rig.read().force[0]) <= LIMITS.bounds(1).no_force[0]
    assert rig.read().displacement[0] > 0.005


def test_the_operators_stop_ends_unloading():
    """The operator's stop at the third move of unloading lets no fourth one out."""
    rig = Rig()
    guard = loaded(rig)
    rig.at_move = lambda count: guard.operator_stop("enough") if count == 8 else None
    guard.unload()
    assert guard.state == "stopped" and len(rig.moves) == 8 and rig.stops == ["enough"]
    assert (guard.events[-1].trigger, guard.events[-1].action) == ("operator", Action.STOP)


def test_a_guard_made_on_a_loaded_rig_knows_where_it_stands():
    """The first command is measured from the rig's own place, and unloading begins there, beyond the stroke or not."""
    model = Model(Bilinear(k=K, Fy=2e5, b=0.05))
    for i in range(60):
        model.apply(Command(i + 1, np.array([0.001 * (i + 1)]), 0.25))
    guard = Guarded(model, LIMITS, None, [[K]])
    assert guard.command_now == pytest.approx([0.06]) and guard.last_sequence == 60
    with pytest.raises(Tripped, match="step"):
        guard.apply(Command(61, np.zeros(1), 10.0))
    again = Guarded(model, LIMITS, None, [[K]])
    before, moves = 0.06, []
    again.moves = lambda command: moves.append(command.displacement[0])
    again.unload()
    assert again.state == "unloaded" and moves
    assert np.abs(np.diff([before, *moves])).max() <= 0.1 * 0.05 * 0.25 * (1.0 + 1e-9)
    assert max(moves) <= 0.06


def test_two_freedoms_unload_together():
    """Coupled freedoms reach zero force; one dead channel of the two stops both."""
    coupled = Network([(Elastic(K), [1.0, 0.0]), (Elastic(0.5 * K), [1.0, -1.0])], freedoms=2)

    class Dead(Model):
        dead = False
        kept = 0.0

        def apply(self, command):
            reading = super().apply(command)
            self.kept = self.kept if self.dead else reading.force[1]
            reading.force[1] = self.kept
            return reading

    for dead in (False, True):
        rig = Dead(coupled)
        guard = Guarded(rig, LIMITS, None, rig.stiffness)
        for i in range(5):
            guard.apply(Command(i + 1, 0.001 * (i + 1) * np.array([1.0, -1.0]), 0.25))
        rig.dead = dead
        guard.unload()
        assert guard.state == ("stopped" if dead else "unloaded")
