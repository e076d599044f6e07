"""Damping that is found once serves the runs it belongs to, and no others."""

import numpy as np

from benchmarks.speed_frame import frame
from frame2d import Rayleigh, gravity
from frame2d.analysis.damping import Modal, prepare


def test_damping_is_found_once_for_a_system_and_a_state():
    """The same damping about an equal state is the same finding; another ratio, kind or state gives its own matrix."""
    system = frame(1, 1).compile()
    standing = gravity(system).state
    first = prepare(system, Rayleigh(0.03, (1, 2)), standing)
    assert prepare(system, Rayleigh(0.03, (1, 2)), gravity(system).state) is first
    assert np.array_equal(first.found.toarray(), Rayleigh(0.03, (1, 2)).matrix(system, standing).toarray())
    for damping, state in ((Rayleigh(0.03, (1, 2)), None), (Rayleigh(0.05, (1, 2)), standing)):
        other = prepare(system, damping, state)
        assert np.array_equal(other.found.toarray(), damping.matrix(system, state).toarray())
        assert not np.array_equal(other.found.toarray(), first.found.toarray())
    modal = prepare(system, Modal((0.03,)), standing)
    assert np.array_equal(modal.found.toarray(), Modal((0.03,)).matrix(system, standing).toarray())
    assert prepare(frame(1, 1).compile(), Rayleigh(0.03, (1, 2)), None) is not first


def test_a_damping_of_ones_own_is_asked_every_time():
    """What an unknown damping keeps inside may change between runs: nothing of it is kept."""

    class Own:
        asked = 0

        def matrix(self, system, state=None):  # type: ignore[no-untyped-def]
            self.asked += 1
            return self.asked * system.mass

    system, own = frame(1, 1).compile(), Own()
    assert np.array_equal(2.0 * prepare(system, own).found.toarray(), prepare(system, own).found.toarray())
