"""Substructuring cases: reduction of a chain, partitioned time integration."""

from benchmarks.checks.building import shear_building
from benchmarks.textbook import Answers
from frame2d import modes

NO_REDUCTION = "no Guyan or Craig-Bampton reduction is offered yet"
NO_COUPLING = "no partitioned time integration is offered yet"


def su_1() -> Answers:
    """Chain of eight masses: the full model; the reductions are missing."""
    omega = modes(shear_building([1000.0] * 8, [1e6] * 8).compile(), count=4).omega
    answers: Answers = {f"w{number}": float(omega[number - 1]) for number in range(1, 5)}
    for key in ("K11", "M11", "K12", "M12", "K22", "M22", "w1", "w2", "u4", "u8"):
        answers[f"a_{key}"] = NO_REDUCTION
    for key in ("b_w1", "b_w2", "b_w3", "c_w1", "c_w2", "c_w3", "c_w4"):
        answers[key] = NO_REDUCTION
    return answers


def su_2() -> Answers:
    """Partitioned against monolithic integration."""
    raise NotImplementedError(NO_COUPLING)
