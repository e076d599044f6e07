"""Property of both guards together: over any story, whatever reaches the rig keeps every limit of both."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import Frame2dError
from frame2d.hybrid import Action, Command, Guarded, Limits, Model, Network, Specimen, Table
from frame2d.hybrid.specimen import LinkLost
from frame2d.hybrid.unloading import FLAT
from frame2d.materials import Bilinear

K = 2e7
#: Two freedoms with limits of their own; the specimen's side allows less force, the solver's side less stroke.
SOLVER = Limits(
    ((-0.04, -0.03), (0.05, 0.03)), 2.5e5, (0.05, 0.03), (0.01, 0.006), 0.002, energy=0.5, deadline=0.5,
    flat_force=6, flat_displacement=4, unload_time=5.0,
)  # fmt: skip
RIG = replace(SOLVER, stroke=(-0.05, 0.05), force=2.2e5, velocity=0.04, deadline=0.0)


class Rig(Specimen):
    """Two coupled yielding freedoms; faults by name; keeps each command with what the sensors then said."""

    def __init__(self, start):
        super().__init__(2)
        springs = [
            (Bilinear(k=K, Fy=1.5e5, b=0.05), [1.0, 0.0]),
            (Bilinear(k=K, Fy=1.5e5, b=0.05), [0.0, 1.0]),
            (Bilinear(k=0.2 * K, Fy=5e4, b=0.05), [1.0, -1.0]),
        ]
        self.model = Model(Network(springs, freedoms=2))
        for i in range(1, 21):
            self.model.apply(Command(i, start * i / 20.0, 0.25))
        self.last_sequence, self.start = 20, start
        self.fault, self.sent, self.stops = "", [], []
        self.seen = self.model.read()

    def apply(self, command):
        assert not self.stops, "a command left after stop"
        reading = self.model.apply(command)
        self.last_sequence = command.sequence
        self.sent.append((command, reading))
        if self.fault == "link":
            raise LinkLost("no answer")
        if self.fault == "program":
            raise RuntimeError("driver")
        u, f = reading.displacement.copy(), reading.force.copy()
        i = int(self.fault[-1:]) if self.fault[-1:].isdigit() else 0
        kind = self.fault[:-1]
        if kind == "nan":
            f[i] = np.nan
        elif kind == "flat force ":
            f[i] = self.seen.force[i]
        elif kind == "flat place ":
            u[i] = self.seen.displacement[i]
        elif kind == "offset ":
            u[i] += 0.003
        elif kind == "sign ":
            f[i] = -f[i]
        elif kind == "strong ":
            f[i] *= 3.0
        self.seen = reading._replace(displacement=u, force=f)
        self.sent[-1] = (command, self.seen)
        return self.seen

    def read(self):
        return self.seen

    def stop(self, reason):
        self.stops.append(reason)


FAULTS = ["", "", "", "link", "program"] + [
    f"{kind}{i}"
    for kind in ("nan", "flat force ", "flat place ", "offset ", "sign ", "strong ")
    for i in (0, 1)
]
STEP = st.tuples(
    st.sampled_from(FAULTS),
    st.tuples(*(st.one_of(st.floats(-0.03, 0.03), st.sampled_from([np.nan, np.inf, 0.2])),) * 2),
    st.sampled_from([0.25, 0.25, 0.05, 1e-6, 0.0, np.nan]),
    st.sampled_from([0.1, 0.1, 0.6]),
    st.sampled_from(["go", "go", "release", "unload", "far unload", "operator", "far operator"]),
)


def longest_flat_run(sent, channel, freedom):
    """Commands in a row that moved a freedom while that channel of it stayed the same, at most."""
    worst = count = 0
    for (before, then), (command, now) in pairwise(sent):
        moved = abs(command.displacement[freedom] - before.displacement[freedom]) > SOLVER.flat_motion
        if moved:
            count = count + 1 if now[channel][freedom] == then[channel][freedom] else 0
            worst = max(worst, count)
    return worst


@settings(max_examples=60, deadline=None)
@given(
    st.lists(STEP, min_size=1, max_size=30),
    st.tuples(st.floats(-0.06, 0.06), st.floats(-0.06, 0.06)),
    st.sampled_from([Action.WARN, Action.HOLD, Action.UNLOAD]),
    st.sampled_from([Action.HOLD, Action.UNLOAD]),
    st.booleans(),
)
def test_whatever_reaches_the_rig_keeps_the_limits_of_both_guards(story, start, tracking, operator, stiff):
    """Two stacked guards, two freedoms, a clock and a rig that stands anywhere: no command breaks a limit of either."""
    rig, now = Rig(np.array(start)), [0.0]
    stiffness = rig.model.stiffness if stiff else None
    far = Guarded(rig, RIG, Table({"operator": operator}), stiffness, "specimen", clock=lambda: now[0])
    near = Guarded(far, SOLVER, Table({"tracking": tracking}), stiffness, clock=lambda: now[0])
    for fault, move, duration, waits, deed in story:
        rig.fault = fault
        now[0] += waits
        try:
            if deed == "release":
                far.release(True)
                near.release(True)
            elif deed.endswith("unload"):
                (far if deed.startswith("far") else near).unload()
            elif deed.endswith("operator"):
                (far if deed.startswith("far") else near).operator_stop()
            target = near.command_now + 0.4 * np.array(move)
            near.apply(Command(near.last_sequence + 1, target, duration))
        except Frame2dError:
            pass
    bounds = SOLVER.bounds(2)
    both = RIG.bounds(2)
    before = rig.start
    for i, (command, _) in enumerate(rig.sent):
        u, t = command.displacement, command.duration
        assert command.sequence == 21 + i and np.isfinite(u).all() and t > 0.0
        # The rig's own stroke holds always, the solver's for what the solver sends; a start beyond leads back.
        assert (u >= np.minimum(both.low, rig.start)).all() and (u <= np.maximum(both.high, rig.start)).all()
        change = np.abs(u - before)
        assert (change <= np.minimum(bounds.step, both.velocity * t) * (1.0 + 1e-12)).all()
        before = u
    for freedom in range(2):
        for channel, count in ((0, SOLVER.flat_displacement), (1, SOLVER.flat_force)):
            # Unloading that follows a run of flat readings has none left to its credit beyond its own.
            assert longest_flat_run(rig.sent, channel, freedom) <= count + FLAT
    if rig.stops:
        assert far.state == "stopped"
