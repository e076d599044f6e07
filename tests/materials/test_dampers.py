"""Dampers: linear, power law, and in series with a spring."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from frame2d.errors import InputError
from frame2d.materials import Elastic, MaxwellDamper, PowerDamper, Series, ViscousDamper
from frame2d.materials.drive import drive


def test_linear_damper_dissipates_pi_c_omega_a_squared_a_cycle() -> None:
    """Energy a cycle of amplitude A at ω is π·c·ω·A² (Chopra, Dynamics of Structures, from memory)."""
    t = np.linspace(0.0, 2.0, 4001)
    u = 0.02 * np.sin(2.0 * np.pi * t)
    loop = drive(ViscousDamper(c=5e5), u, dt=t[1])
    assert loop.work[3000] - loop.work[1000] == pytest.approx(
        math.pi * 5e5 * 2.0 * math.pi * 0.02**2, rel=1e-4
    )


@pytest.mark.parametrize("alpha", [0.15, 0.5, 1.0, 2.0])
def test_power_law_above_the_regularised_range(alpha: float) -> None:
    """For |v| ≫ v₀ the force is c·|v|^α·sgn(v) to the stated relative difference ½(1 − α)(v₀/v)²."""
    law = PowerDamper(c=2e5, alpha=alpha, v0=1e-3)
    for v in (-0.5, 0.05, 2.0):
        force = drive(law, np.array([0.0, v, 2.0 * v]), dt=1.0).force[1]
        exact = math.copysign(2e5 * abs(v) ** alpha, v)
        assert force == pytest.approx(exact, rel=1.1 * 0.5 * abs(1.0 - alpha) * (1e-3 / v) ** 2 + 1e-12)


def test_power_law_is_a_linear_damper_at_rest() -> None:
    """For |v| ≪ v₀ the force is c·v₀^(α − 1)·v."""
    law = PowerDamper(c=2e5, alpha=0.3, v0=1e-3)
    v = 1e-6
    assert drive(law, np.array([0.0, v, 2.0 * v]), dt=1.0).force[1] == pytest.approx(
        2e5 * 1e-3**-0.7 * v, rel=1e-5
    )


def test_linear_maxwell_damper_in_a_steady_cycle() -> None:
    """Amplitude and loss are those of the complex stiffness iωck/(k + iωc)."""
    k, c, omega = 5e7, 4e6, 2.0 * math.pi
    t = np.linspace(0.0, 4.0, 8001)
    loop = drive(MaxwellDamper(k=k, c=c), 0.01 * np.sin(omega * t), dt=t[1])
    stiffness = 1j * omega * c * k / (k + 1j * omega * c)
    assert np.abs(loop.force[-2001:]).max() == pytest.approx(0.01 * abs(stiffness), rel=1e-5)
    assert loop.work[-1] - loop.work[-2001] == pytest.approx(math.pi * stiffness.imag * 0.01**2, rel=1e-4)


@pytest.mark.parametrize("alpha", [0.3, 1.0, 1.8])
def test_maxwell_damper_is_second_order_accurate(alpha: float) -> None:
    """Halving the step quarters the error against an adaptive integration."""
    k, c = 5e7, 8e5

    def rate(t: float, F: np.ndarray) -> np.ndarray:
        v = 0.02 * 5.0 * math.cos(5.0 * t) + 0.01 * 2.0 * math.cos(2.0 * t)
        return k * (v - np.sign(F) * (np.abs(F) / c) ** (1.0 / alpha))

    # It starts from rest at a time at which the rate is zero.
    exact = solve_ivp(rate, (0.0, 1.0), [0.0], method="Radau", rtol=1e-10, atol=1e-4, max_step=2e-3).y[0, -1]
    errors = []
    for steps in (1000, 2000, 4000):
        t = np.linspace(0.0, 1.0, steps + 1)
        u = 0.02 * np.sin(5.0 * t) + 0.01 * np.sin(2.0 * t)
        errors.append(abs(drive(MaxwellDamper(k=k, c=c, alpha=alpha), u, dt=t[1]).force[-1] - exact))
    assert errors[-1] < 1e-4 * abs(exact)
    assert np.log2(errors[0] / errors[1]) > 1.7 or errors[1] < 1e-8 * abs(exact)


def test_maxwell_damper_never_creates_energy_for_any_step() -> None:
    """Trapezoidal work less the energy of the spring never falls, for steps far beyond the relaxation time."""
    u = 0.02 * np.random.default_rng(3).uniform(-1.0, 1.0, 400)
    for alpha in (0.2, 1.0, 2.0):
        for dt in (1e-4, 1e-2, 1.0):
            loop = drive(MaxwellDamper(k=5e7, c=2e5, alpha=alpha), u, dt=dt)
            dissipated = loop.work - loop.recoverable
            assert np.diff(dissipated).min() >= -1e-9 * np.abs(loop.work).max()


def test_a_static_analysis_finds_the_damper_relaxed() -> None:
    """Without time there is no damper force."""
    assert drive(MaxwellDamper(k=5e7, c=2e5), np.array([0.0, 0.01, 0.02])).force == pytest.approx(np.zeros(3))


def test_a_spring_and_a_damper_in_series_are_the_maxwell_damper() -> None:
    """The general composition gives the same loop, in either order."""
    t = np.linspace(0.0, 2.0, 2001)
    u = 0.01 * np.sin(4.0 * t) ** 2
    expected = drive(MaxwellDamper(k=5e7, c=4e6), u, dt=t[1]).force
    for laws in ((Elastic(5e7), ViscousDamper(4e6)), (ViscousDamper(4e6), Elastic(5e7))):
        assert drive(Series(laws), u, dt=t[1]).force == pytest.approx(
            expected, abs=2e-3 * np.abs(expected).max()
        )


def test_bad_exponents_are_refused() -> None:
    """Zero exponents, and α < 1 without regularisation, raise `InputError`."""
    with pytest.raises(InputError, match="alpha"):
        PowerDamper(c=1e5, alpha=0.0)
    with pytest.raises(InputError, match="v0"):
        PowerDamper(c=1e5, alpha=0.5, v0=0.0)
    with pytest.raises(InputError, match="alpha"):
        MaxwellDamper(k=1e7, c=1e5, alpha=0.01)
    assert PowerDamper(c=1e5, alpha=2.0, v0=0.0).stiffness == 0.0
