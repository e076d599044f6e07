"""Explicit and splitting schemes that lose their stability, or meet a law without an answer, end in the one error."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from frame2d import AnalysisError, BeamColumn, Frame, time_history
from frame2d.analysis import Outcome, stable_step
from frame2d.analysis.schemes import (
    central_difference,
    chang,
    chung_hulbert,
    kolay_ricles,
    operator_splitting,
)
from frame2d.elements import Link
from frame2d.kernels import OK, OUT_OF_RANGE, law_kernel
from frame2d.materials import Law

CONDITIONAL = [chang(), kolay_ricles(), operator_splitting(), operator_splitting(-0.1)]


def strung():
    """A mass between two bars that stiffen a thousandfold as it moves across them: more than any operator knows."""
    frame = Frame("string")
    frame.node("A", 0, -4, "fixed")
    frame.node("B", 0, 0, ("uy", "rz"), mass=100.0)
    frame.node("C", 0, 4, "fixed")
    for a, b in ("AB", "BC"):
        frame.member(a + b, a, b, BeamColumn(2e11, 1e-3, 1e-7, geometry="p-delta"))
    frame.floor("middle", ["B"])
    return frame.compile()


@pytest.mark.parametrize("scheme", CONDITIONAL, ids=lambda scheme: f"{scheme.name} {scheme.array()[1]}")
@pytest.mark.parametrize("limit", [None, 0.75])
def test_a_run_that_loses_its_stability_is_no_collapse(scheme, limit):
    """It ends as not converged at finite motion, whether it would pass a drift limit on its way or not."""
    system = strung()
    push = {("B", "ux"): np.full(1000, 2e7)}
    sound = time_history(system, dt=0.004, forces=push, scheme=chung_hulbert(), drift_limit=limit)
    assert sound.outcome is Outcome.COMPLETED
    with pytest.raises(AnalysisError, match="has lost its stability by step") as caught:
        time_history(system, dt=0.004, forces=push, scheme=scheme, drift_limit=limit)
    partial = caught.value.response
    assert partial.outcome is Outcome.NOT_CONVERGED and "no collapse" in str(caught.value)
    assert 2 <= partial.time.size < 100
    for array in (partial.log.q, partial.log.v, partial.state.motion.q):
        assert np.all(np.isfinite(array)) and np.abs(array).max() < 1e9
    assert np.array_equal(partial.state.motion.q, partial.log.q[-1])
    assert np.isfinite(partial.imbalance())


@pytest.mark.parametrize("scheme", CONDITIONAL, ids=lambda scheme: f"{scheme.name} {scheme.array()[1]}")
def test_a_step_that_is_short_enough_stays_stable(scheme):
    """The same schemes complete the same run at a shorter step, and agree with the implicit one."""
    system, push = strung(), {("B", "ux"): np.full(2000, 2e7)}
    response = time_history(system, dt=1e-4, forces=push, scheme=scheme)
    sound = time_history(system, dt=1e-4, forces=push)
    assert response.outcome is Outcome.COMPLETED
    assert np.abs(response.displacement("B")).max() == pytest.approx(
        np.abs(sound.displacement("B")).max(), rel=0.03
    )


def test_a_stable_run_near_the_limit_is_left_alone():
    """Central difference at 0.97 of its limit, with all modes set going, gives and takes energy, and completes."""
    frame = Frame("chain")
    frame.node("0", 0, 0, "fixed")
    for k in range(1, 6):
        frame.node(str(k), 3.0 * k, 0, ("uy", "rz"), mass=100.0 * k)
        frame.member(f"bar {k}", str(k - 1), str(k), BeamColumn(2e11, 1e-4, 1e-7))
    system = frame.compile()
    dt = 0.97 * stable_step(system)
    response = time_history(
        system, dt=dt, duration=3000 * dt, initial_velocity={("1", "ux"): 1.0, ("3", "ux"): -2.0},
        scheme=central_difference(),
    )  # fmt: skip
    assert response.outcome is Outcome.COMPLETED and response.time.size == 3001


@law_kernel
def snapping(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Linear up to a deformation, and without an answer past it."""
    m1[0] = u
    out[0], out[1], out[2], out[3] = p[0] * u, p[0], 0.0, 0.5 * p[0] * u * u
    return OK if abs(u) <= p[1] else OUT_OF_RANGE


@dataclass(frozen=True)
class Snapping(Law):
    """Elastic law of this test that knows no answer past `reach`."""

    k: float
    reach: float

    kernel = snapping
    recoverable = "½ku²"

    def initial_memory(self) -> np.ndarray:
        """The last deformation."""
        return np.zeros(1)

    @property
    def stiffness(self) -> float:
        return self.k


@pytest.mark.parametrize(
    "scheme", [central_difference(), *CONDITIONAL], ids=lambda s: f"{s.name} {s.array()[1]}"
)
def test_a_law_without_an_answer_is_the_one_error(scheme):
    """The run ends as not converged, names the member, and keeps all steps before, whatever the scheme halves."""
    frame = Frame("mass on a spring")
    frame.node("A", 0, 0, "fixed")
    frame.node("B", 0, 0, ("uy", "rz"), mass=100.0)
    frame.link("spring", "A", "B", Link(axial=Snapping(1e5, 0.05)))
    system = frame.compile()
    # Static 0.03 m, dynamic 0.06 m: past its reach on the first swing.
    with pytest.raises(AnalysisError, match="member 'spring'") as caught:
        time_history(system, dt=0.002, forces={("B", "ux"): np.full(200, 3e3)}, scheme=scheme)
    partial = caught.value.response
    assert partial.outcome is Outcome.NOT_CONVERGED
    assert 20 < partial.time.size < 60 and np.all(np.isfinite(partial.log.a))
    assert 0.04 < partial.displacement("B")[-1] <= 0.0501
