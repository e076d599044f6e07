"""In-process specimens and actuator geometry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import Frame2dError, InputError
from frame2d.hybrid import Command, Geometry, Model, Network, Pin, Placed, Replay, as_specimen
from frame2d.materials import Bilinear, Elastic
from frame2d.materials.drive import drive

LAW = Bilinear(k=2e7, Fy=2e5, b=0.03)


def measure(specimen, path):
    return np.array([specimen.apply(Command(i + 1, np.atleast_1d(u), 1.0)).force for i, u in enumerate(path)])


def test_a_single_law_answers_as_when_driven():
    """The in-process specimen gives the forces of the law's own component test."""
    path = 0.03 * np.sin(np.linspace(0.0, 12.0, 200))
    assert measure(Model(LAW), path)[:, 0] == pytest.approx(drive(LAW, path).force, rel=1e-12)


def test_series_shares_the_force_and_adds_the_flexibility():
    """A spring in series with a yielding law follows the exact combined slope on every branch."""
    network = Network.series(Elastic(3e7), LAW)
    path = np.concatenate([np.linspace(0.0, 0.04, 40), np.linspace(0.04, -0.04, 80)[1:]])
    force = measure(Model(network), path)[:, 0]
    assert network.stiffness[0, 0] == pytest.approx(1.0 / (1.0 / 3e7 + 1.0 / 2e7))
    yielding = 1.0 / (1.0 / 3e7 + 1.0 / (0.03 * 2e7))
    slopes = np.diff(force) / np.diff(path)
    assert slopes[0] == pytest.approx(1.2e7)
    assert slopes[30] == pytest.approx(yielding)
    assert slopes[40] == pytest.approx(1.2e7)
    # Force is shared: the law alone, driven by its own part of the deformation, gives it too.
    own = path - force / 3e7
    assert drive(LAW, own).force == pytest.approx(force, rel=1e-8, abs=1e-3)


def test_parallel_adds_forces_on_two_freedoms():
    """A coupled network of two freedoms adds the springs' forces along their rows."""
    network = Network(
        [(Elastic(1e6), [1.0, 0.0]), (Elastic(2e6), [0.6, 0.8]), (Elastic(5e5), [0.0, 1.0])], freedoms=2
    )
    u = np.array([0.01, -0.02])
    assert Model(network).apply(Command(1, u, 1.0)).force == pytest.approx(network.stiffness @ u)


def test_a_loose_freedom_is_refused():
    """A freedom without a spring is named."""
    with pytest.raises(InputError, match="internal freedom 1"):
        Network([(LAW, [1.0, 0.0])], freedoms=1, internal=1)


def test_one_method_makes_a_specimen():
    """A user's class with measure() is a specimen; anything else is refused with the reason."""

    class Mine:
        def measure(self, displacement):
            return 2.0 * displacement

    assert as_specimen(Mine()).apply(Command(1, np.array([3.0]), 1.0)).force[0] == 6.0
    with pytest.raises(InputError, match="class was handed over"):
        as_specimen(object())


def test_a_replay_answers_only_its_own_motion():
    """A recorded test gives its forces in order and refuses another displacement and another step."""
    path = np.array([0.0, 0.01, 0.02])
    replay = Replay(path, path, 5.0 * path)
    assert measure(replay, path[:2])[:, 0].tolist() == [0.0, 0.05]
    with pytest.raises(Frame2dError, match="only the motion that it saw"):
        replay.apply(Command(3, np.array([0.03]), 1.0))
    replay.apply(Command(3, np.array([0.02]), 1.0))
    with pytest.raises(Frame2dError, match="ends after 3"):
        replay.apply(Command(4, np.array([0.02]), 1.0))


THREE = Geometry(
    [Pin((-2.0, 0.5), (-0.3, 0.5)), Pin((-2.0, -0.5), (-0.3, -0.5)), Pin((0.1, -3.0), (0.1, -0.4))],
    freedoms=("ux", "uy", "rz"),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-0.3, 0.3), min_size=3, max_size=3))
def test_strokes_and_poses_are_inverse_to_each_other(values):
    """Newton's iteration finds the interface displacement of its own strokes, also for large motions."""
    pose = np.array(values)
    assert THREE.pose(THREE.strokes(pose)) == pytest.approx(pose, abs=1e-11)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(-0.3, 0.3), min_size=3, max_size=3))
def test_forces_do_equal_work(values):
    """Interface force times motion equals actuator force times stroke, to second order of a small motion."""
    pose, f = np.array(values), np.array([1.0, -2.0, 0.5])
    small = 1e-6 * np.array([1.0, 2.0, -1.5])
    stroke = THREE.strokes(pose + small) - THREE.strokes(pose - small)
    assert THREE.force(f, pose) @ (2.0 * small) == pytest.approx(f @ stroke, rel=1e-6, abs=1e-12)
    assert THREE.actuator_force(THREE.force(f, pose), pose) == pytest.approx(f)


def test_a_right_triangle_is_exact():
    """A vertical motion of 3 beside a horizontal actuator of length 4 stretches it to 5."""
    one = Geometry([Pin((-4.0, 0.0), (0.0, 0.0)), Pin((0.0, -1.0), (0.0, 0.0))], freedoms=("ux", "uy"))
    assert one.strokes(np.array([0.0, 3.0])) == pytest.approx([1.0, 3.0])


@pytest.mark.parametrize(
    ("pins", "freedoms", "motion"),
    [
        (
            [Pin((-2.0, 0.0), (0.0, 0.0))],
            ("ux", "uy"),
            r"translation along \(0, 1\)|translation along \(-?0, -?1\)",
        ),
        (
            [Pin((-2.0, 0.0), (-1.0, 0.0)), Pin((0.0, -2.0), (0.0, -1.0)), Pin((2.0, 2.0), (1.0, 1.0))],
            ("ux", "uy", "rz"),
            "rotation about",
        ),
    ],
)
def test_a_free_motion_is_named(pins, freedoms, motion):
    """Parallel, concurrent or missing actuators are refused, and the motion that stays free is named."""
    with pytest.raises(InputError, match=motion):
        Geometry(pins, freedoms=freedoms)


def test_a_placed_specimen_is_commanded_in_interface_freedoms():
    """Independent springs along the actuators look like their exact transformed stiffness at the interface."""
    springs = Network(
        [(Elastic(1e6), [1, 0, 0]), (Elastic(2e6), [0, 1, 0]), (Elastic(3e6), [0, 0, 1])], freedoms=3
    )
    placed = Placed(Model(springs), THREE)
    pose = np.array([0.05, -0.08, 0.1])
    reading = placed.apply(Command(1, pose, 1.0))
    expected = THREE.jacobian(pose).T @ (np.array([1e6, 2e6, 3e6]) * THREE.strokes(pose))
    assert reading.displacement == pytest.approx(pose, abs=1e-12)
    assert reading.force == pytest.approx(expected)


def test_a_placed_specimen_gives_the_same_bits_whatever_it_did_before():
    """The pose of a reading depends on the command and the reading alone, and stored answers come as poses too."""
    springs = Network(
        [(Elastic(1e6), [1, 0, 0]), (Elastic(2e6), [0, 1, 0]), (Elastic(3e6), [0, 0, 1])], freedoms=3
    )

    class Keeping(Model):
        def answer(self, sequence):
            return self.read() if sequence == self.last_sequence else None

    pose = np.array([0.05, -0.08, 0.1])
    one, other = Placed(Keeping(springs), THREE), Placed(Keeping(springs), THREE)
    one.apply(Command(1, -0.7 * pose, 1.0))
    readings = [one.apply(Command(2, pose, 1.0)), other.apply(Command(1, pose, 1.0))]
    assert readings[0].displacement.tolist() == readings[1].displacement.tolist()
    assert readings[0].force.tolist() == readings[1].force.tolist()
    assert one.answer(2).displacement == pytest.approx(pose, abs=1e-12) and one.answer(7) is None


def test_external_transducers_measure_instead_of_the_actuators():
    """With transducers of their own the pose follows from their lengths."""
    gauges = [Pin((-1.0, 0.2), (0.0, 0.2)), Pin((-1.0, -0.2), (0.0, -0.2)), Pin((0.3, -1.0), (0.3, 0.0))]
    geometry = Geometry(THREE.actuators, freedoms=THREE.freedoms, transducers=gauges)
    pose = np.array([0.02, 0.03, -0.05])
    lengths = Geometry(gauges, freedoms=THREE.freedoms).strokes(pose)
    assert geometry.pose_measured(lengths) == pytest.approx(pose, abs=1e-12)
