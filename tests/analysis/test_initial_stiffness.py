"""The last resort of a step: iteration with the initial stiffness."""

from types import SimpleNamespace

import numpy as np

from frame2d import Frame, Link, Outcome, time_history
from frame2d.analysis.runner import Options
from frame2d.materials import Bilinear, Contact, Parallel


def bouncing(most_iterations: int, deepest_halving: int = 0):  # type: ignore[no-untyped-def]
    """A yielding mass that runs against a stop a thousand times stiffer; invented numbers."""
    frame = Frame("stop")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 0, 0, support=("uy", "rz"), mass=1000.0)
    frame.link("device", "A", "B", Link(axial=Parallel((Bilinear(1e5, 2e3, 0.0), Contact(1e8, 0.01)))))
    t = 0.02 * np.arange(300)
    record = SimpleNamespace(acceleration=8.0 * np.sin(5.0 * t), dt=0.02, name="wave")
    options = Options(most_iterations=most_iterations, deepest_halving=deepest_halving)
    return time_history(frame.compile(), record, options=options)


def test_the_initial_stiffness_saves_a_step_that_newton_and_halving_do_not():
    """With one iteration and no halving a closing stop stops Newton; with one factor kept the step still comes to rest."""
    usual, saved = bouncing(20), bouncing(1)
    assert saved.outcome is Outcome.COMPLETED
    counts = saved.counts()
    assert counts["halvings"] == 0
    # Newton factors in every iteration; only the initial stiffness is kept for the next one.
    assert counts["iterations"] > counts["factorisations"]
    assert usual.counts()["iterations"] == usual.counts()["factorisations"]
    size = np.abs(usual.displacement("B")).max()
    assert np.abs(saved.displacement("B") - usual.displacement("B")).max() < 1e-6 * size
