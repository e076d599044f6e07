"""Collapse is a physical statement: gravity equilibrium lost, never a step that fails."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import AnalysisError, BeamColumn, Brace, Frame, Outcome, gravity, time_history
from frame2d.analysis.collapse import Stand, stands
from frame2d.analysis.runner import Options
from frame2d.analysis.storage import load
from frame2d.materials import DeterioratingBilinear, DeterioratingPeakOriented, Elastic
from frame2d.materials.deterioration import Backbone

HEIGHT = 4.0


def leaning(weight: float, post: float = 0.06, backup: float = 0.0):  # type: ignore[no-untyped-def]
    """Column with a softening hinge at its foot, a leaning column of `weight` N beside it, a backup spring, N/m."""
    frame = Frame("leaning")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 0, HEIGHT)
    law = DeterioratingPeakOriented(5e7, Backbone(2e5, 2.1e5, 0.02, post))
    column = BeamColumn(200e9, 1e-2, 1e-4, start=law, geometry="p-delta")
    frame.member("AB", "A", "B", column, device=True)
    if backup:
        frame.node("C", 5, HEIGHT, support="fixed")
        frame.member("backup", "B", "C", Brace(Elastic(backup)))
    frame.mass("B", 2e4)
    frame.floor("top", ["B"], tied=False)
    frame.leaning_column("lean", 3.0, {"top": weight})
    system = frame.compile()
    return system, gravity(system).state


def shake(peak: float, duration: float = 10.0):  # type: ignore[no-untyped-def]
    """Three cycles of 0.5 Hz (m/s²), then rest."""
    t = 0.005 * np.arange(round(duration / 0.005))
    return SimpleNamespace(acceleration=peak * np.sin(np.pi * t) * (t < 6.0), dt=0.005, name="cycles")


def test_a_frame_that_loses_gravity_equilibrium_collapses_without_a_limit(tmp_path):
    """A shaken frame whose hinge softens below what its leaning column needs ends as collapsed, and says why."""
    system, begin = leaning(2e5)
    response = time_history(system, shake(6.0), begin)
    assert response.outcome is Outcome.COLLAPSED and "gravity equilibrium" in response.criterion
    assert response.time.size < 400  # stopped long before the record's end
    drift = response.drifts()["top"]
    assert 0.2 < abs(drift[-1]) < 0.25 and np.all(np.isfinite(drift))
    response.save(tmp_path / "run.h5")
    assert load(tmp_path / "run.h5").criterion == response.criterion


def test_the_same_frame_under_less_stands():
    """The same shake without enough weight to pull it over, or the same weight under less shaking, is completed."""
    for weight, peak in ((2e5, 1.0), (2e3, 6.0)):
        system, begin = leaning(weight, post=1.0)
        response = time_history(system, shake(peak), begin)
        assert response.outcome is Outcome.COMPLETED and response.criterion == ""
        assert np.abs(response.drifts()["top"]).max() > 0.01


def test_statics_agrees_with_the_verdict():
    """Held within the elastic range (0.4 % drift); lost past 0.084 rad, where the hinge carries nothing any more."""
    system, begin = leaning(2e5)
    for drift, expected in ((0.004, Stand.HELD), (0.09, Stand.LOST)):
        motion = begin.copy_motion()
        motion.q[:] = drift * HEIGHT * system.row("B", "ux")
        assert stands(system, motion, begin.load, begin.supports) is expected


def test_a_step_that_fails_while_the_frame_stands_is_not_a_collapse():
    """With one iteration and no halving the yielding frame fails; it would stand, so it is not converged."""
    system, begin = leaning(2e4, post=1.0)
    with pytest.raises(AnalysisError, match="no collapse: let go at rest, equilibrium") as caught:
        time_history(system, shake(6.0), begin, options=Options(most_iterations=1, deepest_halving=0))
    assert caught.value.response.outcome is Outcome.NOT_CONVERGED


def test_a_failing_step_is_judged_by_gravity_alone():
    """A hinge that snaps (softer than its column) stops the step; whether that is a collapse, the weight decides."""
    ends = {}
    for backup in (0.0, 3e5):
        system, begin = leaning(3e5, post=0.004, backup=backup)
        try:
            ends[backup] = time_history(system, shake(6.0), begin).outcome
        except AnalysisError as error:
            ends[backup] = error.response.outcome
    assert ends[0.0] is Outcome.COLLAPSED
    assert ends[3e5] in (Outcome.NOT_CONVERGED, Outcome.COMPLETED)


def test_without_standing_loads_nothing_can_be_lost():
    """A frame without gravity loads is never called collapsed by gravity, however far it is thrown."""
    system, _ = leaning(2e5)
    response = time_history(system, shake(60.0, 2.0))
    assert response.outcome is Outcome.COMPLETED
    assert np.abs(response.drifts()["top"]).max() > 0.2


def hanging(floors: bool):  # type: ignore[no-untyped-def]
    """A mass at the end of a beam on a hanger that loses its strength when pulled down; invented numbers."""
    frame = Frame("hanging")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 0, HEIGHT, mass=1e4)
    frame.node("C", 6, HEIGHT, mass=2e4)
    frame.node("D", 6, 2 * HEIGHT, support="fixed")
    frame.member("column", "A", "B", BeamColumn(2.1e11, 1e-2, 1e-4, geometry="p-delta"))
    hinge = DeterioratingBilinear(1e7, Backbone(3e4, 3.1e4, 0.01, 0.02))
    frame.member("beam", "B", "C", BeamColumn(2.1e11, 8e-3, 1e-4, start=hinge, end="pinned"))
    hanger = Brace(DeterioratingBilinear(1e8, Backbone(2.4e5, 2.5e5, 0.01, 0.03)))
    frame.member("hanger", "C", "D", hanger, device=True)
    if floors:
        frame.floor("1", ["B", "C"])
    frame.load("C", fy=-2e5)
    system = frame.compile()
    return system, gravity(system).state


def pulled(system, begin, force: float):  # type: ignore[no-untyped-def]
    """History with the mass pulled down for half a second."""
    t = 0.005 * np.arange(800)
    pull = {("C", "uy"): -force * ((t > 0.5) & (t < 1.0))}
    return time_history(system, None, begin, dt=0.005, forces=pull)


@pytest.mark.parametrize("floors", [True, False])
def test_a_mass_that_falls_is_a_collapse(floors):
    """Where a hanger breaks, the load it bore falls without any drift: collapsed, as soon as it has sunk noticeably."""
    system, begin = hanging(floors)
    response = pulled(system, begin, 1.2e5)
    assert response.outcome is Outcome.COLLAPSED and "gravity equilibrium" in response.criterion
    sunk = -response.displacement("C", "uy")
    assert 0.2 * 6.0 < sunk[-1] < 0.2 * 6.0 + 0.2 and np.argmax(sunk) == sunk.size - 1
    if floors:
        assert np.abs(response.drifts()["1"]).max() < 0.01
    state = response.state
    assert stands(system, state.motion, begin.load, begin.supports) is Stand.LOST


def test_a_mass_that_is_held_is_none():
    """The same hanger pulled less stretches and holds."""
    system, begin = hanging(True)
    response = pulled(system, begin, 2e4)
    assert response.outcome is Outcome.COMPLETED
    assert stands(system, response.state.motion, begin.load, begin.supports) is Stand.HELD
