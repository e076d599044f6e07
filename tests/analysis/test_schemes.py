"""Time-integration schemes: order, coefficients, spectral radii, published values, agreement with each other."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from scipy.sparse import csc_matrix

from frame2d.analysis import (
    StiffnessMass,
    central_difference,
    chang,
    chung_hulbert,
    first_order_alpha,
    gravity,
    hilber,
    kolay_ricles,
    newmark,
    operator_splitting,
    stable_step,
    time_history,
)
from frame2d.elements import BeamColumn, Link
from frame2d.errors import InputError
from frame2d.materials import Bilinear, BoucWen, Elastic
from frame2d.model import Frame

OTHERS = [
    central_difference(),
    central_difference(lagged=True),
    chang(),
    kolay_ricles(0.6),
    operator_splitting(-0.1),
    first_order_alpha(0.6),
]
ALL = [newmark(), hilber(), chung_hulbert(0.6), *OTHERS]


class Matrix:
    """A given damping matrix."""

    def __init__(self, values: np.ndarray) -> None:
        self.values = csc_matrix(values)

    def matrix(self, system: object, state: object = None) -> csc_matrix:
        return self.values


def chain(masses: tuple[float, ...], laws: tuple[object, ...]) -> Frame:
    """Masses in a row, each tied to the one before by a law."""
    frame = Frame("chain")
    frame.node("0", 0.0, 0.0, "fixed")
    for number, (mass, law) in enumerate(zip(masses, laws, strict=True), 1):
        frame.node(str(number), 0.0, 0.0, ("uy", "rz"), mass=mass)
        frame.member(f"s{number}", str(number - 1), str(number), Link(axial=law))
    return frame


def by_node(system: object, matrix: np.ndarray) -> np.ndarray:
    """Matrix by nodes "1", "2" in the order of the free freedoms."""
    order = [system.free_number(str(k + 1), "ux") for k in range(len(matrix))]
    result = np.zeros_like(matrix)
    result[np.ix_(order, order)] = matrix
    return result


@pytest.mark.parametrize("scheme", ALL, ids=lambda scheme: scheme.name)
def test_order_against_matrix_exponential(scheme):
    """The error at a fixed time falls with the declared order of the scheme, within 0.1."""
    m, k = np.diag([2.0, 1.0]), np.array([[500.0, -200.0], [-200.0, 200.0]])
    c = 0.2 * m + 0.002 * k
    system = chain((2.0, 1.0), (Elastic(300.0), Elastic(200.0))).compile()
    omega, end = 7.0, 0.8
    # State (u, v, cos, sin) of the frame under p = (0, sin ωt): exact by one exponential.
    a = np.zeros((6, 6))
    a[:2, 2:4] = np.eye(2)
    a[2:4, :2], a[2:4, 2:4] = -np.linalg.solve(m, k), -np.linalg.solve(m, c)
    a[3, 5] = 50.0
    a[4, 5], a[5, 4] = -omega, omega
    exact = (expm(a * end) @ [0.1, 0.0, 0.3, -0.5, 1.0, 0.0])[:2]
    errors = []
    for steps in (160, 320) if scheme.order == 2 else (1280, 2560):
        dt = end / steps
        push = 50.0 * np.sin(omega * dt * np.arange(steps + 1))
        response = time_history(
            system, dt=dt, forces={("2", "ux"): push}, scheme=scheme, damping=Matrix(by_node(system, c)),
            initial_velocity={("1", "ux"): 0.3, ("2", "ux"): -0.5}, initial_displacement={("1", "ux"): 0.1},
        )  # fmt: skip
        got = np.array([response.displacement("1")[-1], response.displacement("2")[-1]])
        errors.append(np.linalg.norm(got - exact))
        assert response.imbalance() < 1e-9
    assert np.log2(errors[0] / errors[1]) == pytest.approx(scheme.order, abs=0.1)


def half_sine() -> tuple[object, np.ndarray, Matrix]:
    """Oscillator and pulse of the published step-by-step tables (Chopra, Dynamics of Structures, ch. 5)."""
    mass = 1.0e6 / (4.0 * np.pi**2)
    system = chain((mass,), (Elastic(1.0e6),)).compile()
    t = 0.1 * np.arange(11)
    pulse = np.where(t < 0.65, 1.0e6 * np.sin(np.pi * t / 0.6), 0.0)
    return system, pulse, Matrix(np.array([[2.0 * 0.05 * mass * 2.0 * np.pi]]))


def test_central_difference_half_sine():
    """Central difference gives the step-by-step values of the half-sine pulse (Chopra, example 5.2, recomputed)."""
    system, pulse, damping = half_sine()
    response = time_history(
        system, dt=0.1, forces={("1", "ux"): pulse}, scheme=central_difference(), damping=damping
    )
    values = [0.0, 0.191379717, 0.629327955, 1.182475459, 1.580802049, 1.541176177, 0.914064516, -0.024711539]
    values += [-0.896840607, -1.372567065]
    np.testing.assert_allclose(response.displacement("1")[1:], values, atol=1e-6)
    assert response.counts()["factorisations"] == 0


def test_operator_splitting_is_hilber_where_linear():
    """On a linear frame operator splitting is Hilber, Hughes & Taylor, with one evaluation a step and one factor."""
    system, pulse, damping = half_sine()
    run = {"dt": 0.1, "forces": {("1", "ux"): pulse}, "damping": damping}
    split = time_history(system, scheme=operator_splitting(-0.1), **run)
    whole = time_history(system, scheme=hilber(-0.1), **run)
    np.testing.assert_allclose(split.displacement("1"), whole.displacement("1"), rtol=1e-9, atol=1e-12)
    assert split.counts()["evaluations"] == 10
    assert split.counts()["factorisations"] == 1


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.8, 1.0])
def test_coefficients_meet_the_published_conditions(rho):
    """KR-alpha has γ = ½ − αm + αf; the first-order scheme γ = ½ + αm − αf and the stability αm ≥ αf ≥ ½."""
    kr, first = kolay_ricles(rho), first_order_alpha(rho)
    assert kr.gamma == pytest.approx(0.5 - kr.alpha_m + kr.alpha_f)
    assert kr.beta == pytest.approx(0.25 * (0.5 + kr.gamma) ** 2)
    assert first.gamma == pytest.approx(0.5 + first.alpha_m - first.alpha_f)
    assert first.alpha_m >= first.alpha_f >= 0.5


@pytest.mark.parametrize("make", [kolay_ricles, first_order_alpha])
@pytest.mark.parametrize("rho", [0.0, 0.5, 0.8, 1.0])
def test_radius_at_high_frequency(make, rho):
    """The spectral radius at high frequency is rho."""
    values = np.linalg.eigvals(make(rho).amplification(1e6))
    assert np.abs(values).max() == pytest.approx(rho, abs=1e-3)


@pytest.mark.parametrize("damping", [0.0, 0.05, 0.5])
@pytest.mark.parametrize(
    ("explicit", "implicit"),
    [(chang(), newmark())] + [(kolay_ricles(r), chung_hulbert(r)) for r in (0.0, 0.3, 0.8, 1.0)],
    ids=lambda s: s.name,
)
def test_model_based_schemes_have_the_poles_of_the_implicit_ones(explicit, implicit, damping):
    """At any step, Chang has the characteristic equation of average acceleration and KR-alpha, with its three matrices,
    that of generalized-alpha with the same radius."""
    for omega_dt in (0.1, 1.0, 10.0, 100.0):
        found = np.poly(explicit.amplification(omega_dt, damping))
        assert found == pytest.approx(np.poly(implicit.amplification(omega_dt, damping)), abs=1e-9)


@pytest.mark.parametrize("scheme", [chang(), *(kolay_ricles(r) for r in (0.0, 0.5, 1.0))])
def test_explicit_schemes_never_amplify(scheme):
    """Chang and KR-alpha have a spectral radius of at most one at any step, damped or not."""
    for omega_dt in np.geomspace(1e-2, 1e3, 40):
        for damping in (0.0, 0.05, 0.5):
            assert np.abs(np.linalg.eigvals(scheme.amplification(omega_dt, damping))).max() < 1.0 + 1e-6


@pytest.mark.parametrize(
    ("scheme", "elongation"), [(central_difference(), -0.01693423), (chang(), 0.03207491)]
)
def test_period_elongation(scheme, elongation):
    """Period elongation at Δt/T = 0.1; Chang shares the characteristic equation of average acceleration."""
    values = np.linalg.eigvals(scheme.amplification(0.2 * np.pi))
    root = values[np.argmax(values.imag)]
    assert 0.2 * np.pi / np.angle(root) - 1.0 == pytest.approx(elongation, abs=1e-5)
    assert abs(root) == pytest.approx(1.0, abs=1e-9)


def test_central_difference_limit():
    """The limit is 2/ω of the highest mode; a step above it is refused, one just below stays bounded."""
    system = chain((1.0, 1.0), (Elastic(100.0), Elastic(100.0))).compile()
    highest = np.sqrt(np.linalg.eigvalsh(np.array([[200.0, -100.0], [-100.0, 100.0]]))[-1])
    limit = stable_step(system)
    assert limit == pytest.approx(2.0 / highest, rel=1e-9)
    with pytest.raises(InputError, match="stability limit"):
        time_history(system, dt=1.001 * limit, duration=1.0, scheme=central_difference())
    response = time_history(
        system, dt=0.99 * limit, duration=60.0, scheme=central_difference(),
        initial_velocity={("1", "ux"): 1.0},
    )  # fmt: skip
    assert abs(response.displacement("1")).max() < 5.0


def test_lagged_damping_shortens_the_limit():
    """With half-step damping a step just below the limit stays bounded and one above it is refused; without it, 2/ω."""
    system = chain((1.0, 1.0), (Elastic(100.0), Elastic(100.0))).compile()
    c = np.array([[3.0, -1.0], [-1.0, 2.0]])
    damping = Matrix(by_node(system, c))
    limit = stable_step(system, damping.values, lagged=True)
    k = np.array([[200.0, -100.0], [-100.0, 100.0]])
    # State (u, v at the half step): the motion of the scheme by one matrix.
    for dt, stable in ((0.999 * limit, True), (1.001 * limit, False)):
        kick = np.eye(2) - dt * c
        whole = np.block([[np.eye(2) - dt * dt * k, dt * kick], [-dt * k, kick]])
        assert (np.abs(np.linalg.eigvals(whole)).max() < 1.0 + 1e-9) == stable
    scheme = central_difference(lagged=True)
    with pytest.raises(InputError, match="stability limit"):
        time_history(system, dt=1.001 * limit, duration=1.0, scheme=scheme, damping=damping)
    time_history(system, dt=1.001 * limit, duration=1.0, scheme=central_difference(), damping=damping)
    response = time_history(
        system, dt=0.99 * limit, duration=60.0, scheme=scheme, damping=damping,
        initial_velocity={("1", "ux"): 1.0},
    )  # fmt: skip
    assert abs(response.displacement("1")).max() < 5.0


def hinged_frame() -> Frame:
    """Portal with massless, hinged joints: beam ends yield, rotations have no mass. Invented numbers."""
    frame = Frame("portal")
    column = BeamColumn(210e9, 0.0149, 2.517e-4, geometry="p-delta")
    law = Bilinear(4.0e8, 250e3, 0.02)
    beam = BeamColumn(210e9, 0.00848, 2.313e-4, start=law, end=law)
    for b in range(2):
        frame.node(f"0{b}", 6.0 * b, 0.0, "fixed")
        frame.node(f"1{b}", 6.0 * b, 3.5, mass=40e3)
        frame.member(f"c{b}", f"0{b}", f"1{b}", column)
        frame.load(f"1{b}", fy=-40e3 * 9.81)
    frame.member("beam", "10", "11", beam, device=True)
    frame.floor("F", ["10", "11"], tied=False)
    return frame


@pytest.mark.parametrize("scheme", OTHERS, ids=lambda scheme: scheme.name)
def test_agrees_with_implicit_on_a_yielding_frame(scheme):
    """All schemes meet the implicit one on a yielding frame with massless rotations, and close the energy account."""
    system = hinged_frame().compile()
    begin = gravity(system).state
    t = 0.0005 * np.arange(3001)
    wave = 6.0 * np.sin(2.0 * np.pi * 1.7 * t) * np.sin(np.pi * t / 1.5)
    record = SimpleNamespace(acceleration=wave, dt=0.0005, name="invented wave")
    run = {"record": record, "state": begin, "damping": StiffnessMass(0.4, 0.0)}
    reference = time_history(system, scheme=chung_hulbert(0.8), **run)
    response = time_history(system, scheme=scheme, **run)
    top = reference.floor("F")
    assert reference.energies()["devices"][-1] > 1e3
    assert abs(response.floor("F") - top).max() < 2e-3 * abs(top).max()
    assert response.imbalance() < 2e-3


def test_step_and_batch_are_the_same():
    """Stepping by hand gives the bits of the batch run."""
    from frame2d.analysis.operators import marcher
    from frame2d.engine.plan import new_room

    system, pulse, damping = half_sine()
    for scheme in OTHERS:
        batch = time_history(system, dt=0.1, forces={("1", "ux"): pulse}, scheme=scheme, damping=damping)
        stepper = marcher(scheme, system, damping.matrix(system), 0.1)
        room, motion = new_room(stepper.plan), stepper.begin(system.rest().copy_motion())
        shift, options = np.zeros(room.shift.size), np.array([1e-2, 20.0, 8.0])
        for k in range(10):
            p0, p1 = pulse[k : k + 1].copy(), pulse[k + 1 : k + 2].copy()
            assert stepper.step(room, motion, p0, p1, shift, shift, 0.1, scheme.array(), options) == 0
            assert motion.q[0] == batch.log.q[k + 1, 0]


def test_states_of_a_law_are_integrated_with_the_motion():
    """The rate form of Bouc-Wen meets an adaptive solution of {u, v, z, ε}, with an error of second order."""
    law = BoucWen(k=400.0, Fy=2.0, a=0.05, n=1.0, beta=0.6, delta_nu=0.05)
    system = chain((1.0,), (law,)).compile()
    rate, parameters = law.rate, law.parameters()

    def slope(t: float, y: np.ndarray) -> np.ndarray:
        out, states = np.zeros(12), np.zeros(2)
        rate(parameters, y[2:], y[0], y[1], 0.0, out, states)
        return np.array([y[1], 5.0 * np.sin(11.0 * t) - 0.4 * y[1] - out[0], *states])

    exact = solve_ivp(slope, (0.0, 1.2), np.zeros(4), rtol=1e-10, atol=1e-13, max_step=2e-3).y[:, -1]
    errors = []
    for steps in (300, 600):
        dt = 1.2 / steps
        response = time_history(
            system, dt=dt, forces={("1", "ux"): 5.0 * np.sin(11.0 * dt * np.arange(steps + 1))},
            scheme=first_order_alpha(0.8), damping=Matrix(np.array([[0.4]])),
        )  # fmt: skip
        memory = response.state.copy_motion().m0
        errors.append([abs(response.displacement("1")[-1] - exact[0]), abs(memory[1] - exact[2])])
        assert memory[3] == response.displacement("1")[-1]
        assert response.imbalance() < 1e-6
    assert abs(exact[2]) > 0.05
    rough, fine = errors
    assert fine[0] < 1e-4 * 0.1  # of the largest displacement
    assert np.log2(rough[1] / fine[1]) == pytest.approx(2.0, abs=0.15)
