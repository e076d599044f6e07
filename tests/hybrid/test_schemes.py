"""One-measurement schemes: published numbers, order, high-frequency damping, and the refusal of soft operators."""

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.hybrid.chang import Chang
from frame2d.hybrid.computed import Computed, Declared, MatrixSolver
from frame2d.hybrid.kr_alpha import KRAlpha
from frame2d.hybrid.linearly_implicit import LinearlyImplicit
from frame2d.hybrid.margin import loop_matrix
from frame2d.hybrid.operator_splitting import OperatorSplitting
from frame2d.hybrid.scheme import State, Stepper, check_operator

SCHEMES = [
    OperatorSplitting(),
    OperatorSplitting(-0.1),
    LinearlyImplicit(0.8),
    Chang(),
    KRAlpha(0.8),
    KRAlpha(1.0),
]
ONE = np.ones((1, 1))


def free_vibration(scheme, dt, end=1.0, zeta=0.05):
    omega = 2.0 * np.pi
    stepper = Stepper(scheme, ONE, 2.0 * zeta * omega * ONE, omega**2 * ONE, dt)
    zero = np.zeros(1)
    state = stepper.start(np.ones(1), zero, omega**2 * np.ones(1), zero)
    for _ in range(round(end / dt)):
        predicted = stepper.predict(state)
        state = stepper.correct(state, predicted, omega**2 * predicted, zero)
    return state.u[0]


@pytest.mark.parametrize(
    ("scheme", "expected"),
    [
        (OperatorSplitting(), [0.73254022469, 0.73089692914, 0.73014687107]),
        (OperatorSplitting(-0.1), [0.73189721901, 0.73100733657, 0.73016434672]),
        (LinearlyImplicit(0.8), [0.73255471627, 0.73093411873, 0.73015020934]),
    ],
)
def test_linear_answers_are_those_of_the_implicit_schemes(scheme, expected):
    """With the true stiffness in the operator the schemes equal average acceleration, HHT and generalized-alpha."""
    for dt, value in zip([0.05, 0.025, 0.00625], expected, strict=True):
        assert free_vibration(scheme, dt) == pytest.approx(value, abs=1e-8)


@pytest.mark.parametrize("scheme", SCHEMES, ids=str)
def test_order_is_two(scheme):
    """Halving the step quarters the error against the exact damped vibration."""
    exact = 0.730092771072
    errors = [abs(free_vibration(scheme, dt) - exact) for dt in (0.0125, 0.00625, 0.003125)]
    assert np.log2(errors[1] / errors[2]) == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("rho", [1.0, 0.8, 0.5, 0.0])
@pytest.mark.parametrize("kind", [LinearlyImplicit, KRAlpha])
def test_high_frequency_radius_is_the_parameter(kind, rho):
    """The spectral radius at a very large step is the scheme's rho."""
    k = 1e6 * ONE
    stepper = Stepper(kind(rho), ONE, 0.0 * ONE, k, 1.0)
    # The eigenvalue −1·rho is repeated, which costs half of the digits.
    matrix = loop_matrix(stepper, k, ONE, 0.0 * ONE)
    roots = np.linalg.eigvals(matrix)
    assert np.abs(roots).max() == pytest.approx(rho, abs=0.02)


@pytest.mark.parametrize(
    ("explicit", "implicit"),
    [
        (Chang(), OperatorSplitting()),
        (KRAlpha(0.8), LinearlyImplicit(0.8)),
        (KRAlpha(0.3), LinearlyImplicit(0.3)),
    ],
    ids=str,
)
@pytest.mark.parametrize("dt", [0.01, 0.1, 1.0])
def test_model_based_schemes_have_the_poles_of_the_implicit_ones(explicit, implicit, dt):
    """Chang has the poles of average acceleration and KR-alpha those of generalized-alpha, of a frame of two freedoms
    with damping that couples its modes: this fixes all their matrices, the order of their factors included."""
    M, C = np.diag([2.0, 1.0]), np.array([[3.0, -0.5], [-0.5, 0.2]])
    K = np.array([[300.0, -100.0], [-100.0, 100.0]])

    def characteristic(scheme):
        roots = np.linalg.eigvals(loop_matrix(Stepper(scheme, M, C, K, dt), K, np.eye(2), 0.0 * K))
        return np.poly(roots[np.argsort(-np.abs(roots))][:6])

    assert characteristic(explicit) == pytest.approx(characteristic(implicit), abs=1e-9)


@pytest.mark.parametrize("scheme", SCHEMES, ids=str)
def test_stable_for_every_softer_specimen(scheme):
    """The loop stays stable for any step while the specimen is not stiffer than the operator."""
    for dt in (0.01, 0.3, 10.0):
        for ratio in (1.0, 0.6, 0.1):
            stepper = Stepper(scheme, ONE, 0.01 * ONE, 40.0 * ONE, dt)
            matrix = loop_matrix(stepper, 20.0 * ONE * ratio, ONE, 20.0 * ONE * ratio)
            assert np.abs(np.linalg.eigvals(matrix)).max() <= 1.0 + 1e-7


@pytest.mark.parametrize("scheme", SCHEMES, ids=str)
def test_a_much_stiffer_specimen_breaks_every_scheme(scheme):
    """Nine times the operator's stiffness and a large step diverge: the refusal has a reason."""
    stepper = Stepper(scheme, ONE, 0.0 * ONE, 40.0 * ONE, 10.0)
    matrix = loop_matrix(stepper, 0.0 * ONE, ONE, 360.0 * ONE)
    assert np.abs(np.linalg.eigvals(matrix)).max() > 1.0


def test_soft_operator_is_refused_with_the_remedy():
    """A specimen stiffer than its operator is refused; the message names direction and factor."""
    operator, credible = np.diag([2e7, 1e7]), np.diag([1.5e7, 1.3e7])
    with pytest.raises(InputError, match="multiply the specimen's operator stiffness by"):
        check_operator(operator, credible)
    assert check_operator(1.4 * operator, credible) > 0.0


def test_inertia_felt_by_the_load_cell_is_counted_once():
    """Declared mass and damping leave the computed part as the time scale falls to 1, and only then."""
    zero = np.zeros((1, 1))
    part = Computed(10.0 * ONE, 2.0 * ONE, 100.0 * ONE, ONE)
    load = np.zeros((3, 1))

    def matrices(felt, scale):
        tested = Declared(50.0 * ONE, 40.0 * ONE, 4.0 * ONE, 1.0 * ONE, felt)
        solver = MatrixSolver(part, tested, Chang(), load, 0.01, scale)
        return solver.M[0, 0], solver.C[0, 0]

    assert matrices(False, 1.0) == (14.0, 3.0)
    assert matrices(True, 1.0) == (10.0, 2.0)
    assert matrices(True, 2.0) == (13.0, 2.5)
    assert zero.shape == (1, 1)


def test_a_freedom_without_mass_is_refused():
    """A singular scheme matrix is an input error, not a NaN."""
    with pytest.raises(InputError, match="singular"):
        Stepper(KRAlpha(0.8), np.diag([1.0, 0.0]), np.zeros((2, 2)), np.eye(2), 0.01)
    assert State._fields == ("u", "v", "a", "r", "p")
