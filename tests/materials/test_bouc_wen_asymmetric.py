"""The asymmetric Bouc-Wen law: six slopes, the symmetric law as a special case, adaptive integration."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from frame2d.errors import InputError
from frame2d.materials import BoucWen, BoucWenAsymmetric
from frame2d.materials.drive import drive

PSI = (0.7, -0.3, 0.9, 1.2, -0.1, 0.8)


def test_phases_have_the_slopes_that_were_asked_for() -> None:
    """`from_phases` gives ψ of the six phases."""
    law = BoucWenAsymmetric.from_phases(1e7, 1e5, 0.03, 1.5, PSI)
    signs = ((1, 1, 1), (1, -1, 1), (1, -1, -1), (-1, -1, -1), (-1, 1, -1), (-1, 1, 1))
    assert [law.psi(*phase) for phase in signs] == pytest.approx(PSI)


def test_strengths_differ() -> None:
    """Pushed far to either side, |z| is ψ^(−1/n) of phases 1 and 4."""
    law = BoucWenAsymmetric.from_phases(1.0, 1.0, 0.0, 1.5, PSI)
    assert drive(law, np.linspace(0.0, 40.0, 2001)).force[-1] == pytest.approx(0.7 ** (-1 / 1.5), rel=1e-6)
    assert drive(law, np.linspace(0.0, -40.0, 2001)).force[-1] == pytest.approx(
        -(1.2 ** (-1 / 1.5)), rel=1e-6
    )


def test_the_symmetric_law_is_a_special_case() -> None:
    """β₁ = β + γ, β₂ = −γ, β₃ = γ is the Bouc-Wen law with β, γ."""
    for n in (1.0, 2.0, 2.5):
        one = BoucWen(k=1.0, Fy=1.0, a=0.02, n=n, beta=0.6)
        other = BoucWenAsymmetric(1.0, 1.0, 0.02, n, 1.0, -0.4, 0.4, 0.0, 0.0, 0.0)
        turns = (0.0, 2.0, -1.0, 0.5, -3.0, 4.0)
        u = np.concatenate([np.linspace(a, b, 4001)[1:] for a, b in pairwise(turns)])
        assert drive(other, u).force == pytest.approx(drive(one, u).force, abs=5e-6)


@pytest.mark.parametrize("n", [1.0, 1.5, 2.0])
def test_an_adaptive_integration_agrees(n: float) -> None:
    """Integrated piece by piece between its kinks, the equation gives the forces of the law."""
    law = BoucWenAsymmetric.from_phases(1.0, 1.0, 0.0, n, PSI)
    turns = (0.0, 2.5, -1.0, 0.5, -3.0, 1.0)
    z, found = 0.0, []
    for a, b in pairwise(turns):
        stops = [a, 0.0, b] if a * b < 0.0 else [a, b]
        for start, stop in pairwise(stops):
            x = 1 if start + stop > 0.0 else -1
            way = 1 if stop > start else -1

            def slope(_: float, s: np.ndarray, x: int = x, way: int = way) -> np.ndarray:
                return 1.0 - np.abs(s) ** n * law.psi(x, way, 1 if s[0] > 0.0 else -1)

            z = float(solve_ivp(slope, (start, stop), [z], rtol=1e-9, atol=1e-11, max_step=0.02).y[0, -1])
        found.append(z)
    u = np.concatenate([[0.0], *(np.linspace(a, b, 4001)[1:] for a, b in pairwise(turns))])
    assert drive(law, u).force[4000::4000] == pytest.approx(found, abs=1e-6)


def test_psi_of_the_wrong_sign_is_refused() -> None:
    """Unloading softer than the elastic springs allow is named; it can be forced with a warning."""
    with pytest.raises(InputError, match=r"beta6.*signs -1, \+1, -1"):
        BoucWenAsymmetric.from_phases(1e7, 1e5, 0.03, 1.5, (0.7, -0.3, 0.9, 1.2, 0.4, 0.8))
    with pytest.warns(UserWarning, match="energy may be created"):
        BoucWenAsymmetric.from_phases(1e7, 1e5, 0.03, 1.5, (0.7, -0.3, 0.9, 1.2, 0.4, 0.8), True)


def test_six_values_are_needed() -> None:
    """Another number of phases is refused."""
    with pytest.raises(InputError, match="has 5 values; allowed: 6"):
        BoucWenAsymmetric.from_phases(1e7, 1e5, 0.03, 1.5, PSI[:5])
