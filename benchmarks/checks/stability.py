"""Stability cases: linearised buckling and second-order (P-Delta) bending."""

import math

from benchmarks.checks.building import chain, last
from benchmarks.textbook import Answers
from frame2d import BeamColumn, Brace, Frame, buckling, static
from frame2d.materials import Elastic

AREA = 100.0
COLUMN = {"E": 200e9, "A": AREA, "I": 1e-5}

#: Held components at the foot and at the loaded head of a column along y.
ENDS = {
    "pp": (("ux", "uy"), ("ux",)),
    "cf": (("ux", "uy", "rz"), ()),
    "cp": (("ux", "uy", "rz"), ("ux",)),
    "cc": (("ux", "uy", "rz"), ("ux", "rz")),
    "cg": (("ux", "uy", "rz"), ("rz",)),
}


def _column(ends: str, length: float, count: int, geometry: str = "linear", I: float = 1e-5) -> Frame:  # noqa: E741
    """Column from "foot" to "head" in `count` elements."""
    foot, head = ENDS[ends]
    frame = Frame("column")
    frame.node("foot", 0.0, 0.0, support=foot)
    frame.node("head", 0.0, length, support=head)
    chain(frame, "foot", "head", count, BeamColumn(E=200e9, A=AREA, I=I, geometry=geometry))
    return frame


def _euler(ends: str, length: float, count: int) -> float:
    frame = _column(ends, length, count)
    frame.load("head", fy=-1e5)
    return float(buckling(frame.compile(), count=1)[0][0]) * 1e5


def st_1() -> Answers:
    """Euler family, eight elements a column, and the values of one and two elements."""
    unit = 5.0**2 / 2e6
    answers: Answers = {ends: _euler(ends, 5.0, 8) for ends in ENDS}
    answers["cp_coef"] = _euler("cp", 5.0, 8) * unit
    answers["one_cf"] = _euler("cf", 5.0, 1) * unit
    answers["one_pp"] = _euler("pp", 5.0, 1) * unit
    answers["two_pp"] = _euler("pp", 5.0, 2) * unit
    return answers


def st_2() -> Answers:
    """Beam-columns in second order, sixteen elements."""
    answers: Answers = {}
    euler = math.pi**2 * 2e6 / 25.0
    for key, sign in (("a", -1.0), ("b", 1.0)):
        frame = _column("pp", 5.0, 16, "p-delta")
        middle, member = "foot>head:8", "foot>head:7"
        frame.load("head", fy=sign * 0.4 * euler)
        frame.load(middle, fx=500.0)
        response = static(frame.compile(), steps=2)
        answers[f"{key}_w"] = last(response, middle)
        answers[f"{key}_M"] = abs(float(response.end_forces(member)["M_end"][-1]))
        if key == "a":
            answers["a_P"] = -float(response.end_forces(member)["N"][-1])
    frame = _column("cf", 4.0, 16, "p-delta")
    frame.load("head", fx=200.0, fy=-0.3 * math.pi**2 * 2e6 / 64.0)
    response = static(frame.compile(), steps=2)
    answers["c_P"] = float(response.reactions()["foot", "uy"][-1])
    answers["c_w"] = last(response, "head")
    answers["c_M"] = abs(float(response.reactions()["foot", "rz"][-1]))
    frame = Frame()
    frame.node("foot", 0.0, 0.0, support="fixed")
    frame.node("head", 0.0, 5.0, support=("ux", "rz"))
    chain(frame, "foot", "head", 32, BeamColumn(**COLUMN, geometry="p-delta"))
    frame.load("head", fy=-0.4 * euler)
    system = frame.compile()
    pressed = static(system)
    turned = static(system, pressed.state, cases={}, settlements={("foot", "rz"): 1e-4}).reactions()
    answers["d_S"] = float(turned["foot", "rz"][-1]) / 1e-4 * 5.0 / 2e6
    answers["d_SC"] = float(turned["head", "rz"][-1]) / 1e-4 * 5.0 / 2e6
    return answers


def _portal(support: str, span: float, I_beam: float) -> float:
    """Critical load per column of a portal 4 m high."""
    frame = Frame("portal")
    for side, x in (("left", 0.0), ("right", span)):
        frame.node(f"{side} foot", x, 0.0, support=support)
        frame.node(f"{side} head", x, 4.0)
        chain(frame, f"{side} foot", f"{side} head", 8, BeamColumn(E=200e9, A=AREA, I=8e-5))
        frame.load(f"{side} head", fy=-1e5)
    frame.member("beam", "left head", "right head", BeamColumn(E=200e9, A=AREA, I=I_beam))
    return float(buckling(frame.compile(), count=1)[0][0]) * 1e5


def st_3() -> Answers:
    """Sway buckling of portals."""
    unit = 16.0 / (200e9 * 8e-5)
    return {
        "p_P": _portal("pinned", 6.0, 1.6e-4),
        "f_P": _portal("fixed", 6.0, 1.6e-4),
        "p_coef": _portal("pinned", 4.0, 8e-5) * unit,
        "f_coef": _portal("fixed", 4.0, 8e-5) * unit,
    }


def _leaning(geometry: str, P1: float, P2: float, H: float) -> Frame:
    """Cantilever column with a pin-ended column leaning on it."""
    frame = Frame("leaning column")
    frame.node("foot", 0.0, 0.0, support="fixed")
    frame.node("head", 0.0, 4.0)
    chain(frame, "foot", "head", 8, BeamColumn(E=200e9, A=AREA, I=8e-5, geometry=geometry))
    frame.node("leaning foot", 3.0, 0.0, support="pinned")
    frame.node("leaning head", 3.0, 4.0)
    frame.member("leaning", "leaning foot", "leaning head", Brace(Elastic(1e12), geometry=geometry))
    frame.tie("ux", ["head", "leaning head"])
    frame.load("head", fx=H, fy=-P1)
    frame.load("leaning head", fy=-P2)
    return frame


def st_4() -> Answers:
    """Leaning column: drift of both orders, critical factors."""
    first = static(_leaning("linear", 300e3, 600e3, 2e3).compile())
    second = static(_leaning("p-delta", 300e3, 600e3, 2e3).compile(), steps=4)
    return {
        "drift1": last(first, "head"),
        "drift": last(second, "head"),
        "M": abs(float(second.reactions()["foot", "rz"][-1])),
        "lam": float(buckling(_leaning("linear", 300e3, 600e3, 0.0).compile(), count=1)[0][0]),
        "P2only": float(buckling(_leaning("linear", 0.0, 1e6, 0.0).compile(), count=1)[0][0]) * 1e6,
    }
