"""Plastic collapse: members with rigid-plastic hinges led past their collapse load; axial force-moment surfaces."""

from collections.abc import Mapping

import numpy as np

from benchmarks.checks.curves import kinks
from benchmarks.textbook import Answers
from frame2d import BeamColumn, Frame, Response, push, static
from frame2d.materials import Bilinear
from frame2d.materials.axial_moment import AxialMomentHinge
from frame2d.materials.yield_surface import (
    Parabola,
    YieldSurface,
    bilinear,
    en_section,
    linear,
    rolled_section,
)

#: Stiffness of a hinge before yield over EI/L. What is left of elastic rotation goes with its inverse, rounding of the
#: hinge moment with itself.
STIFF = 1e6
#: Hardening of a hinge over EI/L: it keeps a mechanism solvable and adds nothing that is seen.
HARDENING = 1e-7


def hinge(Mp: float, EI_over_L: float, stiff: float = STIFF, hardening: float = HARDENING) -> Bilinear:
    """Rigid-perfectly plastic hinge, nearly."""
    return Bilinear(k=stiff * EI_over_L, Fy=Mp, b=hardening / stiff)


def _led(frame: Frame, node: str, component: str, target: float, pattern: str, steps: int = 240) -> Response:
    return push(frame.compile(), pattern=pattern, node=node, component=component, target=target, steps=steps)


def _beam(right: str, count: int, case: str, law: Bilinear) -> Frame:
    """Beam of 6 m, clamped at the left, with hinges at the clamps and at every inner node."""
    frame = Frame("beam")
    frame.node("left", 0.0, 0.0, support="fixed")
    frame.node("right", 6.0, 0.0, support=right)
    names = ["left"]
    for k in range(1, count):
        names.append(frame.node(f"n{k}", 6.0 * k / count, 0.0))
    names.append("right")
    elastic = {"E": 200e9, "A": 1e-2, "I": 8e-5}
    for k in range(count):
        start = law if k == 0 else "rigid"
        end = law if k < count - 1 or right == "fixed" else "rigid"
        frame.member(f"m{k}", names[k], names[k + 1], BeamColumn(**elastic, start=start, end=end))
        if case == "spread":
            frame.member_load(f"m{k}", qy=-1.0, case=case)
    if case == "point":
        frame.load(f"n{count // 2}", fy=-1.0, case=case)
    return frame


def _events(frame: Frame, middle: str, target: float, case: str) -> list[tuple[float, float]]:
    """Deflection and load factor where hinges form."""
    response = _led(frame, middle, "uy", -target, case)
    return kinks(-response.displacement(middle, "uy"), response.factor, same=1e-5)


def pl_1() -> Answers:
    """Single beams: loads and deflections where hinges form, and at collapse."""
    law = hinge(120e3, 1.6e7 / 6.0, 2e7)
    (w1, P1), (w2, P2) = _events(_beam("roller", 2, "point", law), "n1", 0.03, "point")
    answers: Answers = {"a_w1": w1, "a_P1": P1, "a_w2": w2, "a_P2": P2}
    ((answers["b_w"], answers["b_P"]),) = _events(_beam("fixed", 2, "point", law), "n1", 0.03, "point")
    many = hinge(120e3, 1.6e7 / 6.0, 1e5)
    spread = _led(_beam("roller", 60, "spread", many), "n30", "uy", -0.06, "spread", 120)
    answers["c_q"] = float(spread.factor[-1])
    turned = [abs(float(spread.device(f"m{k}").deformation[-1])) for k in range(1, 59)]
    answers["c_x"] = 6.0 - 0.1 * (2 + int(np.argmax(turned)))
    both = _events(_beam("fixed", 2, "spread", law), "n1", 0.04, "spread")
    (answers["d_w1"], answers["d_q1"]), (answers["d_w2"], answers["d_q2"]) = both
    return answers


def _portal(support: str, V: float, H: float) -> Frame:
    """Portal 4 m × 6 m with hinges of 100 kNm at bases, corners and mid-beam."""
    law = hinge(100e3, 4e6)
    frame = Frame("portal")
    frame.node("A", 0.0, 0.0, support=support)
    frame.node("B", 0.0, 4.0)
    frame.node("M", 3.0, 4.0)
    frame.node("C", 6.0, 4.0)
    frame.node("D", 6.0, 0.0, support=support)
    elastic = {"E": 200e9, "A": 1e-2, "I": 8e-5}
    base = law if support == "fixed" else "rigid"
    frame.member("AB", "A", "B", BeamColumn(**elastic, start=base, end=law))
    frame.member("BM", "B", "M", BeamColumn(**elastic, end=law))
    frame.member("MC", "M", "C", BeamColumn(**elastic))
    frame.member("DC", "D", "C", BeamColumn(**elastic, start=base, end=law))
    frame.load("B", fx=H, case="loads")
    frame.load("M", fy=-V, case="loads")
    return frame


def pl_2() -> Answers:
    """Portal: the factor on the plateau."""
    loads = {"a": ("fixed", 100e3, 20e3), "b": ("fixed", 30e3, 60e3), "c": ("fixed", 60e3, 50e3)}
    loads["d"] = ("pinned", 100e3, 40e3)
    answers: Answers = {}
    for key, (support, V, H) in loads.items():
        node, component, target = ("M", "uy", -0.1) if key == "a" else ("B", "ux", 0.1)
        answers[key] = float(_led(_portal(support, V, H), node, component, target, "loads").factor.max())
    return answers


#: Loads of the two-storey frame by node: (horizontal, vertical), N.
LOADS: Mapping[str, tuple[float, float]] = {
    "left 1": (40e3, 0.0),
    "left 2": (60e3, 0.0),
    "middle 1": (0.0, -120e3),
    "middle 2": (0.0, -80e3),
}


def _two_storeys(hardening: float) -> Frame:
    """Single bay, two storeys, hinges at every member end and at mid-span of the beams."""
    frame = Frame("two storeys")
    elastic = {"E": 200e9, "A": 1e-2, "I": 8e-5}
    heights = (0.0, 4.0, 7.5)
    for side, x in (("left", 0.0), ("right", 6.0)):
        for level, y in enumerate(heights):
            frame.node(f"{side} {level}", x, y, support="fixed" if level == 0 else None)
        for level, Mp in ((1, 160e3), (2, 100e3)):
            law = hinge(Mp, 4e6, hardening=hardening)
            frame.member(
                f"{side} column {level}",
                f"{side} {level - 1}",
                f"{side} {level}",
                BeamColumn(**elastic, start=law, end=law),
            )
    for level, Mp in ((1, 180e3), (2, 120e3)):
        law = hinge(Mp, 4e6, hardening=hardening)
        middle = frame.node(f"middle {level}", 3.0, heights[level])
        frame.member(f"beam {level}", f"left {level}", middle, BeamColumn(**elastic, start=law, end=law))
        frame.member(f"beam {level}b", middle, f"right {level}", BeamColumn(**elastic, end=law))
    for node, (H, V) in LOADS.items():
        frame.load(node, fx=H, fy=V, case="all")
        frame.load(node, fx=H, case="lateral")
        frame.load(node, fy=V, case="vertical")
    return frame


def pl_3() -> Answers:
    """Two-storey frame: all loads in proportion, and lateral loads on top of constant vertical ones.

    Under constant loads a corner and mid-span yield at one instant, by equilibrium of the beam.
    """
    system = _two_storeys(HARDENING).compile()
    standing = static(system, cases="vertical", steps=10)
    answers: Answers = {}
    for key, state, pattern in (("a", None, "all"), ("b", standing.state, "lateral")):
        response = push(system, state, pattern=pattern, node="left 2", target=0.4, steps=300)
        answers[key] = float(response.factor[-1])
    return answers


def _column(surface: YieldSurface, Np: float, Mp: float) -> float:
    """Factor at which a cantilever column of 3 m with an axial force-moment hinge at its foot collapses."""
    frame = Frame("column")
    frame.node("foot", 0.0, 0.0, support="fixed")
    frame.node("head", 0.0, 3.0)
    law = AxialMomentHinge(surface, Np, Mp, kN=1e10, kM=1e9, hardening=1e-7)
    frame.member("column", "foot", "head", BeamColumn(E=200e9, A=1e-2, I=8e-5, start=law))
    frame.load("head", fx=50e3, fy=-1000e3, case="loads")
    return float(_led(frame, "head", "ux", 0.05, "loads", 100).factor[-1])


def pl_4() -> Answers:
    """Axial force-moment interaction: collapse factor of the column, reduced moments of the surfaces."""
    Np, Mp = 2000e3, 200e3
    surfaces = {
        "lin": linear(),
        "par": Parabola(),
        "I": rolled_section(),
        "EC": en_section(0.4),
        "bil": bilinear(),
    }
    answers: Answers = {}
    for key, surface in surfaces.items():
        answers[f"lam_{key}"] = _column(surface, Np, Mp)
        answers[f"M03_{key}"] = surface.reduced_moment(0.3) * Mp
    return answers
