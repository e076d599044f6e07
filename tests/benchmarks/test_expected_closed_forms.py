"""Expected values of the textbook cases, derived again from first principles by numpy alone, without frame2d."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.optimize import brentq

ROWS = json.loads(
    (Path(__file__).parents[2] / "benchmarks" / "checks" / "expected.json").read_text(encoding="utf-8")
)
#: Of most cases: E, the column and the beam of the portal, its height and span.
E, IC, IB, H, L = 200e9, 8e-5, 1.6e-4, 4.0, 6.0


def check(case: str, **derived: float) -> None:
    """Each derived value against the expected one; these are given to six digits or more."""
    expected = {row["key"]: row["expected"] for row in ROWS if row["case"] == case}
    for key, value in derived.items():
        assert value == pytest.approx(expected[key], rel=3e-6), (case, key)


def portal(clamped: bool) -> np.ndarray:
    """Axially rigid portal by slope-deflection: sway and the rotations of the corners."""
    kc, kb = E * IC / H, E * IB / L
    near, sway, shear = (
        (4.0 * kc, 6.0 * kc / H, 24.0 * kc / H**2) if clamped else (3.0 * kc, 3.0 * kc / H, 6.0 * kc / H**2)
    )
    corner = near + 4.0 * kb
    return np.array([[shear, -sway, -sway], [-sway, corner, 2.0 * kb], [-sway, 2.0 * kb, corner]])


def test_propped_cantilever() -> None:
    """LS-2: the roller closes the gap qL⁴/8EI = R·L³/3EI, so R = 3qL/8; deflections by integration."""
    q, EI = 20e3, E * IC
    R = 3.0 * q * L / 8.0
    top = brentq(lambda x: 8.0 * x**2 - 15.0 * L * x + 6.0 * L**2, 0.0, L)

    def w(x: float) -> float:
        return q / (48.0 * EI) * (2.0 * x**4 - 5.0 * L * x**3 + 3.0 * L**2 * x**2)

    check("LS-2", R_roller=R, R_clamp=q * L - R, M_clamp=q * L**2 / 2.0 - R * L)
    check("LS-2", w_mid=w(L / 2.0), x_max=top, w_max=w(top), rot_roller=q * L**3 / (48.0 * EI))


def test_portal() -> None:
    """LS-3 with rigid axes and MO-3: slope-deflection of the portal, its rotations eliminated."""
    kc = E * IC / H
    u, left, _ = np.linalg.solve(portal(True), [50e3, 0.0, 0.0])
    check("LS-3", uB_rigid=u, MA_rigid=abs(2.0 * kc * left - 6.0 * kc * u / H))
    fixed = 15e3 * L**2 / 12.0
    _, left, _ = np.linalg.solve(portal(True), [0.0, -fixed, fixed])
    check("LS-3", MBq_rigid=4.0 * kc * abs(left), MAq_rigid=2.0 * kc * abs(left))
    found = {"a": 24.0 * kc / H**2}
    for key, clamped in (("b", True), ("c", False)):
        K = portal(clamped)
        found[key] = K[0, 0] - K[0, 1:] @ np.linalg.solve(K[1:, 1:], K[1:, 0])
    check("MO-3", **{f"{key}_k": k for key, k in found.items()})
    check("MO-3", **{f"{key}_f": np.sqrt(k / 20e3) / (2.0 * np.pi) for key, k in found.items()})


def test_rigid_ends_and_shear() -> None:
    """LS-4: the slope-deflection equations between the faces; LS-6: the flexibility of a cantilever, inverted."""
    a, b, clear = 0.40, 0.25, 5.35
    k = 30e9 * 3.125e-3 / clear
    for case, v, t in (("r", 0.0, 0.01), ("t", 0.01, 0.0)):
        chord = 6.0 * k / clear * (v + a * t)
        Mi, Mj = 4.0 * k * t + chord, 2.0 * k * t + chord
        V = (Mi + Mj) / clear
        check("LS-4", **{f"{case}_Vi": V, f"{case}_Mi": Mi + a * V, f"{case}_Mj": Mj + b * V})
    EI, GA, span = 210e9 * 3.6e-3, 210e9 / 2.6 * 0.1, 2.4
    flexible = [[span**3 / (3.0 * EI) + span / GA, span**2 / (2.0 * EI)], [span**2 / (2.0 * EI), span / EI]]
    V, M = np.linalg.solve(flexible, [5e-3, 0.0])
    check("LS-6", phi=12.0 * EI / (GA * span**2), s_V=V, s_M=abs(M))
    V, M = np.linalg.solve(flexible, [0.0, 1e-3])
    check("LS-6", r_V=abs(V), r_Mi=M, r_Mj=abs(V) * span - M)


def column(elements: int) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness and geometric matrix of a bar of unit length and EI in cubic elements: ∫N″N″ᵀ, ∫N′N′ᵀ."""
    h, size = 1.0 / elements, 2 * (elements + 1)
    points, weights = np.polynomial.legendre.leggauss(4)
    x, weights = 0.5 * (points + 1.0), 0.5 * h * weights
    slope = (
        np.array([-6 * x + 6 * x**2, h * (1 - 4 * x + 3 * x**2), 6 * x - 6 * x**2, h * (3 * x**2 - 2 * x)])
        / h
    )
    bend = np.array([12 * x - 6, h * (6 * x - 4), 6 - 12 * x, h * (6 * x - 2)]) / h**2
    K, G = np.zeros((size, size)), np.zeros((size, size))
    for n in range(elements):
        s = slice(2 * n, 2 * n + 4)
        K[s, s] += (bend * weights) @ bend.T
        G[s, s] += (slope * weights) @ slope.T
    return K, G


def test_euler_family() -> None:
    """ST-1: the root of tan x = x, and what one and two cubic elements give."""
    check("ST-1", cp_coef=brentq(lambda x: np.tan(x) - x, 4.4, 4.6) ** 2)
    for key, elements, held in (("one_cf", 1, (0, 1)), ("one_pp", 1, (0, 2)), ("two_pp", 2, (0, 4))):
        K, G = column(elements)
        free = np.ix_(*[[i for i in range(len(K)) if i not in held]] * 2)
        check("ST-1", **{key: eigh(K[free], G[free], eigvals_only=True)[0]})


def sway(load: float, Ic: float, Ib: float, span: float, clamped: bool) -> float:
    """Determinant of half a portal in sidesway, with the exact stiffness of a column under `load`."""
    b, k = np.sqrt(load / (E * Ic)) * H, E * Ic / H
    below = 2.0 - 2.0 * np.cos(b) - b * np.sin(b)
    s, sc = b * (np.sin(b) - b * np.cos(b)) / below, b * (b - np.sin(b)) / below
    across = -(s + sc) / H
    A = np.array([[s, sc, across], [sc, s, across], [across, across, (2.0 * (s + sc) - b * b) / H**2]])
    A[0, 0] += 6.0 * E * Ib / span / k
    return float(np.linalg.det(A[np.ix_([0, 2], [0, 2])] if clamped else A))


def test_sway_buckling() -> None:
    """ST-3: the determinant of columns with exact stability functions under an antisymmetric beam, 6EI/L."""
    unit = E * 1e-4 / H**2
    for key, clamped, low, high in (("p", False, 1.5, 2.5), ("f", True, 6.5, 9.0)):
        load = brentq(sway, low * E * IC / H**2, high * E * IC / H**2, (IC, IB, L, clamped))
        check("ST-3", **{f"{key}_P": load})
        load = brentq(sway, low * unit, high * unit, (1e-4, 1e-4, H, clamped))
        check("ST-3", **{f"{key}_coef": load / unit})


def test_mechanisms() -> None:
    """PL-1, PL-2 by virtual work and elastic moments before it; PL-4 by setting N = n·λ, M = m·λ in each condition."""
    Mp, EI = 120e3, 1.6e7
    first, last, r = 16.0 * Mp / (3.0 * L), 6.0 * Mp / L, np.sqrt(2.0) - 1.0
    w = 7.0 * first * L**3 / (768.0 * EI)
    check("PL-1", a_P1=first, a_w1=w, a_P2=last, a_w2=w + (last - first) * L**3 / (48.0 * EI))
    check("PL-1", b_P=8.0 * Mp / L, b_w=8.0 * Mp * L**2 / (192.0 * EI))
    check("PL-1", c_x=r * L, c_q=2.0 * Mp * (1.0 + r) / (r * (1.0 - r) * L**2))
    q = Mp / L**2
    check("PL-1", d_q1=12.0 * q, d_w1=12.0 * q * L**4 / (384.0 * EI), d_q2=16.0 * q)
    check("PL-1", d_w2=(12.0 + 5.0 * 4.0) * q * L**4 / (384.0 * EI))
    Mp = 100e3
    check("PL-2", a=8.0 * Mp / (100e3 * L), b=4.0 * Mp / (60e3 * H))
    check("PL-2", c=6.0 * Mp / (50e3 * H + 60e3 * L / 2.0), d=4.0 * Mp / (40e3 * H + 100e3 * L / 2.0))
    n, m = 0.5, 0.75
    check("PL-4", lam_lin=1.0 / (n + m), lam_par=(np.sqrt(m**2 + 4.0 * n**2) - m) / (2.0 * n**2))
    check("PL-4", lam_I=1.18 / (m + 1.18 * n), lam_EC=1.0 / (0.8 * m + n), lam_bil=1.0 / (n + 8.0 / 9.0 * m))


def test_bilinear_cycle() -> None:
    """HY-1: a parallelogram of width 2(um − uy) and height 2Fy(1 − b); ξ is its share of 4π·½F·u."""
    uy, um, Fy, b = 0.01, 0.03, 1e5, 0.05
    W, F = 4.0 * Fy * (1.0 - b) * (um - uy), Fy * (1.0 + b * (um / uy - 1.0))
    check("HY-1", W=W, F1=F, xi=W / (2.0 * np.pi * F * um))


def test_beam_frequencies() -> None:
    """MO-1: roots of cos·cosh = ∓1 and tan = tanh; sine waves of deflection and cosines of rotation with shear."""
    mass, EI, span = 7850.0 * 6e-3, E * IC, 5.0
    equations = {
        "cf": (lambda x: np.cos(x) + 1.0 / np.cosh(x), (1.9, 4.7, 7.85)),
        "cc": (lambda x: np.cos(x) - 1.0 / np.cosh(x), (4.73, 7.85, 11.0)),
        "cp": (lambda x: np.tan(x) - np.tanh(x), (3.93, 7.07, 10.21)),
    }
    for key, (equation, starts) in equations.items():
        for mode, start in enumerate(starts, 1):
            root = brentq(equation, start - 0.1, start + 0.1)
            f = root**2 / (2.0 * np.pi * span**2) * np.sqrt(EI / mass)
            check("MO-1", **{f"{key}_b{mode}": root, f"{key}_f{mode}": f})
    GA = E / 2.6 * 2.5e-3
    for mode in (1, 2, 3):
        k = mode * np.pi / span
        K = np.array([[GA * k**2, -GA * k], [-GA * k, EI * k**2 + GA]])
        plain = (K[0, 0] - K[0, 1] ** 2 / K[1, 1]) / mass
        rotary = eigh(K, np.diag([mass, 7850.0 * IC]), eigvals_only=True)[0]
        check("MO-1", **{f"t0_f{mode}": np.sqrt(plain) / (2.0 * np.pi)})
        check("MO-1", **{f"tr_f{mode}": np.sqrt(rotary) / (2.0 * np.pi)})


def test_uniform_chain() -> None:
    """MO-2: eigenvalues of the chain and its effective masses."""
    K = 2.0 * np.eye(5) - np.eye(5, k=1) - np.eye(5, k=-1)
    K[4, 4] = 1.0
    w2, U = np.linalg.eigh(K)
    for n in range(5):
        share = U[:, n].sum()
        check("MO-2", **{f"w{n + 1}": np.sqrt(1e3 * w2[n]), f"Me{n + 1}": 2e4 * share**2})
        check("MO-2", **{f"G{n + 1}": share * U[4, n]})


def test_suddenly_loaded_yielding_mass() -> None:
    """TR-3 a: the work F·um is all in R·(um − uy/2), so um/uy = 1/(2(1 − F/R))."""
    check("TR-3", a_mu=1.0 / (2.0 * 0.2), a_um=2.5 * 10.0 / (4.0 * np.pi**2))
