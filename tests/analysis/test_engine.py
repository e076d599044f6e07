"""The engine: factor, equilibrium, energy, outcomes, states that chain."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from frame2d import (
    AnalysisError,
    BeamColumn,
    Brace,
    Frame,
    InputError,
    Link,
    Outcome,
    Rayleigh,
    chung_hulbert,
    cyclic,
    gravity,
    hilber,
    modes,
    newmark,
    push,
    time_history,
    wood,
)
from frame2d.analysis.runner import Options
from frame2d.analysis.storage import load
from frame2d.engine.factor import factorise, solve_factored
from frame2d.engine.ordering import minimum_degree, symbolic
from frame2d.engine.plan import new_room
from frame2d.materials import Bilinear, BoucWen, Elastic, ViscousDamper

E = 210e9


def small_frame(law=None, geometry="p-delta"):  # type: ignore[no-untyped-def]
    """Two storeys, one bay, hinges at the beams' ends."""
    frame = Frame("small")
    law = law or BoucWen(k=3e7, Fy=1.5e5, a=0.01)
    for level in range(3):
        for axis in range(2):
            frame.node(f"{level}{axis}", 6.0 * axis, 3.5 * level, support=None if level else "fixed")
            if level:
                frame.mass(f"{level}{axis}", 2e4)
                frame.load(f"{level}{axis}", fy=-2e5)
                frame.member(
                    f"column {level}{axis}",
                    f"{level - 1}{axis}",
                    f"{level}{axis}",
                    BeamColumn(E, 0.0149, 2.5e-4, geometry=geometry),
                )
        if level:
            frame.member(
                f"beam {level}",
                f"{level}0",
                f"{level}1",
                BeamColumn(E, 8e-3, 2e-4, start=law, end=law),
                device=True,
            )
            frame.floor(f"floor {level}", [f"{level}0", f"{level}1"])
    return frame


def motion(peak=4.0, n=800, dt=0.005, seed=5):  # type: ignore[no-untyped-def]
    """Smooth seeded motion, m/s²."""
    t = dt * np.arange(n)
    rng = np.random.default_rng(seed)
    a = sum(np.sin(2 * np.pi * f * t + rng.uniform(0, 6)) for f in (0.7, 1.1, 1.9, 2.7))
    a = a * np.sin(np.pi * t / t[-1]) ** 2
    return SimpleNamespace(acceleration=peak * a / np.abs(a).max(), dt=dt, name="smooth")


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), size=st.integers(1, 30))
def test_the_factor_solves_any_symmetric_matrix(seed, size):
    """LDLᵀ on the fixed pattern solves like a dense solver and counts the negative eigenvalues."""
    rng = np.random.default_rng(seed)
    full = np.where(rng.random((size, size)) < 0.2, rng.normal(size=(size, size)), 0.0)
    full = full + full.T + np.diag(rng.choice([-1.0, 1.0], size) * (2.0 + np.abs(full).sum(axis=0) * 2))
    rows, cols = np.nonzero(full)
    new = minimum_degree(rows, cols, size)
    order = np.argsort(new)
    ordered = full[np.ix_(order, order)]
    rows, cols = np.nonzero(np.tril(ordered))
    pattern = symbolic(rows, cols, size)
    values = np.zeros(pattern.row.size)
    values[pattern.places(rows, cols)] = ordered[rows, cols]
    lower, pivot, work = np.zeros(values.size), np.zeros(size), np.zeros(size)
    negative, replaced = factorise(pattern, values, lower, pivot, work, np.zeros(pivot.size))
    x = rng.normal(size=size)
    expected = np.linalg.solve(ordered, x)
    solve_factored(pattern, lower, pivot, x)
    assert replaced == 0
    assert negative == np.sum(np.linalg.eigvalsh(full) < 0)
    assert np.allclose(x, expected, rtol=1e-9, atol=1e-12)


def test_the_energy_account_closes_at_second_order():
    """Halving the step divides the imbalance of a smooth system by four, and it is below 0.1 % at 5 ms."""
    system = small_frame().compile()
    begin = gravity(system).state
    found = [
        time_history(system, motion(), begin, dt=dt, damping=Rayleigh(0.03, (1, 2))).imbalance()
        for dt in (0.005, 0.0025, 0.00125)
    ]
    assert found[0] < 1e-3
    assert np.log2(found[0] / found[1]) > 1.7 and np.log2(found[1] / found[2]) > 1.7


@pytest.mark.parametrize(
    "scheme", [newmark(), hilber(-0.1), wood(0.7), chung_hulbert(0.6)], ids=lambda s: s.name
)
def test_algorithmic_dissipation_is_the_schemes_own(scheme):
    """For a linear system in free vibration, energy lost equals the dissipation that the scheme's identity gives."""
    frame = Frame("oscillators")
    frame.node("0", 0, 0, support="fixed")
    for k in range(1, 4):
        frame.node(str(k), k, 0, support=("uy", "rz"))
        frame.member(f"spring {k}", str(k - 1), str(k), Link(axial=Elastic(1e5 * k)))
        frame.mass(str(k), 100.0 * k)
    response = time_history(
        frame.compile(), dt=0.02, duration=4.0, initial_velocity={("3", "ux"): 1.0}, scheme=scheme
    )
    energies = response.energies()
    total = energies["kinetic"] + energies["devices"]
    lost = total[0] - total[-1]
    assert lost == pytest.approx(energies["algorithmic"][-1], rel=1e-6, abs=1e-9 * total[0])
    assert (lost > 1e-3 * total[0]) == (scheme.name != "Newmark")


@pytest.mark.parametrize(
    "scheme", [newmark(), hilber(-0.2), wood(0.5), chung_hulbert(0.8), chung_hulbert(0.0)]
)
def test_the_scheme_has_its_declared_order(scheme):
    """Error against the matrix exponential falls with the declared order, within 0.1."""
    m, k, c = 2.0, 80.0, 1.0
    frame = Frame("oscillator")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 1, 0, support=("uy", "rz"), mass=m)
    frame.member("spring", "A", "B", Link(axial=Elastic(k)))
    frame.member("damper", "A", "B", Link(axial=ViscousDamper(c)))
    system = frame.compile()
    exact = (expm(np.array([[0, 1], [-k / m, -c / m]]) * 1.0) @ [0.01, 0.0])[0]
    errors = []
    for dt in (0.0025, 0.00125, 0.000625):
        run = time_history(
            system,
            dt=dt,
            duration=1.0,
            initial_displacement={("B", "ux"): 0.01},
            scheme=scheme,
            options=Options(tolerance=1e-13),
        )
        errors.append(abs(run.displacement("B")[-1] - exact))
    assert np.log2(errors[1] / errors[2]) == pytest.approx(scheme.order, abs=0.1)


def test_stepping_by_hand_gives_the_same_bits():
    """Blocks of steps and the whole history agree to the last bit, and twice the same run as well."""
    from frame2d.analysis import runner

    system = small_frame().compile()
    begin = gravity(system).state
    whole = time_history(system, motion(), begin)
    before, runner.BLOCK = runner.BLOCK, 1
    try:
        single = time_history(system, motion(), begin)
    finally:
        runner.BLOCK = before
    assert np.array_equal(whole.log.q, single.log.q)


def test_an_analysis_leaves_its_state_alone():
    """A state goes in and another comes out; the first can be used again."""
    system = small_frame().compile()
    begin = gravity(system).state
    kept = [array.copy() for array in begin.motion]
    time_history(system, motion(), begin)
    push(system, begin, node="20", target=0.1, steps=10)
    assert all(np.array_equal(a, b) for a, b in zip(kept, begin.motion, strict=True))


def test_collapse_is_a_stated_drift_and_nothing_else():
    """A run past its drift limit ends as collapsed, with the response up to there."""
    system = small_frame().compile()
    begin = gravity(system).state
    response = time_history(system, motion(40.0), begin, drift_limit=0.02)
    assert response.outcome is Outcome.COLLAPSED
    assert max(np.abs(drift).max() for drift in response.drifts().values()) >= 0.02
    assert response.time.size < 800


def test_no_equilibrium_is_one_error_that_keeps_the_response():
    """Loads above the capacity raise the one error, which names the place and carries the curve so far."""
    frame = Frame("pull")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 1, 0, support=("uy", "rz"))
    frame.member("tie", "A", "B", Brace(Bilinear(1e7, 1e5, 0.0)))
    frame.load("B", fx=2e5)
    with pytest.raises(AnalysisError, match=r"no equilibrium.*node 'B'.*Bilinear") as caught:
        gravity(frame.compile(), steps=10)
    assert caught.value.response.outcome is Outcome.NOT_CONVERGED
    assert 4 <= caught.value.response.time.size <= 6


def test_a_replaced_device_starts_free_of_force():
    """After an earthquake new devices carry nothing, and statics finds the new balance."""
    system = small_frame().compile()
    after = time_history(system, motion(12.0), gravity(system).state, damping=Rayleigh(0.03, (1, 2))).state
    fresh = system.replace_devices(after, ["beam 1", "beam 2"])
    assert fresh.replaced == ("beam 1", "beam 2") and fresh.released > 0.0
    settled = push(system, fresh, node="20", target=1e-9, steps=1)
    for name in settled.laws():
        loop = settled.device(name)
        assert abs(loop.deformation[0]) < 1e-15 and loop.force[0] == 0.0


def test_a_cyclic_push_dissipates_its_loops_area():
    """The work of the led force over a closed cycle is that of the devices."""
    system = small_frame(Bilinear(k=3e7, Fy=1.5e5, b=0.02), geometry="linear").compile()
    path = 0.08 * np.sin(np.linspace(0, 4 * np.pi, 161))
    response = cyclic(system, pattern={"floor 2": 1.0}, node="20", history=path)
    outside = np.trapezoid(response.factor, response.displacement("20"))
    inside = sum(response.device(name).work[-1] for name in response.laws())
    elastic = response.energies()["members"][-1]
    assert outside == pytest.approx(inside + elastic, rel=2e-2) and inside > 0.0


def test_support_motion_and_ground_motion_agree():
    """Moving all supports gives the same storey drifts as the equivalent inertia forces, within the step's error."""
    frame = Frame("tower")
    frame.node("0", 0, 0, support="fixed")
    for k in (1, 2):
        frame.node(str(k), 0, 3.0 * k, support=("uy", "rz"), mass=1e4)
        frame.member(f"storey {k}", str(k - 1), str(k), Link(transverse=Elastic(2e6), angle=np.pi / 2))
    system = frame.compile()
    dt = 0.002
    t = dt * np.arange(1001)
    ground = 0.01 * (t - np.sin(2 * np.pi * t) / (2 * np.pi))
    acceleration = 0.01 * 2 * np.pi * np.sin(2 * np.pi * t)
    relative = time_history(system, SimpleNamespace(acceleration=acceleration, dt=dt))
    absolute = time_history(system, dt=dt, support_motion={("0", "ux"): ground})
    difference = absolute.displacement("2") - ground - relative.displacement("2")
    assert np.abs(difference).max() < 2e-3 * np.abs(relative.displacement("2")).max()


def test_a_response_survives_its_file(tmp_path):
    """Histories, energies and the state come back from HDF5 to the last bit."""
    system = small_frame().compile()
    response = time_history(system, motion(n=200), gravity(system).state)
    response.save(tmp_path / "run.h5")
    again = load(tmp_path / "run.h5")
    assert np.array_equal(again.log.q, response.log.q)
    assert np.array_equal(again.energies()["imbalance"], response.energies()["imbalance"])
    further = time_history(again.system, motion(n=50), again.state)
    assert np.array_equal(further.log.q, time_history(system, motion(n=50), response.state).log.q)
    response.to_csv(tmp_path / "run.csv")
    assert (tmp_path / "run.csv").read_text().startswith("time (s),floor 1 ux (m)")


def test_base_shear_balances_inertia_and_loads():
    """Reactions of a static push sum to the applied load."""
    system = small_frame().compile()
    response = push(system, gravity(system).state, "uniform", node="20", target=0.05, steps=10)
    assert np.allclose(response.base_shear(), response.factor, rtol=1e-6, atol=1.0)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"record": SimpleNamespace(acceleration=np.array([0.0, np.nan]), dt=0.01)}, "sample 1"),
        ({"record": motion(), "dt": 0.02}, "at most the step"),
        ({"record": motion(), "dt": 0.003}, "whole number"),
        ({}, "time step"),
        ({"dt": 0.01}, "how long"),
        ({"dt": 0.01, "forces": {("X", "ux"): np.zeros(9)}}, "node"),
        ({"dt": 0.01, "support_motion": {("20", "ux"): np.zeros(9)}}, "not supported"),
        ({"record": motion(), "damping": Rayleigh(0.03, (1, 9))}, "mode"),
    ],
)
def test_wrong_motions_are_named(options, words):
    """Wrong records, steps and names are refused before the analysis starts."""
    with pytest.raises(InputError, match=words):
        time_history(small_frame().compile(), **options)


def test_work_is_counted_and_bounded():
    """A mildly nonlinear run needs less than two factorisations a step."""
    system = small_frame().compile()
    response = time_history(system, motion(), gravity(system).state, options=Options(tolerance=1e-6))
    counts = response.counts()
    assert 800 * 0.5 < counts["factorisations"] < 800 * 2
    assert counts["halvings"] == 0 and counts["negative pivots"] == 0


def test_modes_of_a_uniform_shear_building():
    """Closed form of the uniform chain (Rayleigh)."""
    frame = Frame("chain")
    frame.node("0", 0, 0, support="fixed")
    for k in range(1, 6):
        frame.node(str(k), 0, 3.0 * k, support=("uy", "rz"), mass=2e4)
        frame.member(f"storey {k}", str(k - 1), str(k), Link(transverse=Elastic(2e7), angle=np.pi / 2))
    found = modes(frame.compile(), None, 5)
    exact = 2 * np.sqrt(2e7 / 2e4) * np.sin((2 * np.arange(1, 6) - 1) * np.pi / 22)
    assert np.allclose(found.omega, exact, rtol=1e-10)
    assert found.effective_mass.sum() == pytest.approx(1e5, rel=1e-10)


def test_a_room_is_only_scratch():
    """Two analyses with their own rooms do not disturb each other."""
    system = small_frame().compile()
    assert new_room(system.plan).d is not new_room(system.plan).d
