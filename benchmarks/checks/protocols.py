"""Loading protocols: amplitudes, numbers of cycles and travel."""

from benchmarks.textbook import Answers
from frame2d.component_tests import aisc341_beam_column, eccs45, fema461
from frame2d.units import mm


def lp_1() -> Answers:
    """Three protocols; lengths in mm as tabulated."""
    eccs = eccs45(10.0 * mm)
    fema, longer = fema461(100.0 * mm), fema461(100.0 * mm, further=2)
    drift, further = aisc341_beam_column(), aisc341_beam_column(0.05)
    answers: Answers = {
        "a_n": float(eccs.cycles),
        "a_path": eccs.travel / mm,
        "a_13": float(eccs.amplitudes[12]) / mm,
        "a_max": eccs.largest / mm,
        "b_path": fema.travel / mm,
        "c_n": float(drift.cycles),
        "c_path": drift.travel,
        "c_23": float(drift.amplitudes[22]),
        "c_31": float(further.amplitudes[30]),
    }
    for number, step in enumerate(longer.steps, 1):
        answers[f"b_{number}"] = step.up / mm
    return answers
