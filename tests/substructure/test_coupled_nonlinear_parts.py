"""Partitioned integration of nonlinear parts against the monolithic schemes."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import (
    AnalysisError,
    BeamColumn,
    Brace,
    Frame,
    InputError,
    Modal,
    Rayleigh,
    chung_hulbert,
    gravity,
    time_history,
)
from frame2d.analysis import first_order_alpha
from frame2d.analysis.runner import Options
from frame2d.materials import BoucWen, BucklingBrace
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
TESTED = ["column A1", "column B1", "link 1", "brace 1"]


def yielding() -> Frame:
    """Two storeys: twin columns tied by links with smooth hinges, a bay with pinched braces, weights, second order."""
    frame = Frame("yielding frame, invented")
    column = BeamColumn(E=210e9, A=1.2e-2, I=1.5e-4, geometry="p-delta")
    hinge = BoucWen(k=8e7, Fy=8e4, a=0.01, n=1.5, beta=0.55)
    link = BeamColumn(E=210e9, A=4.6e-3, I=5.8e-5, start=hinge, end=hinge, start_inset=0.25, end_inset=0.25)
    beam = BeamColumn(E=210e9, A=7e-3, I=1.6e-4, start="pinned", end="pinned")
    pin = BoucWen(
        k=1.2e8,
        Fy=1.5e5,
        a=0.02,
        n=2.0,
        beta=0.6,
        delta_eta=0.005,
        zeta_s=0.9,
        q=0.1,
        p=0.4,
        psi=0.3,
        lam=0.5,
    )
    for level in range(3):
        for axis, x in {"A": 0.0, "B": 1.8, "C": 8.0}.items():
            frame.node(f"{axis}{level}", x, 3.6 * level, mass=3e4 if level else 0.0)
            if level:
                frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", column)
                frame.load(f"{axis}{level}", fy=-3e5)
            else:
                frame.support(f"{axis}0", "fixed")
        if level:
            frame.member(f"link {level}", f"A{level}", f"B{level}", link, device=True)
            frame.member(f"beam {level}", f"B{level}", f"C{level}", beam)
            frame.member(f"brace {level}", f"B{level - 1}", f"C{level}", Brace(pin), device=True)
            frame.floor(f"floor {level}", [f"{axis}{level}" for axis in "ABC"])
    return frame


@pytest.fixture(scope="module")
def frame() -> Frame:
    return yielding()


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
    """Under its weight and a strong motion the coupled frame equals the unsplit one to the Newton tolerance, with
    law memories by their own rule and as states integrated with the motion; so do the loops of its devices."""
    state = gravity(cut.whole_system).state
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 2)))
    whole = time_history(
        cut.whole_system, record(), state, scheme=scheme, damping=damping, options=Options(tolerance=1e-10)
    )
    parts = parts_of(cut, DT, scheme=scheme, damping=damping, record=record(), states=cut.share(state))
    coupled = coupled_history(parts, STEPS * DT, method=method)
    peak = np.abs(whole.log.q).max()
    for part in ("computed", "tested"):
        wanted = whole.log.q @ cut.expand(part).T.toarray()
        assert np.abs(coupled.responses[part].log.q - wanted).max() < 1e-9 * peak
    loop, same = (r.device("link 1: start hinge") for r in (whole, coupled.responses["tested"]))
    assert np.abs(loop.deformation).max() > 2e-3  # twice the rotation at yield
    assert np.abs(loop.force - same.force).max() < 1e-8 * np.abs(loop.force).max()
    assert coupled.gap() < 1e-12 * peak
    assert coupled.responses["tested"].imbalance() < 1e-9
    assert coupled.evaluations[1:].mean() < 4.0


@pytest.mark.parametrize(
    "method", [GravouilCombescure(), PrakashHjelmstad(), PegonMagonette()], ids=lambda m: m.name
)
def test_tested_part_may_step_finer(frame: Frame, method: object) -> None:
    """Sub-cycling the nonlinear tested part, which has half of the interface's mass, stays within a few per cent of the
    unsplit frame; velocities are tied at every common instant, and gap and interface work are histories."""
    cut = split(frame, TESTED, tested_share={"A1": 0.5, "B1": 0.5, "C1": 0.5})
    state = gravity(cut.whole_system).state
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 2)))
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
    damping = shared_damping(cut.joined_system, Rayleigh(0.03, (1, 2)))
    joined = time_history(
        cut.joined_system, record(), gravity(cut.joined_system).state, damping=damping,
        options=Options(tolerance=1e-10),
    )  # fmt: skip
    parts = parts_of(cut, DT, damping=damping, record=record(), states=cut.start())
    coupled = coupled_history(parts, STEPS * DT)
    for part, node in (("computed", "A2"), ("computed", "A1"), ("tested", "A1")):
        wanted = joined.displacement(node)
        assert np.abs(coupled.responses[part].displacement(node) - wanted).max() < 1e-7 * np.abs(wanted).max()


def test_condensed_part_beside_a_yielding_one(frame: Frame) -> None:
    """A linear computed part, condensed about its weight, moves a yielding tested part as the whole does."""
    tested = [name for name in frame.members if name.startswith(("link", "brace"))]
    nodes = [f"{axis}{level}" for axis in "ABC" for level in (1, 2)]
    cut = split(frame, tested, tested_share=dict.fromkeys(nodes, 0.5))
    state = gravity(cut.whole_system).state
    shared = cut.share(state)
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 2)))
    parts = parts_of(cut, DT, damping=damping, record=record(), states=shared)
    whole = time_history(cut.whole_system, record(), state, damping=damping)
    small = condense(cut.computed_system, cut.pick_computed, damping=damping, state=shared["computed"])
    coupled = coupled_history([small.part("computed", DT, STEPS, record=record()), parts[1]], STEPS * DT)
    wanted = whole.displacement("A2")
    found = small.displacements(coupled.responses["computed"].u) @ cut.computed_system.row("A2", "ux")
    # Linearised second-order forces, condensed damping of massless rotations.
    assert np.abs(found - wanted).max() < 0.02 * np.abs(wanted).max()
    with pytest.raises(InputError, match="linear parts"):
        condense(cut.tested_system, cut.pick_tested)


def test_brace_alone_may_buckle(frame: Frame) -> None:
    """A tested brace without mass, that cannot stand alone and softens, still gives the unsplit frame's motion."""
    brace = Brace(BucklingBrace(k=1.2e8, Fy=4e5, Fb=2.2e5, s0=1e-3))
    model = yielding()
    for level in (1, 2):
        model.members[f"brace {level}"] = replace(model.members[f"brace {level}"], member=brace)
    cut = split(model, ["brace 1"])
    state = gravity(cut.whole_system).state
    damping = shared_damping(cut.whole_system, Rayleigh(0.03, (1, 2)))
    whole = time_history(cut.whole_system, record(), state, damping=damping, options=Options(tolerance=1e-10))
    parts = parts_of(cut, DT, damping=damping, record=record(), states=cut.share(state))
    coupled = coupled_history(parts, STEPS * DT)
    force = coupled.responses["tested"].device("brace 1").force
    assert force.min() < -0.99 * 2.2e5  # it buckled, and then lost some of that force
    wanted = whole.displacement("C1")
    assert np.abs(coupled.responses["tested"].displacement("C1") - wanted).max() < 1e-8 * np.abs(wanted).max()


def test_what_was_computed_is_kept(cut: Split) -> None:
    """A run that finds no common velocity says where and when, and carries the histories up to then."""
    state = gravity(cut.whole_system).state
    parts = parts_of(cut, DT, record=record(), states=cut.share(state))
    with pytest.raises(AnalysisError, match="Gravouil-Combescure: part 'computed'") as caught:
        coupled_history(
            parts, STEPS * DT, options=Options(tolerance=1e-10, most_iterations=1, deepest_halving=0)
        )
    kept = caught.value.response
    assert 1 <= kept.time.size <= STEPS
    assert kept.responses["tested"].time.size == kept.time.size


def test_damping_that_cannot_be_shared_is_refused(cut: Split) -> None:
    """Modal damping ties freedoms of both parts together."""
    with pytest.raises(InputError, match="cannot be shared out"):
        parts_of(cut, DT, damping=Modal((0.03,)))
