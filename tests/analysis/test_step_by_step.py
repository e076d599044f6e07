"""Whoever owns the loop gets the numbers of the batch, bit for bit."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import AnalysisError, BeamColumn, Frame, InputError, Rayleigh, gravity, time_history
from frame2d.analysis import StepByStep, chang, first_order_alpha, newmark, operator_splitting
from frame2d.analysis.runner import Options
from frame2d.materials import Bilinear, BoucWen

DT, ROWS = 0.01, 150
GROUND = 4.0 * np.sin(7.0 * DT * np.arange(ROWS)) + 0.3
PUSH = 2e4 * np.cos(5.0 * DT * np.arange(ROWS))


@pytest.fixture(scope="module")
def standing():  # type: ignore[no-untyped-def]
    """A portal that yields, under its weight; invented numbers."""
    frame = Frame("portal")
    for name, x, y in (("A", 0.0, 0.0), ("B", 0.0, 3.5), ("C", 6.0, 3.5), ("D", 6.0, 0.0)):
        frame.node(name, x, y, "fixed" if y == 0.0 else None, mass=2e4 if y else 0.0)
    column = BeamColumn(2.1e11, 8e-3, 6e-5, geometry="p-delta")
    frame.member("AB", "A", "B", column)
    frame.member("DC", "D", "C", column)
    hinges = {"start": BoucWen(k=2e7, Fy=6e4, a=0.02), "end": Bilinear(2e7, 6e4, 0.01)}
    frame.member("BC", "B", "C", BeamColumn(2.1e11, 5e-3, 8e-5, **hinges))
    frame.floor("roof", ["B", "C"])
    for node in "BC":
        frame.load(node, fy=-2e5)
    system = frame.compile()
    return system, gravity(system).state


@pytest.mark.parametrize("scheme", [None, newmark(), chang(), operator_splitting(), first_order_alpha()])
def test_the_numbers_of_the_batch_bit_for_bit(standing, scheme):
    """Every row of the log, the state and the energies are equal, with any kind of scheme."""
    system, state = standing
    damping = Rayleigh(0.03, (1, 2))
    record = SimpleNamespace(acceleration=GROUND, dt=DT, name="wave")
    batch = time_history(system, record, state, forces={("B", "ux"): PUSH}, damping=damping, scheme=scheme)
    hand = StepByStep(
        system, state, dt=DT, peak=np.abs(GROUND).max(), ground=GROUND[0], forces=[("B", "ux")],
        most=[np.abs(PUSH).max()], loads=[PUSH[0]], damping=damping, scheme=scheme, rows=8,
    )  # fmt: skip
    for row in range(1, ROWS):
        assert hand.step(GROUND[row], [PUSH[row]])
        assert hand.displacement("B") == pytest.approx(batch.displacement("B")[row], rel=1e-12)
        assert np.array_equal(hand.q, batch.log.q[row])
    found = hand.response()
    for name, ours, theirs in zip(found.log._fields, found.log, batch.log, strict=True):
        assert np.array_equal(ours, theirs), name
    for ours, theirs in zip(found.state.motion, batch.state.motion, strict=True):
        assert np.array_equal(ours, theirs)
    assert found.state.time == pytest.approx(batch.state.time) == hand.time
    assert found.imbalance() == batch.imbalance() and found.counts() == batch.counts()


def test_the_loop_may_look_and_decide(standing):
    """A load that depends on the motion: the response of any moment stays as it was when the steps go on."""
    system, state = standing
    hand = StepByStep(system, state, dt=DT, forces=[("B", "ux")], most=[5e4], damping=Rayleigh(0.05, (1, 2)))
    start = hand.displacement("B")
    for _ in range(60):
        assert hand.step(loads=[5e4 if hand.displacement("B") < start + 0.01 else 0.0])
    early = hand.response()
    kept = early.state.motion.q.copy()
    assert early.displacement("B").max() > start + 0.01
    assert {0.0, 5e4} == set(early.extra["factors"][1:, 1])
    for _ in range(10):
        hand.step(loads=[0.0])
    assert np.array_equal(early.state.motion.q, kept) and early.time.size == 61
    assert hand.response().time.size == 71


def test_a_step_without_equilibrium_leaves_the_motion(standing):
    """It says so, the motion is that of the step before, halves of the step undone, and it may be tried again."""
    system, state = standing
    options = Options(most_iterations=3, deepest_halving=2)
    hand = StepByStep(system, state, dt=DT, forces=[("B", "ux")], options=options)
    assert hand.step()
    before = hand.q
    for load in (float("nan"), 63e6, 630e6, 1e9):
        assert not hand.step(loads=[load])
        assert hand.steps == 1 and np.array_equal(hand.q, before)
    with pytest.raises(AnalysisError) as raised:
        hand.response()
    assert raised.value.response.time.size == 2
    assert hand.step(loads=[1.0]) and hand.response().time.size == 3
    with pytest.raises(InputError, match="loads"):
        hand.step(loads=[1.0, 2.0])


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"dt": 5.0}, "dt"),
        ({"forces": [("A", "ux")]}, "supported"),
        ({"forces": ["B"]}, "forces"),
        ({"forces": [("B", "ux")], "most": [1.0, 2.0]}, "most"),
        ({"peak": float("nan")}, "peak"),
        ({"scheme": "newmark"}, "scheme"),
        ({"rows": 1_000_000_000}, "rows"),
    ],
)
def test_wrong_input_is_refused(standing, wrong, says):
    """Steps of ms, forces on supports and lists of another length name what is wrong."""
    with pytest.raises(InputError, match=says):
        StepByStep(*standing, **{"dt": DT, **wrong})
