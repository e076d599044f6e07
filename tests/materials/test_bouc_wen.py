"""The Bouc-Wen law against closed forms, tabulated degrading and pinched paths, and adaptive integration."""

import math
import warnings
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from frame2d.errors import InputError
from frame2d.materials import BoucWen
from frame2d.materials.drive import drive

#: The link of HY-4: k = 1e7 N/m, zu = uy = 0.01 m, so that β·uyⁿ and γ·uyⁿ are the normalised numbers.
LINK = {"k": 1e7, "Fy": 1e5, "a": 0.05}


def path(turns: list[float], step: float) -> tuple[np.ndarray, list[int]]:
    """History in equal steps near `step`, and the indices of its turning points."""
    u, at = [np.array([turns[0]])], [0]
    for a, b in pairwise(turns):
        count = math.ceil(abs(b - a) / step - 1e-9)
        u.append(np.linspace(a, b, count + 1)[1:])
        at.append(at[-1] + count)
    return np.concatenate(u), at


def z_of(law: BoucWen, force: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Hysteretic state in metres, from the force."""
    return (force - law.a * law.k * u) / ((1.0 - law.a) * law.k)


@pytest.mark.parametrize(
    ("n", "expected"),
    [
        (1.0, [0.0039346934, 0.00632120559, 0.00950212932]),
        (2.0, [0.00462117157, 0.00761594156, 0.00995054754]),
    ],
)
def test_first_loading_has_a_closed_form(n: float, expected: list[float]) -> None:
    """z = zu(1 − e^(−u/zu)) for n = 1 and zu·tanh(u/zu) for n = 2 (HY-4 a, b)."""
    law = BoucWen(**LINK, n=n)
    u, at = path([0.0, 0.005, 0.01, 0.03], 1e-5)
    assert z_of(law, drive(law, u).force, u)[at[1:]] == pytest.approx(expected, rel=1e-6)


def test_steady_loop() -> None:
    """Forces and work of the steady loop between ±0.03 m, n = 2 (HY-4 b)."""
    law = BoucWen(**LINK, n=2.0)
    u, at = path([0.0, 0.03, -0.03, 0.03, -0.03, 0.03], 5e-6)
    loop = drive(law, u)
    assert loop.force[at[5]] == pytest.approx(109991.376, rel=1e-6)
    assert loop.force[(at[3] + at[4]) // 2] == pytest.approx(-91583.2293, rel=1e-6)
    assert loop.work[at[5]] - loop.work[at[3]] == pytest.approx(7233.4516, rel=1e-5)


def test_sharpness_that_is_no_integer() -> None:
    """z at the turning points and ∫z du for n = 1.5, β = 0.7, γ = 0.3 (HY-4 c)."""
    law = BoucWen(**LINK, n=1.5, beta=0.7)
    u, at = path([0.0, 0.03, -0.03, 0.03, 0.01, 0.03], 1e-5)
    loop = drive(law, u)
    expected = [0.0098452189, -0.00999373, 0.0099936291, -0.0075878222, 0.008133501]
    assert z_of(law, loop.force, u)[at[1:]] == pytest.approx(expected, rel=1e-5)
    assert loop.memory[1] * 0.01**2 == pytest.approx(0.0010589675, rel=1e-5)


def test_strength() -> None:
    """Pushed far, the hysteretic force is (1 − a)Fy (HY-4 d)."""
    law = BoucWen(**LINK, n=2.0)
    assert drive(law, np.linspace(0.0, 1.0, 2001)).force[-1] - 0.05e7 == pytest.approx(95000.0, rel=1e-9)


WEAR = {"k": 1.0, "Fy": 1.0, "n": 2.0, "delta_nu": 0.02, "delta_eta": 0.05}
HY5 = {
    "a": (
        {},
        [0.9528372, -0.9682426, 0.9450314, -0.9069756, 0.8649043, -0.8223827, 0.7962092],
        [1.315962, 3.08277, 6.520223, 11.41371, 17.53282, 24.67899, 26.33856],
    ),
    "b": (
        {"delta_A": 0.005},
        [0.9505734, -0.9619856, 0.9315552, -0.8840731, 0.8315376, -0.7782065, 0.7456221],
        [1.314454, 3.067965, 6.454502, 11.21601, 17.07578, 23.78992, 25.21085],
    ),
    "c": (
        {"zeta_s": 0.95, "q": 0.1, "p": 1.0, "psi": 0.2, "delta_psi": 0.005, "lam": 0.1},
        [0.952825, -0.966305, 0.9528788, -0.931188, 0.9072632, -0.8783097, 0.1367371],
        [1.315803, 2.880553, 5.224609, 7.774377, 11.20561, 15.40548, 14.93425],
    ),
}


@pytest.mark.parametrize("case", HY5)
def test_degrading_and_pinched_paths(case: str) -> None:
    """z and ε at every turning point of HY-5 (tolerance 1e-4)."""
    more, z, eps = HY5[case]
    law = BoucWen(**WEAR, **more)  # type: ignore[arg-type]
    memory, found = None, []
    for a, b in pairwise([0.0, 2.0, -2.0, 4.0, -4.0, 6.0, -6.0, 0.0]):
        memory = drive(law, np.linspace(a, b, 1501), memory=memory).memory
        found.append(memory[:2])
    assert np.array(found)[:, 0] == pytest.approx(z, rel=1e-4)
    assert np.array(found)[:, 1] == pytest.approx(eps, rel=1e-4)


def test_one_large_increment_is_divided() -> None:
    """An increment of six yield deformations in one step ends within 1 % of small steps."""
    for law in (BoucWen(**LINK), BoucWen.example(), BoucWen(**LINK, n=5.0), BoucWen(**LINK, beta=2.0)):
        turns = [0.0, 6.0 * law.uy, -5.0 * law.uy, 2.0 * law.uy]
        coarse = drive(law, np.array(turns)).force
        u, at = path(turns, 1e-3 * law.uy)
        fine = drive(law, u).force[at]
        assert coarse == pytest.approx(fine, abs=0.01 * np.abs(fine).max())


def test_the_force_is_continuous_in_the_increment() -> None:
    """Where the number of sub-steps changes, the force does not jump, and the tangent hardly."""
    for law in (BoucWen(**LINK), BoucWen.example()):
        memory = drive(law, np.array([0.0, 0.01, -0.01])).memory
        increments = np.linspace(0.0, 0.02, 4001)
        loops = [drive(law, np.array([-0.01 + step]), memory=memory) for step in increments]
        force = np.array([loop.force[0] for loop in loops])
        tangent = np.array([loop.tangent[0] for loop in loops])
        assert np.abs(np.diff(force)).max() <= 1.5 * law.k * increments[1]
        assert np.abs(np.diff(tangent)[1:]).max() <= 0.06 * law.k


def test_an_exhausted_law_keeps_a_hundredth_of_its_stiffness() -> None:
    """However far A degrades, the law answers, and a reversal meets a hundredth of the virgin stiffness."""
    law = BoucWen(k=1.0, Fy=1.0, delta_A=0.2, delta_nu=0.1)
    u, _ = path([0.0, *([8.0, -8.0] * 10)], 0.05)
    loop = drive(law, u)
    assert loop.memory[1] > 1.0 / 0.2
    assert np.all(np.isfinite(loop.force))
    reversal = drive(law, np.array([-7.999]), memory=loop.memory)
    assert 0.01 <= reversal.tangent[0] <= 0.02


def test_a_published_oscillator_can_be_expressed() -> None:
    """The hysteretic oscillator of Noël & Schoukens 2016 agrees with an adaptive integration.

    ż = αẏ − B(γ|ẏ||z|^(ν−1)z + δẏ|z|^ν) with α = 5e4, B = 1e3, γ = 0.8, δ = −1.1, ν = 1, beside k = 5e4: inadmissible.
    """
    uy = 1e-3  # any: it only scales z
    with pytest.warns(UserWarning, match="beta \\+ gamma = 1"):
        law = BoucWen(k=1e5, Fy=1e5 * uy, a=0.5, n=1.0, beta=0.8, gamma=-1.1, allow_inadmissible=True)
    t = np.linspace(0.0, 2.0, 20001)

    def y(time: np.ndarray | float) -> np.ndarray | float:
        return 1.2e-3 * np.sin(9.0 * time) * np.cos(2.0 * time)

    def rate(time: float, z: np.ndarray) -> np.ndarray:
        v = 1.2e-3 * (9.0 * np.cos(9 * time) * np.cos(2 * time) - 2.0 * np.sin(9 * time) * np.sin(2 * time))
        return 5e4 * v - 1e3 * (0.8 * abs(v) * z - 1.1 * v * np.abs(z))

    exact = solve_ivp(rate, (0.0, 2.0), [0.0], t_eval=t, rtol=1e-9, atol=1e-9, max_step=1e-3)
    force = drive(law, np.asarray(y(t))).force
    assert force == pytest.approx(5e4 * np.asarray(y(t)) + exact.y[0], abs=1e-4 * np.abs(force).max())


def test_values_for_z_in_metres_are_refused() -> None:
    """β = γ = 5000 belongs to z in metres: the message says so."""
    with pytest.raises(InputError, match=r"BoucWen\.beta is 5000\.0.*multiply by uy"):
        BoucWen(**LINK, beta=5000.0, gamma=5000.0)


def test_inadmissible_shapes_are_refused_and_can_be_forced() -> None:
    """γ > β is refused; with `allow_inadmissible` it is accepted with a warning."""
    with pytest.raises(InputError, match=r"-beta <= gamma <= beta"):
        BoucWen(**LINK, beta=0.4, gamma=0.6)
    with pytest.warns(UserWarning, match="energy may be created"):
        BoucWen(**LINK, beta=0.4, gamma=0.6, allow_inadmissible=True)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        BoucWen(**LINK, beta=3.0)


def test_unnormalised_parameters_are_the_same_law() -> None:
    """z in metres, with β·uyⁿ: only the bookkeeping differs."""
    with pytest.warns(UserWarning):
        metres = BoucWen(k=1e7, Fy=1e7, a=0.05, beta=6000.0, gamma=4000.0, allow_inadmissible=True)
    law = BoucWen(**LINK, beta=0.6)
    u, _ = path([0.0, 0.03, -0.02, 0.01], 1e-5)
    assert drive(metres, u).force == pytest.approx(drive(law, u).force, rel=1e-9, abs=1e-3)
