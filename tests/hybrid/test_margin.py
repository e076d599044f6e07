"""Delay: its compensation, the predicted margin, and the test loop that shows it."""

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.hybrid import (
    CHECKS,
    Actuator,
    AdaptiveSeries,
    Chang,
    Command,
    Computed,
    Controller,
    Declared,
    HybridTest,
    KRAlpha,
    Limits,
    LinearlyImplicit,
    MatrixSolver,
    Model,
    OperatorSplitting,
    Reading,
    Rig,
    Specimen,
    Unattended,
    first_estimate,
    inverse_model,
    loop_margin,
    polynomial,
)
from frame2d.hybrid.actuator import loop_lag
from frame2d.hybrid.scheme import Stepper
from frame2d.hybrid.virtual import virtual_test
from frame2d.materials import Elastic

ONE = np.ones((1, 1))
OMEGA = 2.0 * np.pi
DT = 0.002
LIMITS = Limits((-10.0, 10.0), 1e9, 1e4, 10.0, 10.0, energy=1e9, energy_warning=1e9, flat_force=0)


class Delayed(Specimen):
    """An elastic spring that is where the piecewise linear command was `lag` seconds ago."""

    def __init__(self, stiffness, lag):
        super().__init__(1)
        self.k, self.lag = stiffness, lag
        self.path = [0.0]
        self.here = Reading(np.zeros(1), np.zeros(1))

    def apply(self, command):
        self.path.append(float(command.displacement[0]))
        at = len(self.path) - 1 - self.lag / command.duration
        u = np.interp(at, np.arange(len(self.path)), self.path) * np.ones(1)
        self.last_sequence = command.sequence
        self.here = Reading(u, self.k * u)
        return self.here

    def read(self):
        return self.here


@pytest.mark.parametrize(("lag", "damping"), [(0.004, 0.0074), (0.0064, -0.0001), (0.010, -0.0114)])
def test_first_estimate_of_a_fully_tested_structure(lag, damping):
    """T = 1 s and ζ = 2 %: lags of 4, 6.4, 10 ms leave +0.74, 0.0, −1.1 % (Horiuchi et al. 1999)."""
    omega, zeta = first_estimate(ONE, 0.04 * OMEGA * ONE, OMEGA**2 * ONE, OMEGA**2 * ONE, lag)
    assert omega[0] == pytest.approx(OMEGA)
    assert zeta[0] == pytest.approx(damping, abs=1e-4)


def test_a_slow_test_still_loses_damping_in_high_modes():
    """20 ms at λ = 100 take 1.3 % from a mode of 20 Hz."""
    w = 2.0 * np.pi * 20.0
    _, zeta = first_estimate(ONE, 0.0 * ONE, w**2 * ONE, w**2 * ONE, 0.02, 100.0)
    assert zeta[0] == pytest.approx(-0.0126, abs=1e-4)


SCHEMES = [OperatorSplitting(), LinearlyImplicit(1.0), Chang(), KRAlpha(1.0)]


@pytest.mark.parametrize("scheme", SCHEMES, ids=str)
def test_the_eigenvalues_agree_with_the_first_estimate(scheme):
    """For a small step the damping of the loop's root is the estimate's, and it decides stability."""
    for lag in (0.004, 0.010):
        stepper = Stepper(scheme, ONE, 0.04 * OMEGA * ONE, OMEGA**2 * ONE, DT)
        margin = loop_margin(stepper, 0.0 * ONE, ONE, OMEGA**2 * ONE, lag)
        _, zeta = first_estimate(ONE, 0.04 * OMEGA * ONE, OMEGA**2 * ONE, OMEGA**2 * ONE, lag)
        assert margin.damping[0] == pytest.approx(zeta[0], abs=3e-4)
        assert margin.stable == (zeta[0] > 0.0)


def ring(scheme, lag, compensation=None, steps=4000):
    load = np.zeros((steps + 1, 1))
    load[:20] = 1.0
    part = Computed(ONE, 0.04 * OMEGA * ONE, 0.0 * ONE, ONE)
    declared = Declared(OMEGA**2 * ONE, OMEGA**2 * ONE)

    def make(scale):
        return MatrixSolver(part, declared, scheme, load * scale, DT)

    test = HybridTest(
        make, Delayed(OMEGA**2, lag), LIMITS, Unattended(True), None, make_compensation=compensation
    )
    return test.run(CHECKS).target[:, 0]


def growth(u):
    """Damping ratio of the ringing, from the root-mean-square of two spans of 2 s (two periods)."""
    n = round(2.0 / DT)
    early, late = np.sqrt((u[n : 2 * n] ** 2).mean()), np.sqrt((u[3 * n : 4 * n] ** 2).mean())
    return -np.log(late / early) / (OMEGA * 4.0)


@pytest.mark.parametrize("scheme", SCHEMES, ids=str)
@pytest.mark.parametrize("lag", [0.004, 0.010])
def test_the_simulated_loop_rings_as_predicted(scheme, lag):
    """The test loop itself decays or grows at the predicted rate."""
    stepper = Stepper(scheme, ONE, 0.04 * OMEGA * ONE, OMEGA**2 * ONE, DT)
    margin = loop_margin(stepper, 0.0 * ONE, ONE, OMEGA**2 * ONE, lag)
    assert growth(ring(scheme, lag)) == pytest.approx(margin.damping[0], abs=2e-4)


def test_the_cubic_extrapolation_has_the_published_weights():
    """A lag of one step needs 4, −6, 4, −1 (Horiuchi et al. 1999); weights of any lag reproduce cubics."""
    assert polynomial(3, DT, DT).weights.tolist() == [4.0, -6.0, 4.0, -1.0]
    assert polynomial(1, DT, DT).weights.tolist() == [2.0, -1.0]
    t = -DT * np.arange(4)
    assert polynomial(3, 0.7 * DT, DT).weights @ t**3 == pytest.approx((0.7 * DT) ** 3)


@pytest.mark.parametrize(
    "make",
    [
        lambda: polynomial(2, 0.01, 0.01),
        lambda: polynomial(3, 0.01, 0.01),
        lambda: inverse_model(0.01, 5e-5, 0.01),
    ],
)
def test_compensation_brings_back_the_damping(make):
    """With the lag compensated the unstable loop of 10 ms is stable again, as predicted and as simulated."""
    global DT
    before, DT = DT, 0.01
    try:
        stepper = Stepper(Chang(), ONE, 0.04 * OMEGA * ONE, OMEGA**2 * ONE, DT)
        margin = loop_margin(stepper, 0.0 * ONE, ONE, OMEGA**2 * ONE, 0.01, make().weights)
        assert margin.stable and margin.damping[0] == pytest.approx(0.02, abs=1.5e-3)
        assert growth(ring(Chang(), 0.01, make, 900)) == pytest.approx(margin.damping[0], abs=3e-4)
    finally:
        DT = before


def test_prediction_shows_that_extrapolation_can_excite_a_high_mode():
    """Cubic extrapolation, harmless for the first mode, is found unstable with a stiff tested mode."""
    w = 2.0 * np.pi * 40.0
    stepper = Stepper(OperatorSplitting(), ONE, 0.04 * w * ONE, w**2 * ONE, 0.01)
    assert not loop_margin(
        stepper, 0.0 * ONE, ONE, w**2 * ONE, 0.01, polynomial(3, 0.01, 0.01).weights
    ).stable


def test_a_first_order_rig_is_predicted_too():
    """The lag of a first-order rig with time constant T acts like a delay of T for slow motion."""
    stepper = Stepper(Chang(), ONE, 0.04 * OMEGA * ONE, OMEGA**2 * ONE, DT)
    lagged = loop_margin(stepper, 0.0 * ONE, ONE, OMEGA**2 * ONE, 0.0, None, 0.004)
    delayed = loop_margin(stepper, 0.0 * ONE, ONE, OMEGA**2 * ONE, 0.004)
    assert lagged.damping[0] == pytest.approx(delayed.damping[0], abs=2e-4)
    both = loop_margin(stepper, 0.0 * ONE, ONE, OMEGA**2 * ONE, 0.003, None, 0.004)
    assert both.damping[0] == pytest.approx(0.02 - 0.5 * OMEGA * 0.007, abs=3e-4)


def test_the_adaptive_compensator_learns_a_wrong_lag():
    """Told half of the true lag, the adaptive series tracks better than the fixed inverse of the wrong model."""
    dt, lag = 0.005, 0.012
    t = np.arange(1, 4001) * dt
    target = 0.02 * np.sin(2 * np.pi * 0.8 * t) + 0.008 * np.sin(2 * np.pi * 2.1 * t)

    def tracking(compensator):
        rig, out = Delayed(1.0, lag), []
        for i, u in enumerate(target):
            reading = rig.apply(Command(i + 1, compensator.command(np.array([u])), dt))
            compensator.measured(reading.displacement)
            out.append(reading.displacement[0])
        error = np.array(out)[2000:] - target[2000:]
        return np.sqrt((error**2).mean())

    fixed = tracking(inverse_model(0.006, 0.5 * 0.006**2, dt))
    adaptive = tracking(AdaptiveSeries(0.006, dt))
    assert adaptive < 0.2 * fixed


def test_the_rig_lags_as_its_gain_says_and_feed_forward_removes_it():
    """A constant velocity is followed 1/(kp·v0) late without feed-forward, and on time with it."""
    a = Actuator(friction=0.0, leakage=0.0)
    late = []
    for kff in (0.0, 1.0 / a.no_load_velocity):
        rig = Rig(Elastic(1e3), a, Controller(kff=kff))
        for i in range(8):
            reading = rig.apply(Command(i + 1, np.array([0.005 * (i + 1)]), 0.25))
        late.append((0.04 - reading.displacement[0]) / 0.02)
    # One controller step passes before the feedback sees a command.
    assert late[0] == pytest.approx(1.0 / (250.0 * a.no_load_velocity), abs=0.0015)
    assert late[1] == pytest.approx(0.0, abs=0.0015)


def test_a_perfect_rig_gives_the_computed_answer():
    """With an exact in-process specimen the hybrid test equals the computation of the whole."""
    u = ring(OperatorSplitting(), 0.0)
    part = Computed(ONE, 0.04 * OMEGA * ONE, OMEGA**2 * ONE, ONE)
    load = np.zeros((4001, 1))
    load[:20] = 1.0
    solver = MatrixSolver(part, Declared(0.0 * ONE, 0.0 * ONE), OperatorSplitting(), load, DT)
    whole = []
    for _ in range(4000):
        whole.append(solver.predict()[0])
        solver.correct(np.zeros(1))
    assert u == pytest.approx(np.array(whole), abs=1e-12 * np.abs(u).max())
    assert isinstance(Model(Elastic(1.0)), Specimen)


def test_orders_and_lags_out_of_range_are_refused():
    """An extrapolation of order 4 or over many steps is a guess and is refused."""
    with pytest.raises(InputError, match="1, 2, 3"):
        polynomial(4, 0.01, 0.01)
    with pytest.raises(InputError, match="guess"):
        polynomial(2, 0.1, 0.01)


@pytest.mark.parametrize("kff_share", [0.0, 0.7])
def test_the_simulated_rig_rings_as_its_lag_predicts(kff_share):
    """At full speed a linear servo-hydraulic rig takes the damping that its closed-form lag predicts."""
    mass, dt = 1e5, 1.0 / 128.0
    stiffness = mass * OMEGA**2
    a = Actuator(friction=0.0, leakage=0.0)
    c = Controller(kff=kff_share / a.no_load_velocity)
    lag = loop_lag(a, c, stiffness)
    M, K, zero = mass * ONE, stiffness * ONE, 0.0 * ONE
    C = 0.2 * OMEGA * M
    margin = loop_margin(Stepper(KRAlpha(1.0), M, C, K, dt), zero, ONE, K, lag)
    load = np.zeros((513, 1))
    load[:10] = 2e5
    solver = MatrixSolver(Computed(M, C, zero, ONE), Declared(K, K), KRAlpha(1.0), load, dt)
    run = virtual_test(solver, Rig(Elastic(stiffness), a, c), LIMITS)
    u = run.target[:, 0]
    early, late = np.sqrt((u[128:256] ** 2).mean()), np.sqrt((u[384:512] ** 2).mean())
    found = -np.log(late / early) / (2.0 * margin.omega[0])
    assert lag > 0.005 and margin.damping[0] < 0.09
    assert found == pytest.approx(margin.damping[0], abs=4e-3)
