"""Substructuring cases: reduction of a chain, partitioned time integration."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.linalg import expm

from benchmarks.checks.building import shear_building
from benchmarks.textbook import Answers
from frame2d import modes, newmark
from frame2d.analysis import StiffnessMass
from frame2d.analysis.reduction import couple, craig_bampton, guyan
from frame2d.substructure import coupled_history, parts_of, split

MASS, SPRING = 1000.0, 1e6


def chain(springs: int, masses: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness and mass of masses in a row joined by equal springs; with as many springs the first is grounded."""
    size = len(masses)
    K = np.zeros((size, size))
    for spring in range(springs):
        i = spring - (springs - size) - 1
        K[i + 1, i + 1] += SPRING
        if i >= 0:
            K[i, i] += SPRING
            K[i, i + 1] -= SPRING
            K[i + 1, i] -= SPRING
    return K, np.diag(masses)


def su_1() -> Answers:
    """Chain of eight masses: full model, Guyan, Craig-Bampton with one and with two modes a component."""
    system = shear_building([MASS] * 8, [SPRING] * 8).compile()
    omega = modes(system, count=4).omega
    answers: Answers = {f"w{number}": float(omega[number - 1]) for number in range(1, 5)}
    K, M = chain(8, [MASS] * 8)
    reduced = guyan(K, M, [3, 7])
    for i, j in ((0, 0), (0, 1), (1, 1)):
        answers[f"a_K{i + 1}{j + 1}"] = float(reduced.stiffness[i, j])
        answers[f"a_M{i + 1}{j + 1}"] = float(reduced.mass[i, j])
    for number, value in enumerate(reduced.frequencies(), 1):
        answers[f"a_w{number}"] = float(value)
    answers["a_u4"], answers["a_u8"] = (float(u) for u in np.linalg.solve(reduced.stiffness, [0.0, 1000.0]))
    # Mass 4 belongs to component A.
    lower, upper = chain(4, [MASS] * 4), chain(4, [0.0] + [MASS] * 4)
    for part, count, wanted in (("b", 1, 3), ("c", 2, 4)):
        joined = couple([craig_bampton(*lower, [3], count), craig_bampton(*upper, [0], count)], [[0], [0]])
        for number, value in enumerate(joined.frequencies()[:wanted], 1):
            answers[f"{part}_w{number}"] = float(value)
    return answers


def su_2() -> Answers:
    """A mass and a chain, each divided in two parts that are integrated with multipliers."""
    return oscillator_in_parts() | chain_in_parts()


def oscillator_in_parts() -> Answers:
    """Two columns hold one mass, of which 600 kg belong to the first and 400 kg to the second."""
    frame = shear_building([1000.0], [2e4])
    second = shear_building([400.0], [1e4]).members["storey 1"].member
    frame.member("second", "0", "1", second)
    cut = split(frame, ["second"], tested_share={"1": 0.4})
    # Both dampers are 0.01 s of their springs.
    parts = parts_of(cut, 0.01, scheme=newmark(), damping=StiffnessMass(a1=0.01))
    coupled = coupled_history(
        [
            replace(part, initial_velocity={("1", "ux"): 0.1}, initial_displacement={("1", "ux"): 0.01})
            for part in parts
        ],
        1.0,
    )
    response = coupled.responses["computed"]
    u, v = response.displacement("1"), response.velocity("1")
    rate = np.array([[0.0, 1.0], [-30.0, -0.3]])
    answers: Answers = {}
    for instant, step in (("0.5", 50), ("1.0", 100)):
        answers[f"a_u{instant}"], answers[f"a_v{instant}"] = float(u[step]), float(v[step])
        answers[f"a_L{instant}"] = float(coupled.multipliers[step, 0])
        answers[f"a_ex{instant}"] = float((expm(rate * float(instant)) @ [0.01, 0.1])[0])
    return answers


def chain_in_parts() -> Answers:
    """Three masses in a row, cut at the second, which is halved."""
    masses, springs, dt = [4000.0, 3000.0, 2000.0], [4e6, 3e6, 2e6], 0.01
    cut = split(shear_building(masses, springs), ["storey 3"], tested_share={"2": 0.5})
    force = 1e4 * np.sin(10.0 * dt * np.arange(101))
    parts = parts_of(cut, dt, scheme=newmark(), damping=StiffnessMass(a1=0.002), forces={("3", "ux"): force})
    coupled = coupled_history(parts, 1.0)
    lower, upper = (coupled.responses[part] for part in ("computed", "tested"))
    moved = [lower.displacement("1"), lower.displacement("2"), upper.displacement("3")]
    exact = exact_chain(masses, springs, force, dt)
    answers: Answers = {}
    for instant, step in (("0.5", 50), ("1.0", 100)):
        answers |= {f"b_u{k}_{instant}": float(u[step]) for k, u in enumerate(moved, 1)}
        answers[f"b_L{instant}"] = float(coupled.multipliers[step, 0])
        answers[f"b_ex3_{instant}"] = float(exact[step])
    return answers


def exact_chain(masses: list[float], springs: list[float], force: np.ndarray, dt: float) -> np.ndarray:
    """Displacement of the last mass by the matrix exponential, its force linear between samples."""
    n = len(masses)
    K = np.zeros((n, n))
    for i, k in enumerate(springs):
        K[i, i] += k
        if i:
            K[i - 1, i - 1] += k
            K[i - 1, i] -= k
            K[i, i - 1] -= k
    M, C = np.diag(masses), 0.002 * K
    # States u, v, the force and its slope.
    rate = np.zeros((2 * n + 2, 2 * n + 2))
    rate[:n, n : 2 * n] = np.eye(n)
    rate[n : 2 * n, :n], rate[n : 2 * n, n : 2 * n] = -np.linalg.solve(M, K), -np.linalg.solve(M, C)
    rate[2 * n - 1, 2 * n], rate[2 * n, 2 * n + 1] = 1.0 / masses[-1], 1.0
    step = expm(rate * dt)
    state, moved = np.zeros(2 * n + 2), [0.0]
    for now, then in pairwise(force):
        state[2 * n :] = now, (then - now) / dt
        state = step @ state
        moved.append(float(state[n - 1]))
    return np.array(moved)
