"""Substructuring cases: reduction of a chain, partitioned time integration."""

import numpy as np

from benchmarks.checks.building import shear_building
from benchmarks.textbook import Answers
from frame2d import modes
from frame2d.analysis.reduction import couple, craig_bampton, guyan

NO_COUPLING = "no partitioned time integration is offered yet"
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
    """Partitioned against monolithic integration."""
    raise NotImplementedError(NO_COUPLING)
