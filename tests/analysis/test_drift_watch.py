"""Drift limits watch what `drifts` shows, whatever the floors follow."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, gravity, time_history
from frame2d.analysis import Outcome, first_order_alpha, kolay_ricles, operator_splitting
from frame2d.model.storeys import storeys

COLUMN = BeamColumn(200e9, 6e-3, 8e-5)
TIME = np.arange(0.0, 4.0, 0.01)
SHAKE = SimpleNamespace(acceleration=4.0 * np.sin(6.0 * TIME) * TIME / 4.0, dt=0.01, name="invented")


def swaying(kind):
    """Two storeys of one bay whose floors are tied, apart, follow others with weights, or turn with a rigid body."""
    frame = Frame(kind)
    for axis in range(2):
        for level in range(3):
            support = "fixed" if level == 0 else None
            frame.node(
                f"{axis}{level}", 5.0 * axis, 3.0 * level, support, mass=2e4 * (1 + axis) if level else 0.0
            )
    for axis in range(2):
        for level in (1, 2):
            frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", COLUMN)
    for level in (1, 2):
        frame.member(
            f"beam {level}",
            f"0{level}",
            f"1{level}",
            BeamColumn(200e9, 2e-5 if kind == "apart" else 1e-2, 2e-4),
        )
        if kind in ("tied", "apart"):
            frame.floor(f"floor {level}", [f"0{level}", f"1{level}"], tied=kind == "tied")
    if kind == "apart":
        return frame
    if kind == "half":
        # A mast beside the frame, half as high: its floors move by half of the frame's.
        for level in (1, 2):
            frame.node(f"mast {level}", 9.0, 3.0 * level, ("uy", "rz"))
            frame.follow(f"mast {level}", "ux", {(f"0{level}", "ux"): 0.5})
            frame.floor(f"floor {level}", [f"mast {level}"])
    if kind == "two leads":
        for level in (1, 2):
            frame.node(f"mark {level}", 2.5, 3.0 * level, ("uy", "rz"))
            frame.follow(f"mark {level}", "ux", {(f"0{level}", "ux"): 0.25, (f"1{level}", "ux"): 0.75})
            frame.floor(f"floor {level}", [f"mark {level}"])
    if kind == "arm":
        for level in (1, 2):
            frame.node(f"mark {level}", 0.0, 3.0 * level + 0.4)
            frame.rigid(f"0{level}", [f"mark {level}"])
            frame.floor(f"floor {level}", [f"mark {level}"])
    return frame


def largest(response):
    """Largest storey drift ratio by step."""
    return np.abs(np.array(list(response.drifts().values()))).max(axis=0)


@pytest.mark.parametrize("kind", ["tied", "apart", "half", "two leads", "arm"])
@pytest.mark.parametrize("scheme", [None, operator_splitting(), kolay_ricles(), first_order_alpha()])
def test_a_run_ends_at_the_first_step_past_the_limit(kind, scheme):
    """The run with a limit is the run without, up to and with the first step at which a shown drift is over it."""
    system = swaying(kind).compile()
    free = time_history(system, SHAKE, scheme=scheme)
    shown = largest(free)
    limit = 0.6 * float(shown.max())
    first = int(np.flatnonzero(shown > limit)[0])
    ended = time_history(system, SHAKE, scheme=scheme, drift_limit=limit)
    assert ended.outcome is Outcome.COLLAPSED and "limit that was set" in ended.criterion
    assert ended.time.size == first + 1 < free.time.size
    assert np.array_equal(ended.log.q, free.log.q[: first + 1])
    assert np.array_equal(ended.state.motion.v, free.log.v[first])
    assert np.array_equal(ended.log.counts, free.log.counts[: first + 1])
    above = time_history(system, SHAKE, scheme=scheme, drift_limit=1.001 * float(shown.max()))
    assert above.outcome is Outcome.COMPLETED


def test_drifts_are_those_of_the_constraints():
    """A floor that follows with a weight drifts by its share; a floor on an arm by the lead's motion and turning."""
    half, arm = (time_history(swaying(kind).compile(), SHAKE, duration=1.0) for kind in ("half", "arm"))
    assert half.drifts()["floor 1"] == pytest.approx(0.5 * half.displacement("01") / 3.0)
    top = arm.displacement("01") - 0.4 * arm.displacement("01", "rz")
    assert arm.drifts()["floor 1"] == pytest.approx(top / 3.4)


def test_drifts_count_from_the_ground_as_it_moves():
    """Supports that all move together by a displacement leave no drift, and none is watched."""
    frame = swaying("tied")
    system = frame.compile()
    moved = 0.5 * np.sin(0.5 * np.pi * np.clip(TIME / 3.0, 0, 1)) ** 2
    motion = {(f"{axis}0", "ux"): moved for axis in range(2)}
    response = time_history(system, support_motion=motion, dt=0.01, drift_limit=0.05)
    assert response.outcome is Outcome.COMPLETED
    assert largest(response)[-1] < 0.03 and response.displacement("02")[-1] == pytest.approx(0.5, rel=0.1)
    assert largest(response) == pytest.approx(
        np.abs(storeys(system).ratios(response.log.q, response.support_history)).max(axis=1)
    )


def test_floors_that_follow_stand_under_gravity():
    """A frame whose floors follow with weights carries its gravity loads through a history and completes."""
    frame = swaying("two leads")
    frame.load("02", fy=-1e5)
    standing = gravity(frame.compile())
    assert time_history(standing.system, SHAKE, standing.state).outcome is Outcome.COMPLETED
