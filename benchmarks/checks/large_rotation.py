"""Large-rotation cases with corotational members."""

import math

import numpy as np
from scipy.interpolate import CubicSpline

from benchmarks.checks.building import chain, last
from benchmarks.checks.curves import extremes
from benchmarks.textbook import Answers
from frame2d import BeamColumn, Frame, System, push, static
from frame2d.analysis.runner import Options


def _cantilever(length: float, count: int, E: float, A: float, I: float, **load: float) -> System:  # noqa: E741
    """Corotational cantilever along x with a load at its tip in case "tip"."""
    frame = Frame("cantilever")
    frame.node("clamp", 0.0, 0.0, support="fixed")
    frame.node("tip", length, 0.0)
    chain(frame, "clamp", "tip", count, BeamColumn(E=E, A=A, I=I, geometry="corotational"))
    frame.load("tip", **load, case="tip")
    return frame.compile()


def lr_1() -> Answers:
    """Cantilever under a dead tip load, 40 elements."""
    system = _cantilever(1.0, 40, 1e6, 10.0, 1e-6, fy=1.0)
    answers: Answers = {}
    state, before = None, 0.0
    for alpha in (0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0):
        response = static(system, state, cases={"tip": alpha - before}, steps=6)
        state, before = response.state, alpha
        answers[f"w@{alpha:g}"] = last(response, "tip", "uy")
        answers[f"u@{alpha:g}"] = -last(response, "tip")
        answers[f"th@{alpha:g}"] = last(response, "tip", "rz")
    return answers


def lr_2() -> Answers:
    """Cantilever rolled up by an end moment, 50 elements."""
    length, EI = 10.0, 2.1e6
    system = _cantilever(length, 50, 2.1e11, 0.1, 1e-5, mz=1.0)
    circle = push(
        system,
        pattern="tip",
        node="tip",
        component="rz",
        target=2.0 * math.pi,
        steps=100,
        options=Options(tolerance=1e-9),
    )
    answers: Answers = {"M_2pi": float(circle.factor[-1])}
    state = None
    for quarter in range(1, 5):
        added = 0.5 * math.pi * EI / length
        response = static(system, state, cases={"tip": added}, steps=10)
        state = response.state
        key = f"{5 * quarter:02d}"
        answers[f"x_{key}"] = length + last(response, "tip")
        answers[f"y_{key}"] = last(response, "tip", "uy")
        answers[f"th_{key}"] = last(response, "tip", "rz")
    return answers


def lr_3() -> Answers:
    """Toggle under displacement control, 64 elements a member."""
    frame = Frame("toggle")
    frame.node("left", 0.0, 0.0, support="fixed")
    frame.node("apex", 0.32875, 0.0098)
    frame.node("right", 0.6575, 0.0, support="fixed")
    member = BeamColumn(E=1e10, A=8.385e-4, I=2.66e-9, geometry="corotational")
    chain(frame, "left", "apex", 64, member)
    chain(frame, "apex", "right", 64, member)
    frame.load("apex", fy=-1.0, case="apex")
    steps = 80
    response = push(
        frame.compile(), pattern="apex", node="apex", component="uy", target=-2.0 * 0.0098, steps=steps
    )
    P, w = response.factor, -response.displacement("apex", "uy")
    answers: Answers = {}
    for eighth in range(1, 9):
        answers[f"P_{0.25 * eighth}"] = float(P[eighth * steps // 8])
    high, low = extremes(w, P)[:2]
    curve = CubicSpline(w, P)
    return answers | {
        "P_max": float(curve(high)),
        "w_max": float(high),
        "P_min": float(curve(low)),
        "w_min": float(low),
    }


def lr_4() -> Answers:
    """Right-angle frame followed by arc length through snap-back, 20 elements a member."""
    frame = Frame("right angle")
    frame.node("foot", 0.0, 0.0, support="pinned")
    frame.node("corner", 0.0, 1.2)
    frame.node("end", 1.2, 1.2, support="pinned")
    member = BeamColumn(E=7.0608e10, A=6e-4, I=2e-8, geometry="corotational")
    chain(frame, "foot", "corner", 20, member)
    loaded = chain(frame, "corner", "end", 20, member)[4]
    frame.load(loaded, fy=-1.0, case="loaded")
    system = frame.compile()
    across = system.row(loaded, "ux")
    response = push(
        system,
        pattern="loaded",
        arc_length=0.05,
        most_steps=600,
        stop=lambda factor, q: float(across @ q) > 0.95,
    )
    P, u, v = response.factor, response.displacement(loaded), -response.displacement(loaded, "uy")
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(u), np.diff(v)))])
    load, along, down = CubicSpline(s, P), CubicSpline(s, u), CubicSpline(s, v)
    answers: Answers = {}
    for name, places in (("L", extremes(s, P)), ("T", extremes(s, v))):
        for number in (1, 2):
            at = places[number - 1]
            answers |= {f"{name}{number}_P": float(load(at)), f"{name}{number}_u": float(along(at))}
            answers[f"{name}{number}_v"] = float(down(at))
    for depth in (0.1, 0.2, 0.3, 0.4):
        at = down.solve(depth, extrapolate=False)[0]
        answers |= {f"P_{depth}": float(load(at)), f"u_{depth}": float(along(at))}
    at = next(root for root in load.roots(extrapolate=False) if root > 0.1)
    return answers | {"Z1_v": float(down(at)), "Z1_u": float(along(at))}
