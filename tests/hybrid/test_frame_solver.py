"""Frames as the two parts of a hybrid test: the split test equals the undivided frame, and what it refuses."""

from dataclasses import replace

import numpy as np
import pytest

from frame2d.analysis import StiffnessMass, schemes, time_history
from frame2d.analysis.runner import Options
from frame2d.campaign.whole import whole_response
from frame2d.demo import laboratory
from frame2d.errors import Frame2dError, InputError
from frame2d.hybrid import (
    CHECKS,
    Chang,
    Command,
    FrameSolver,
    FrameSpecimen,
    HybridTest,
    KRAlpha,
    Limits,
    LinearlyImplicit,
    Model,
    OperatorSplitting,
    Reading,
    Rig,
    Sensors,
    Unattended,
    balanced,
    computed_state,
    condensed_network,
)
from frame2d.hybrid.journal import rows
from frame2d.hybrid.virtual import virtual_test
from frame2d.motions.record import Record
from frame2d.substructure import split

MASS_DAMPED = StiffnessMass(0.6, 0.0)
TIGHT = Options(tolerance=1e-12)
LIMITS = Limits((-0.2, 0.2), 2e6, 1.0, 0.05, 0.02, energy=1.0, energy_warning=0.9, flat_force=0)
FIRST_STOREY = ("column A1", "column B1", "link 1", "column C1", "column D1", "pin 1", "splice 1", "beam CD1")
#: A scheme of a test, and the same in the engine.
PAIRS = (
    (OperatorSplitting(-0.1), schemes.operator_splitting(-0.1)),
    (Chang(), schemes.chang()),
    (KRAlpha(0.8), schemes.kolay_ricles(0.8)),
)


def pulse(dt, seconds=1.6, peak=3.0):
    t = np.arange(round(seconds / dt) + 1) * dt
    return Record(peak * np.sin(8.2 * t) * np.sin(np.pi * t / seconds) ** 2, dt, "pulse", synthetic=True)


@pytest.fixture(scope="module")
def storey():
    """The demo frame with its whole first storey tested: nine interface freedoms, hinges and columns inside."""
    return split(laboratory.demo_split().whole, FIRST_STOREY)


def begun(parts, state=None):
    return balanced(parts.computed_system, parts.share(state or laboratory.standing())["computed"])


def solver_of(parts, directions, declared, scheme, record, **options):
    options = {"state": begun(parts), "damping": MASS_DAMPED, "options": TIGHT} | options
    return FrameSolver(parts, directions, declared, scheme, record, **options)


def drive(solver, specimen):
    while solver.step < solver.steps:
        command = Command(specimen.last_sequence + 1, solver.predict(), 1.0)
        solver.correct(specimen.apply(command).force)
    return solver.response()


def roof(response):
    return response.displacement("A5")


@pytest.mark.parametrize(("scheme", "whole"), PAIRS, ids=lambda s: type(s).__name__)
def test_a_perfect_rig_gives_the_all_computed_run(scheme, whole):
    """With a specimen without error the split frame equals the undivided one, same scheme and step, to 1e-8 of the peak."""
    parts, along = laboratory.demo_split(), laboratory.along_brace()
    specimen = FrameSpecimen.of(parts, laboratory.standing(), along)
    record = pulse(0.005)
    reference = time_history(
        parts.whole_system, record, laboratory.standing(), scheme=whole, damping=MASS_DAMPED, options=TIGHT
    )
    assert np.abs(reference.device("pin 1").force).max() > 3e5  # yields
    found = drive(solver_of(parts, along, specimen.declared(), scheme, record), specimen)
    peak = np.abs(roof(reference)).max()
    assert np.abs(roof(found) - roof(reference)).max() <= 1e-8 * peak
    network = Model(condensed_network(FrameSpecimen.of(parts, laboratory.standing(), along)))
    again = drive(solver_of(parts, along, specimen.declared(), scheme, record), network)
    assert np.abs(roof(again) - roof(reference)).max() <= 1e-8 * peak


@pytest.mark.parametrize("scheme", [OperatorSplitting(-0.1), KRAlpha(0.8)], ids=repr)
def test_the_work_of_every_step_is_counted(scheme):
    """At least one evaluation a step and one factorisation in all, with the history and without."""
    parts, along = laboratory.demo_split(), laboratory.along_brace()
    record = pulse(0.005, seconds=0.2)
    found = []
    for history in (True, False):
        specimen = FrameSpecimen.of(parts, laboratory.standing(), along)
        solver = solver_of(parts, along, specimen.declared(), scheme, record, history=history)
        drive(solver, specimen)
        found += [solver.response().counts(), solver.response().counts()]
    assert all(counts == found[0] for counts in found)
    steps = record.acceleration.size - 1
    assert found[0]["evaluations"] >= steps and found[0]["iterations"] >= steps
    assert 1 <= found[0]["factorisations"] < steps


@pytest.mark.parametrize(
    "scheme", [OperatorSplitting(-0.1), LinearlyImplicit(0.8), Chang(), KRAlpha(0.8)], ids=repr
)
def test_distance_to_the_iterated_frame_falls_with_the_order(scheme, storey):
    """The distance to the undivided frame by an iterating scheme at a fine step falls with the second order of the scheme."""
    implicit = isinstance(scheme, OperatorSplitting | LinearlyImplicit)
    parts, along = (storey, None) if implicit else (laboratory.demo_split(), laboratory.along_brace())
    exact = roof(
        time_history(parts.whole_system, pulse(0.0003125, 0.8), laboratory.standing(), damping=MASS_DAMPED)
    )
    errors = []
    for dt in (0.005, 0.0025, 0.00125):
        specimen = FrameSpecimen.of(parts, laboratory.standing(), along)
        found = roof(
            drive(
                solver_of(parts, along, specimen.declared(damping=MASS_DAMPED), scheme, pulse(dt, 0.8)),
                specimen,
            )
        )
        errors.append(np.abs(found - exact[:: round(dt / 0.0003125)]).max())
    assert np.log2(errors[1] / errors[2]) > 1.7
    assert np.log2(errors[0] / errors[2]) > 3.0
    assert errors[2] < 2e-3 * np.abs(exact).max()


def test_mass_of_the_tested_part_counts_once():
    """Mass that belongs to the tested part moves and is shaken like the undivided frame's, neither lost nor doubled."""
    whole = laboratory.demo_split().whole
    parts = split(whole, ["pin 1"], tested_share={"D1": 0.6})
    specimen = FrameSpecimen.of(parts, laboratory.standing())
    declared = specimen.declared()
    assert declared.mass[0, 0] == pytest.approx(0.6 * whole.masses["D1"][0])
    record = pulse(0.005)
    reference = time_history(
        parts.whole_system,
        record,
        laboratory.standing(),
        scheme=schemes.operator_splitting(-0.1),
        options=TIGHT,
    )
    scheme = OperatorSplitting(-0.1)
    found = drive(solver_of(parts, None, declared, scheme, record, damping=None), specimen)
    peak = np.abs(roof(reference)).max()
    assert np.abs(roof(found) - roof(reference)).max() <= 1e-8 * peak
    lighter = drive(
        solver_of(parts, None, declared._replace(mass=None), scheme, record, damping=None),
        FrameSpecimen.of(parts, laboratory.standing()),
    )
    assert np.abs(roof(lighter) - roof(reference)).max() > 1e-4 * peak


def test_what_the_load_cell_feels_is_not_computed_again():
    """Declared as felt, the specimen's mass stays in the equation but for what the laboratory's motion leaves."""
    parts = split(laboratory.demo_split().whole, ["pin 1"], tested_share={"D1": 0.6})
    declared = FrameSpecimen.of(parts, laboratory.standing()).declared()._replace(felt=True)
    slow = solver_of(parts, None, declared, OperatorSplitting(), pulse(0.005), time_scale=10.0)
    fast = solver_of(parts, None, declared, OperatorSplitting(), pulse(0.005), time_scale=1.0)
    own = slow.L.T @ declared.mass @ slow.L
    assert np.allclose((slow.M - fast.M).toarray(), 0.99 * own)
    assert np.array_equal(
        slow.influence, fast.influence
    )  # the ground shakes it in the prototype, not in the laboratory


def test_energies_balance_with_the_measured_force_as_a_load():
    """The computed part's account closes: ground and measured force give what is stored, dissipated and moved."""
    parts, along = laboratory.demo_split(), laboratory.along_brace()
    specimen = FrameSpecimen.of(parts, laboratory.standing(), along)
    solver = solver_of(parts, along, specimen.declared(), LinearlyImplicit(0.8), pulse(0.0025))
    response = drive(solver, specimen)
    assert response.imbalance() < 2e-3
    energies = solver.energies()
    assert energies.input > 0.0 and energies.strain > 0.0
    assert energies.input == pytest.approx(abs(response.energies()["ground"][-1]), rel=0.02)


def test_the_same_readings_give_the_same_commands():
    """A solver and its fresh twin compute the same commands bit for bit, and describe themselves alike."""
    parts, along = laboratory.demo_split(), laboratory.along_brace()
    declared = laboratory.demo_specimen().declared()
    for scheme in (LinearlyImplicit(0.8), KRAlpha(0.8)):
        one = solver_of(parts, along, declared, scheme, pulse(0.005, 0.4))
        other = one.fresh()
        assert one.describe() == other.describe()
        first, second = drive(one, laboratory.demo_specimen()), drive(other, laboratory.demo_specimen())
        assert np.array_equal(first.log.q, second.log.q) and np.array_equal(one.measured, other.measured)
        assert one.fresh(0.5).describe() != one.describe()


def test_a_test_goes_on_from_the_state_of_the_one_before():
    """Two motions one after the other, with state and reading handed on, are the one long motion."""
    parts, along = laboratory.demo_split(), laboratory.along_brace()
    whole = pulse(0.0025)
    half = whole.acceleration.size // 2
    specimen = laboratory.demo_specimen()
    declared = specimen.declared()
    scheme = OperatorSplitting()
    long = drive(solver_of(parts, along, declared, scheme, whole), laboratory.demo_specimen())
    first = solver_of(
        parts, along, declared, scheme, replace(whole, acceleration=whole.acceleration[: half + 1])
    )
    drive(first, specimen)
    second = solver_of(
        parts, along, declared, scheme, replace(whole, acceleration=whole.acceleration[half:]), state=first.state(),
        start=first.reading,
    )  # fmt: skip
    later = drive(second, specimen)
    assert later.time[0] == pytest.approx(half * 0.0025)
    assert np.abs(roof(later) - roof(long)[half:]).max() < 2e-4 * np.abs(roof(long)).max()


def test_it_refuses_what_would_go_wrong(storey):
    """A specimen stiffer than its operator, an interface without mass under an explicit scheme, schemes that iterate."""
    parts, along = laboratory.demo_split(), laboratory.along_brace()
    declared = laboratory.demo_specimen().declared()
    stiffer = declared._replace(credible=1.5 * declared.operator)
    with pytest.raises(InputError, match=r"1\.5 times as stiff as the operator"):
        solver_of(parts, along, stiffer, LinearlyImplicit(), pulse(0.005))
    with pytest.raises(InputError, match="without mass"):
        solver_of(storey, None, FrameSpecimen.of(storey).declared(), KRAlpha(), pulse(0.005))
    with pytest.raises(InputError, match="one measured displacement a step"):
        solver_of(parts, along, declared, schemes.newmark(), pulse(0.005))
    with pytest.raises(InputError, match="moves nothing"):
        solver_of(parts, np.zeros((1, 2)), declared, LinearlyImplicit(), pulse(0.005))
    solver = solver_of(parts, along, declared, LinearlyImplicit(), pulse(0.005))
    with pytest.raises(Frame2dError, match="without predict"):
        solver.correct(np.zeros(1))


def swayed(specimens, stiffness):
    """Forces of several specimens at one history: mostly a drift of up to 0.8 %, in which devices yield."""
    shape = np.linalg.lstsq(stiffness, np.eye(9)[0], rcond=None)[0]
    shape *= 0.03 / shape[0]
    commands = [Command(step, np.sin(0.15 * step) * shape, 1.0) for step in range(1, 61)]
    return np.array([[specimen.apply(command).force for command in commands] for specimen in specimens])


def test_the_condensed_storey_answers_like_the_storey(storey):
    """Inside the rig a storey of linear geometry is the storey to 1e-7, hinges, pin and eliminated freedoms and all."""
    frame = replace(storey.whole, members=dict(storey.whole.members))
    for axis in "ABCD":
        placed = frame.members[f"column {axis}1"]
        frame.members[placed.name] = replace(placed, member=replace(placed.member, geometry="linear"))
    parts = split(frame, FIRST_STOREY)
    specimen = FrameSpecimen.of(parts)
    network = condensed_network(specimen)
    assert network.freedoms == 9 and len(network.laws) == 4
    assert np.allclose(network.stiffness, specimen.stiffness, rtol=1e-9, atol=1e-9 * specimen.stiffness.max())
    exact, condensed = swayed((specimen, Model(network)), specimen.stiffness)
    assert np.abs(exact - condensed).max() < 1e-7 * np.abs(exact).max()


def test_condensed_columns_keep_their_axial_force(storey):
    """With second-order columns the storey's shear is met to 2 %; their shortening as they lean is left out."""
    specimens = [FrameSpecimen.of(storey, laboratory.standing()) for _ in range(2)]
    exact, condensed = swayed((specimens[0], Model(condensed_network(specimens[1]))), specimens[0].stiffness)
    shear = storey.interface.index(("ux", "A1")[::-1])
    assert np.abs(exact - condensed)[:, shear].max() < 0.02 * np.abs(exact[:, shear]).max()


def test_new_devices_are_free_of_stress_where_the_specimen_stands():
    """Replacing the pin at a residual displacement leaves the interface where it is and takes the pin's force away."""
    specimen = laboratory.demo_specimen()
    before = specimen.read().force
    for step, u in enumerate(0.02 * np.sin(np.linspace(0.0, 2.3 * np.pi, 60)), 1):
        loaded = specimen.apply(Command(step, np.array([u]), 1.0))
    assert abs(loaded.force[0]) > 1e5
    new = specimen.replace(["pin 1"])
    assert np.array_equal(new.displacement, loaded.displacement)
    assert abs(new.force[0] - before[0]) < 5e3  # what gravity had left in the virgin pin
    moved = specimen.apply(Command(99, loaded.displacement + 1e-4, 1.0))
    assert (moved.force - new.force)[0] == pytest.approx(1e-4 * specimen.stiffness[0, 0], rel=0.05)


def test_compiled_rehearsal_and_test_loop_agree():
    """The compiled virtual test and `HybridTest` step the same frame and rig to the same histories."""
    base = laboratory.demo_solver(pulse(0.005, 0.5))
    rig = laboratory.demo_rig(seed=4)
    run = virtual_test(base.fresh(), rig, LIMITS)
    test = HybridTest(base.fresh, laboratory.demo_rig(seed=4), LIMITS, Unattended(True), time_scale=50.0)
    outcome = test.run(CHECKS)
    assert run.completed and outcome.ending == "completed"
    scale = np.abs(outcome.force).max()
    assert np.abs(run.force - outcome.force).max() < 1e-9 * scale
    assert np.abs(run.target - outcome.target).max() < 1e-9 * np.abs(outcome.target).max()


def test_an_interrupted_test_of_a_frame_resumes(tmp_path):
    """After an interruption the frame's steps are repeated from the journal and every command comes out bit for bit."""
    base = laboratory.demo_solver(pulse(0.005, 0.4))
    reference = HybridTest(
        base.fresh, laboratory.demo_rig(seed=9), LIMITS, Unattended(True), time_scale=50.0
    ).run(CHECKS)
    rig = laboratory.demo_rig(seed=9)

    def interrupt(progress):
        if progress.step == 37:
            raise KeyboardInterrupt

    options = {"journal": tmp_path / "a.db", "time_scale": 50.0, "force_tolerance": 0.05}
    test = HybridTest(base.fresh, rig, LIMITS, Unattended(True), views=(interrupt,), **options)
    with pytest.raises(KeyboardInterrupt):
        test.run(CHECKS)
    test.close()
    again = HybridTest(base.fresh, rig, LIMITS, Unattended(True), **options)
    outcome = again.resume()
    again.close()
    assert outcome.ending == "completed" and np.array_equal(outcome.command, reference.command)
    assert np.array_equal(outcome.force, reference.force)
    assert again.solver.step == base.steps
    assert any(row.kind == "resumed" for row in rows(tmp_path / "a.db"))


def test_margin_is_predicted_for_a_frame():
    """The linear loop of frame and rig is stable at the demo's lag, and not with the whole brace 20 ms late in real time."""
    solver = laboratory.demo_solver(pulse(0.005, 0.2))
    stiffness = laboratory.demo_specimen().stiffness
    assert solver.predicted(stiffness, laboratory.demo_lag()).stable
    fast = laboratory.demo_solver(pulse(0.005, 0.2), time_scale=1.0)
    assert not fast.predicted(stiffness, 0.02).stable


def test_reading_at_the_start_is_the_zero():
    """A specimen whose channels were not zeroed is read once, and that reading is the solver's zero."""

    class Shifted(FrameSpecimen):
        def read(self):
            reading = super().read()
            return Reading(reading.displacement + 0.01, reading.force + 2e4)

        def apply(self, command):
            return super().apply(command._replace(displacement=command.displacement - 0.01))

    parts, along, state = laboratory.demo_split(), laboratory.along_brace(), laboratory.standing()
    declared, record = laboratory.demo_specimen().declared(), pulse(0.005, 0.3)
    plain = drive(solver_of(parts, along, declared, LinearlyImplicit(), record), laboratory.demo_specimen())
    shifted = Shifted.of(parts, state, along)
    found = drive(
        solver_of(parts, along, declared, LinearlyImplicit(), record, start=shifted.read()), shifted
    )
    assert np.abs(roof(found) - roof(plain)).max() < 1e-9 * np.abs(roof(plain)).max()


def test_a_stronger_pin_has_its_zero_too():
    """Scattered strength leaves the channel zeroed in the starting state, and the stiffness as it is."""
    network = laboratory.demo_network(1.2)
    assert Model(network).at_zero() == pytest.approx([0.0], abs=1e-6)
    rig = Rig(network, sensors=Sensors(), seed=1)
    force = rig.apply(Command(1, np.array([1e-3]), 2.0)).force[0]
    assert force == pytest.approx(1e-3 * network.stiffness[0, 0], rel=0.2)


def test_the_parts_together_are_the_whole_response():
    """After a test with a perfect rig the response of the whole frame, forces, memories and all, is the all-computed one."""
    parts, along, standing = laboratory.demo_split(), laboratory.along_brace(), laboratory.standing()
    record, scheme = pulse(0.005), OperatorSplitting(-0.1)
    specimen = laboratory.demo_specimen()
    solver = solver_of(parts, along, specimen.declared(), scheme, record)
    moved = np.zeros((solver.steps, 1))
    while solver.step < solver.steps:
        target = solver.predict()
        reading = specimen.apply(Command(solver.step + 1, target, 1.0))
        moved[solver.step] = reading.displacement
        solver.correct(reading.force)
    found = whole_response(parts, standing, solver.response(), moved, along)
    reference = time_history(
        parts.whole_system, record, standing, scheme=schemes.operator_splitting(-0.1), damping=MASS_DAMPED, options=TIGHT
    )  # fmt: skip
    assert np.abs(found.log.q - reference.log.q).max() < 1e-8 * np.abs(reference.log.q).max()
    for name in ("link 1", "splice 2", "pin 3"):
        mine, theirs = (response.device(response_name(response, name)) for response in (found, reference))
        assert np.abs(mine.force - theirs.force).max() < 1e-7 * np.abs(theirs.force).max()
    # The specimen was measured at the predictor, where the scheme's own force is carried on to the end of the step.
    mine, theirs = (response.device("pin 1").force for response in (found, reference))
    assert np.abs(mine - theirs).max() < 0.02 * np.abs(theirs).max()
    for place in parts.whole_system.parts:
        first = parts.whole_system.memory_at[place.number]
        # A row of laws keeps scratch numbers beside its memory: its share of the deformation is compared.
        size = 2 if place.member.startswith("pin") else place.part.memory.size
        mine, theirs = (run.state.motion.m0[first : first + size] for run in (found, reference))
        assert np.allclose(mine, theirs, rtol=1e-5, atol=1e-8), place.member
    assert found.state.time == reference.state.time and found.imbalance() < 5e-3


def response_name(response, name):
    """First loop of a member."""
    return next(law for law in response.laws() if law.split(":")[0] == name)


def test_a_moving_frame_is_taken_over_in_its_motion():
    """A test that begins while the frame still moves goes on with its velocities and with the tested part's force."""
    parts, along, standing = laboratory.demo_split(), laboratory.along_brace(), laboratory.standing()
    shaken = time_history(parts.whole_system, pulse(0.005, 1.0), standing, damping=MASS_DAMPED).state
    assert np.abs(shaken.motion.v).max() > 0.05
    still = Record(np.zeros(101), 0.005, "nothing", synthetic=True)
    specimen = FrameSpecimen.of(parts, shaken, along)
    solver = solver_of(
        parts, along, specimen.declared(), LinearlyImplicit(), still, state=computed_state(parts, shaken)
    )
    found = drive(solver, specimen)
    reference = time_history(parts.whole_system, still, shaken, damping=MASS_DAMPED)
    assert np.abs(roof(found) - roof(reference)).max() < 0.01 * np.abs(roof(reference)).max()
