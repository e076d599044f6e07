"""A hybrid test drives the same campaign as the all-computed frame: the same numbers with a rig that makes no error."""

import numpy as np
import pytest

from frame2d.analysis import StiffnessMass, schemes
from frame2d.analysis.runner import Options
from frame2d.campaign import Campaign, ComputedRunner, Criteria, DeviceCapacity, HybridRunner, LimitState
from frame2d.campaign.whole import law_place, source, twin_specimen, whole_system
from frame2d.demo import laboratory
from frame2d.errors import InputError
from frame2d.hybrid import (
    CHECKS,
    FrameSolver,
    HybridTest,
    KRAlpha,
    Limits,
    OperatorSplitting,
    Unattended,
    balanced,
)
from frame2d.motions.record import Record
from frame2d.substructure import split

DAMPED = StiffnessMass(0.6, 0.0)
TIGHT = Options(tolerance=1e-12)
LIMITS = Limits((-0.3, 0.3), 5e6, 5.0, 0.1, 0.05, energy=1.0, energy_warning=0.9, flat_force=0)
TIME = np.arange(0.0, 2.0001, 0.005)
PULSE = Record(
    3.0 * np.sin(2 * np.pi * 1.3 * TIME) * np.sin(np.pi * TIME / 2.0) ** 2,
    0.005,
    "invented pulse",
    synthetic=True,
)
STATES = [
    LimitState("first", PULSE, 1.2, "a", quiet=0.5, replace=("pin 1", "pin 2", "link 1")),
    LimitState("second", PULSE, 1.2, "b", quiet=0.5, repeats="first"),
]
CRITERIA = Criteria(devices=(DeviceCapacity("pin *", 0.05, energy=1e5),))


def perfect_test(parts, directions, scheme, limit_state, state):
    """Hybrid test against a model that makes no error."""
    specimen = twin_specimen(parts, state, directions)
    begin = balanced(parts.computed_system, parts.share(state, source(parts))["computed"])
    solver = FrameSolver(
        parts, directions, specimen.declared(), scheme, limit_state.padded, factor=limit_state.factor, state=begin,
        damping=DAMPED, options=TIGHT, time_scale=50.0,
    )  # fmt: skip
    return HybridTest(
        solver.fresh, specimen, LIMITS, Unattended(True), stiffness=specimen.stiffness, time_scale=50.0
    )


@pytest.fixture(scope="module")
def both():
    """The campaign as a hybrid test with a perfect specimen, and all computed by the same scheme."""
    parts, along = laboratory.demo_split(), laboratory.along_brace()
    runner = HybridRunner(
        parts,
        lambda limit_state, state: perfect_test(parts, along, KRAlpha(0.8), limit_state, state),
        along, {"pin 1": 0}, override=CHECKS,
    )  # fmt: skip
    options = {"damping": DAMPED, "scheme": schemes.kolay_ricles(0.8), "options": TIGHT}
    computed = ComputedRunner(parts.whole_system, options)
    return runner, Campaign(runner, STATES, CRITERIA).run(), Campaign(computed, STATES, CRITERIA).run()


def test_a_perfect_rig_repeats_the_all_computed_campaign(both):
    """Roof, base shear and every loop of both tests agree to 1e-8 of their peaks in the first, 1e-6 after the works."""
    _, hybrid, computed = both
    for mine, other, tolerance in zip(hybrid, computed, (1e-8, 1e-6), strict=True):
        a, b = mine.measured, other.measured
        assert np.abs(a.roof - b.roof).max() <= tolerance * np.abs(b.roof).max()
        assert np.abs(a.shear - b.shear).max() <= 100 * tolerance * np.abs(b.shear).max()
        assert list(a.devices) == list(b.devices)
        for name, loop in a.devices.items():
            peak = np.abs(b.devices[name].force).max()
            assert np.abs(loop.force - b.devices[name].force).max() <= 100 * tolerance * peak
            assert loop.lost[-1] == pytest.approx(b.devices[name].lost[-1], rel=1e-4, abs=1e-3)


def test_its_inspection_and_replacement_are_the_same(both):
    """Residuals, verdicts, locked-in forces and misfits come out the same either way."""
    _, hybrid, computed = both
    for mine, other in zip(hybrid, computed, strict=True):
        for name, value in other.residual.items():
            assert mine.residual[name] == pytest.approx(value, abs=1e-8)
        assert [f.verdict for f in mine.inspection.findings] == [f.verdict for f in other.inspection.findings]
        assert mine.measured.imbalance == pytest.approx(other.measured.imbalance, abs=1e-3)
    for a, b in zip(hybrid[0].replacement.swaps, computed[0].replacement.swaps, strict=True):
        assert (a.device, a.law) == (b.device, b.law)
        assert a.misfit == pytest.approx(b.misfit, abs=1e-8) and a.locked_in == pytest.approx(
            b.locked_in, abs=1.0
        )


def test_the_outcome_of_each_test_is_kept(both):
    """The runner keeps targets, events and errors of its tests by limit state; results say where they come from."""
    runner, hybrid, _ = both
    assert set(runner.outcomes) == {"first", "second"}
    assert runner.outcomes["first"].ending == "completed" and hybrid[0].measured.origin == "rehearsal"


def test_a_rig_with_errors_leaves_measured_loops():
    """On the simulated rig the pin's loop is what its channels measured, and the energy of the whole still closes."""
    along = laboratory.along_brace()
    runner = HybridRunner(
        laboratory.demo_split(),
        lambda s, state: laboratory.demo_test(s.padded, s.factor, None, state),
        along, {"pin 1": 0}, override=CHECKS, about="simulated rig",
    )  # fmt: skip
    (result,) = Campaign(runner, [LimitState("one", PULSE, 0.8)], CRITERIA).run()
    outcome, loop = runner.outcomes["one"], result.measured.devices["pin 1"]
    assert loop.deformation[1:] - loop.deformation[0] == pytest.approx(outcome.displacement[:, 0], abs=1e-12)
    assert loop.force[1:] - loop.force[0] == pytest.approx(outcome.force[:, 0], abs=1e-6)
    assert 0.0 < np.abs(outcome.displacement - outcome.target).max() < 2e-3
    assert result.measured.imbalance < 5e-3


def test_a_cut_that_releases_a_freedom_is_carried_by_its_joined_parts():
    """Where columns are cut with hinges, the state is that of the joined parts, and a perfect rig closes its energy."""
    frame = laboratory.demo_split().whole
    tested = ("column A1", "column B1", "link 1")
    parts = split(frame, tested, [("A1", "ux"), ("A1", "uy"), ("B1", "uy")])
    assert parts.released and whole_system(parts) is parts.joined_system
    runner = HybridRunner(
        parts,
        lambda s, state: perfect_test(parts, None, KRAlpha(0.8), s, state),
        override=CHECKS,
    )
    (result,) = Campaign(runner, [LimitState("one", PULSE, 0.4)], CRITERIA).run()
    assert result.measured.completed and result.measured.imbalance < 5e-3
    assert "link 1: start hinge" in result.measured.devices


def test_a_test_that_is_stopped_ends_the_campaign():
    """A guard that trips leaves the histories up to there, no verdict, and nothing follows."""
    narrow = Limits((-0.004, 0.004), 5e6, 5.0, 0.1, 0.05, energy=1.0, energy_warning=0.9, flat_force=0)
    along, parts = laboratory.along_brace(), laboratory.demo_split()

    def make(limit_state, state):
        test = perfect_test(parts, along, OperatorSplitting(-0.1), limit_state, state)
        specimen = twin_specimen(parts, state, along)
        return HybridTest(
            test.make_solver,
            specimen,
            narrow,
            Unattended(True),
            stiffness=specimen.stiffness,
            time_scale=50.0,
        )

    results = Campaign(
        HybridRunner(parts, make, along, {"pin 1": 0}, override=CHECKS), STATES, CRITERIA
    ).run()
    assert len(results) == 1 and not results[0].measured.completed and not results[0].measured.collapsed
    assert results[0].measured.outcome != "completed" and results[0].inspection.verdict == "not judged"
    assert 10 < results[0].measured.time.size < 400


def test_a_channel_needs_a_law_of_one_deformation():
    """A channel of a law that is not there, or not a single one, is refused."""
    system = laboratory.demo_split().whole_system
    with pytest.raises(InputError, match="'link 1' is not one law"):
        law_place(system, "link 1")
    assert law_place(system, "pin 1").member == "pin 1"


def test_a_hybrid_campaign_is_resumed_from_its_folder(tmp_path):
    """Histories, response and state of a cut with released freedoms come back; only what is missing is tested."""
    parts = split(
        laboratory.demo_split().whole,
        ("column A1", "column B1", "link 1"),
        [("A1", "ux"), ("A1", "uy"), ("B1", "uy")],
    )
    asked = []

    def make(limit_state, state):
        asked.append(limit_state.name)
        return perfect_test(parts, None, KRAlpha(0.8), limit_state, state)

    states = [LimitState("one", PULSE, 0.3, replace=("link 1",)), LimitState("two", PULSE, 0.3)]
    runner = HybridRunner(parts, make, override=CHECKS)
    first = Campaign(runner, states, CRITERIA, tmp_path).run(until="one")
    second = Campaign(HybridRunner(parts, make, override=CHECKS), states, CRITERIA, tmp_path).run()
    assert asked == ["one", "two"] and [r.resumed for r in second] == [True, False]
    stored = second[0].response()
    assert np.array_equal(stored.floor("floor 5"), first[0].measured.roof)
    assert stored.imbalance() == pytest.approx(first[0].measured.imbalance)
    assert second[1].measured.devices["link 1: start hinge"].force[0] == pytest.approx(0.0, abs=2e3)
