"""A step that fails is halved by every scheme, and what cannot be halved further ends with what was computed."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from frame2d.analysis import (
    AnalysisError,
    Outcome,
    Response,
    central_difference,
    chang,
    chung_hulbert,
    first_order_alpha,
    kolay_ricles,
    operator_splitting,
    time_history,
)
from frame2d.analysis.operators import marcher
from frame2d.elements import Link
from frame2d.engine.plan import HALVINGS, TIME, new_room
from frame2d.kernels import OK, OUT_OF_RANGE, law_kernel
from frame2d.materials import Elastic, Law
from frame2d.model import Frame

SCHEMES = [
    chung_hulbert(0.8), central_difference(), central_difference(lagged=True), chang(), kolay_ricles(0.8),
    operator_splitting(-0.1), first_order_alpha(0.8),
]  # fmt: skip
EVERY_SCHEME = pytest.mark.parametrize("scheme", SCHEMES, ids=lambda scheme: scheme.name)
#: Frequency ratio ωΔt is 0.1; the mass begins at rest, 5 cm from where it hangs.
K, M, DT, SECONDS = 400.0, 1.0, 0.005, 0.6


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """A spring that has no answer where it moved by more than its reach since the last step."""
    if abs(u - m0[0]) > p[1]:
        return OUT_OF_RANGE
    m1[0] = u
    out[0], out[1], out[2], out[3] = p[0] * u, p[0], 0.0, 0.5 * p[0] * u * u
    return OK


@dataclass(frozen=True)
class ShortSteps(Law):
    """F = k·u for increments up to `reach`."""

    k: float
    reach: float
    kernel = kernel
    recoverable = "all of it"

    @property
    def stiffness(self) -> float:
        return self.k

    def initial_memory(self) -> np.ndarray:
        return np.zeros(1)


def chain(reach: float) -> Frame:
    """A mass behind a massless node, a third of the flexibility before it and the rest behind."""
    frame = Frame("chain")
    frame.node("0", 0.0, 0.0, "fixed")
    frame.node("1", 0.0, 0.0, ("uy", "rz"))
    frame.node("2", 0.0, 0.0, ("uy", "rz"), mass=M)
    frame.member("near", "0", "1", Link(axial=Elastic(3.0 * K)))
    frame.member("far", "1", "2", Link(axial=ShortSteps(1.5 * K, reach)))
    return frame


def swing(scheme: Any, reach: float, dt: float = DT) -> Response:
    """Free vibration of the chain, pulled and let go by its load."""
    system = chain(reach).compile()
    load = np.full(round(SECONDS / dt) + 1, 0.05 * K)
    return time_history(system, dt=dt, forces={("2", "ux"): load}, scheme=scheme)


@EVERY_SCHEME
def test_every_scheme_halves_a_step_that_fails(scheme: Any) -> None:
    """A law without an answer to long increments makes the step shorter, and the motion stays what it is."""
    response, fine = swing(scheme, 0.002), swing(scheme, 1.0, DT / 8)
    assert response.outcome is Outcome.COMPLETED
    assert response.totals[HALVINGS] > 10 and fine.totals[HALVINGS] == 0
    difference = response.displacement("2") - fine.displacement("2")[::8]
    assert np.abs(difference).max() < 0.02 * np.abs(fine.displacement("2")).max()
    assert np.abs(response.displacement("1") * 3.0 - response.displacement("2")).max() < 2e-3
    assert response.imbalance() < 1e-3
    assert response.log.account[-1, TIME] == pytest.approx(SECONDS, rel=1e-12)


@EVERY_SCHEME
def test_a_step_that_no_halving_saves_ends_with_what_was_computed(scheme: Any) -> None:
    """Where the shortest piece fails as well, the one error carries the rows before it."""
    with pytest.raises(AnalysisError, match="far") as caught:
        swing(scheme, 1e-6)
    response = caught.value.response
    assert response.outcome is Outcome.NOT_CONVERGED
    assert response.totals[HALVINGS] >= 8
    assert response.time.size >= 1 and np.isfinite(response.log.q).all()


@pytest.mark.parametrize("scheme", SCHEMES[1:], ids=lambda scheme: scheme.name)
def test_a_step_driven_from_python_is_halved_as_in_a_run(scheme: Any) -> None:
    """Steps by hand give the bits of the run, halved ones included."""
    batch = swing(scheme, 0.002)
    system = chain(0.002).compile()
    stepper = marcher(scheme, system, 0.0 * system.mass, DT)
    room, motion = new_room(stepper.plan), stepper.begin(system.rest().copy_motion())
    load = system.row("2", "ux") * 0.05 * K
    motion.a[system.free_number("2", "ux")] = 0.05 * K / M
    shift, options = np.zeros(room.shift.size), np.array([1e-8 * 0.05 * K, 20.0, 8.0])
    for row in range(1, 60):
        assert stepper.step(room, motion, load, load, shift, shift, DT, scheme.array(), options) == 0
        assert np.array_equal(motion.q, batch.log.q[row])
    assert room.counts[HALVINGS] > 0
