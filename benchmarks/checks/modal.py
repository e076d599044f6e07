"""Modal cases: single-span beams with distributed mass, shear building, portal with a heavy beam."""

import math

import numpy as np

from benchmarks.checks.building import chain, last, shear_building
from benchmarks.checks.statics import RIGID_AREA, portal
from benchmarks.textbook import Answers
from frame2d import BeamColumn, Frame, modes, static

#: Held components at both ends of a beam along x. The axial modes are kept out by holding every ux.
BEAMS = {
    "pp": (("ux", "uy"), ("ux", "uy")),
    "cf": (("ux", "uy", "rz"), ("ux",)),
    "cc": (("ux", "uy", "rz"), ("ux", "uy", "rz")),
    "cp": (("ux", "uy", "rz"), ("ux", "uy")),
}


def _frequencies(ends: str, shear_area: float = 0.0, rotary: float = 0.0) -> np.ndarray:
    """First three bending frequencies (Hz) of a span of 5 m."""
    frame = Frame("beam")
    frame.node("a", 0.0, 0.0, support=BEAMS[ends][0])
    frame.node("b", 5.0, 0.0, support=BEAMS[ends][1])
    member = BeamColumn(
        E=200e9, A=6e-3, I=8e-5, shear_area=shear_area, mass_per_length=7850.0 * 6e-3, rotary=rotary
    )
    for node in chain(frame, "a", "b", 48 if shear_area else 24, member)[1:-1]:
        frame.support(node, ("ux",))
    return modes(frame.compile(), count=3).frequency


def mo_1() -> Answers:
    """Frequencies of single-span beams; beta L from ω = (βL)²·√(EI/(ρA·L⁴))."""
    answers: Answers = {}
    unit = math.sqrt(200e9 * 8e-5 / (7850.0 * 6e-3 * 5.0**4))
    for ends in BEAMS:
        for number, f in enumerate(_frequencies(ends), 1):
            answers[f"{ends}_f{number}"] = float(f)
            answers[f"{ends}_b{number}"] = math.sqrt(2.0 * math.pi * float(f) / unit)
    for key, rotary in (("t0", 0.0), ("tr", 7850.0 * 8e-5)):
        for number, f in enumerate(_frequencies("pp", 2.5e-3, rotary), 1):
            answers[f"{key}_f{number}"] = float(f)
    return answers


def mo_2() -> Answers:
    """Uniform shear building of five storeys."""
    found = modes(shear_building([2e4] * 5, [2e7] * 5).compile(), count=5)
    answers: Answers = {"sum": float(found.effective_mass.sum())}
    for number in range(1, 6):
        answers[f"w{number}"] = float(found.omega[number - 1])
        answers[f"Me{number}"] = float(found.effective_mass[number - 1])
        answers[f"G{number}"] = found.normalised(number, "5")[1]
    return answers


def mo_3() -> Answers:
    """Sway frequency of portals with the mass at beam level; a rigid beam has a very large second moment."""
    answers: Answers = {}
    for key, beam, support in (("a", 1e3, "fixed"), ("b", 1.6e-4, "fixed"), ("c", 1.6e-4, "pinned")):
        frame = portal(
            BeamColumn(E=200e9, A=RIGID_AREA, I=8e-5), BeamColumn(E=200e9, A=RIGID_AREA, I=beam), support
        )
        frame.tie("ux", ["B", "C"])
        frame.lateral_mass("B", 10e3)
        frame.lateral_mass("C", 10e3)
        frame.load("B", fx=1.0, case="unit")
        system = frame.compile()
        answers[f"{key}_k"] = 1.0 / last(static(system, cases="unit"), "B")
        answers[f"{key}_f"] = float(modes(system, count=1).frequency[0])
    return answers
