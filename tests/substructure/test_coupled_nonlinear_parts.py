"""Partitioned integration of nonlinear parts against the monolithic schemes."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import AnalysisError, Frame, InputError, Modal, Rayleigh, chung_hulbert, gravity, time_history
from frame2d.analysis import first_order_alpha
from frame2d.analysis.runner import Options
from frame2d.demo.building import demo_frame
from frame2d.substructure import (
    GravouilCombescure,
    PegonMagonette,
    PrakashHjelmstad,
    Split,
    condense,
    coupled_history,
    parts_of,
    shared_damping,
    split,
)

DT, STEPS = 0.01, 100
TESTED = ["column A1", "column B1", "link 1", "pin 1"]


@pytest.fixture(scope="module")
def frame() -> Frame:
    return demo_frame()


@pytest.fixture(scope="module")
def cut(frame: Frame) -> Split:
    return split(frame, TESTED)


def record() -> SimpleNamespace:
    """A swelling sine, strong enough to make links and pins yield."""
    t = DT * np.arange(STEPS + 1)
    return SimpleNamespace(acceleration=8.0 * np.sin(8.0 * t) * np.minimum(1.0, 2.0 * t), dt=DT)


@pytest.mark.parametrize("method", [GravouilCombescure(), PrakashHjelmstad()], ids=lambda m: m.name)
@pytest.mark.parametrize("scheme", [chung_hulbert(0.8), first_order_alpha(0.8)], ids=lambda s: s.name)
def test_equal_parts_are_the_monolithic_scheme(cut: Split, scheme: object, method: object) -> None:
    """Under its weight and a strong motion the coupled demo frame equals the unsplit one to the Newton tolerance, with
    law memories by their own rule and as states integrated with the motion; so do the loops of its devices."""
    state = gravity(cut.whole_system).state
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 3)))
    whole = time_history(
        cut.whole_system, record(), state, scheme=scheme, damping=damping, options=Options(tolerance=1e-10)
    )
    parts = parts_of(cut, DT, scheme=scheme, damping=damping, record=record(), states=cut.share(state))
    coupled = coupled_history(parts, STEPS * DT, method=method)
    peak = np.abs(whole.log.q).max()
    for part in ("computed", "tested"):
        wanted = whole.log.q @ cut.expand(part).T.toarray()
        assert np.abs(coupled.responses[part].log.q - wanted).max() < 1e-7 * peak
    loop, same = (r.device("link 1: start hinge") for r in (whole, coupled.responses["tested"]))
    assert np.abs(loop.deformation).max() > 2e-3  # twice the rotation at yield
    assert np.abs(loop.force - same.force).max() < 1e-6 * np.abs(loop.force).max()
    assert coupled.gap() < 1e-7 * peak
    assert coupled.responses["tested"].imbalance() < 1e-8
    assert coupled.evaluations[1:].mean() < 10.0


@pytest.mark.parametrize(
    "method", [GravouilCombescure(), PrakashHjelmstad(), PegonMagonette()], ids=lambda m: m.name
)
def test_tested_part_may_step_finer(cut: Split, method: object) -> None:
    """Sub-cycling the nonlinear tested part stays within a few per cent of the unsplit frame; velocities are tied at
    every common instant, and gap and interface work are histories of the result."""
    state = gravity(cut.whole_system).state
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 3)))
    whole = time_history(cut.whole_system, record(), state, damping=damping)
    parts = parts_of(
        cut, {"computed": DT, "tested": DT / 2}, damping=damping, record=record(), states=cut.share(state)
    )
    coupled = coupled_history(parts, STEPS * DT, method=method)
    wanted = whole.displacement("A1")
    assert (
        np.abs(coupled.responses["tested"].displacement("A1")[::2] - wanted).max()
        < 0.05 * np.abs(wanted).max()
    )
    speed = np.abs(whole.log.v).max()
    assert np.abs(coupled.velocity_gap).max() < 1e-7 * speed
    assert coupled.time.size == STEPS + 1 == len(coupled.interface_work) == len(coupled.displacement_gap)
    assert coupled.gap() < 0.02 * np.abs(whole.log.q).max()


def test_hinged_cut_moves_as_the_joined_parts(frame: Frame) -> None:
    """With the vertical freedoms and rotations released, the coupled parts move as the joined frame with its struts."""
    cut = split(frame, ["column A1", "column B1", "link 1"], [("A1", "ux")])
    damping = shared_damping(cut.joined_system, Rayleigh(0.03, (1, 3)))
    joined = time_history(
        cut.joined_system, record(), gravity(cut.joined_system).state, damping=damping,
        options=Options(tolerance=1e-10),
    )  # fmt: skip
    parts = parts_of(cut, DT, damping=damping, record=record(), states=cut.start())
    coupled = coupled_history(parts, STEPS * DT)
    for part, node in (("computed", "A5"), ("computed", "A1"), ("tested", "A1")):
        wanted = joined.displacement(node)
        assert np.abs(coupled.responses[part].displacement(node) - wanted).max() < 1e-7 * np.abs(wanted).max()


def test_condensed_part_beside_a_yielding_one(frame: Frame) -> None:
    """A linear computed part, condensed about its weight, moves a yielding tested part as the whole does."""
    tested = [name for name in frame.members if name.startswith(("link", "pin"))]
    cut = split(frame, tested)
    state = gravity(cut.whole_system).state
    shared = cut.share(state)
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 3)))
    parts = parts_of(cut, DT, damping=damping, record=record(), states=shared)
    whole = time_history(cut.whole_system, record(), state, damping=damping)
    small = condense(cut.computed_system, cut.pick_computed, damping=damping, state=shared["computed"])
    coupled = coupled_history([small.part("computed", DT, STEPS, record=record()), parts[1]], STEPS * DT)
    wanted = whole.displacement("A5")
    found = small.displacements(coupled.responses["computed"].u) @ cut.computed_system.row("A5", "ux")
    # Linearised second-order forces, condensed damping of massless rotations.
    assert np.abs(found - wanted).max() < 0.02 * np.abs(wanted).max()
    with pytest.raises(InputError, match="linear parts"):
        condense(cut.tested_system, cut.pick_tested)


def test_what_was_computed_is_kept(cut: Split) -> None:
    """A run that finds no common velocity says where and when, and carries the histories up to then."""
    state = gravity(cut.whole_system).state
    parts = parts_of(cut, DT, record=record(), states=cut.share(state))
    with pytest.raises(AnalysisError, match="Gravouil-Combescure: part 'computed'") as caught:
        coupled_history(
            parts, STEPS * DT, options=Options(tolerance=1e-10, most_iterations=2, deepest_halving=0)
        )
    kept = caught.value.response
    assert 1 <= kept.time.size <= STEPS
    assert kept.responses["tested"].time.size == kept.time.size


def test_damping_that_cannot_be_shared_is_refused(cut: Split) -> None:
    """Modal damping ties freedoms of both parts together."""
    with pytest.raises(InputError, match="cannot be shared out"):
        parts_of(cut, DT, damping=Modal((0.03,)))
