"""Linear static cases: shear flexibility, member loads, offsets, releases, settlements."""

from scipy.optimize import brentq

from benchmarks.checks.building import last
from benchmarks.textbook import Answers
from frame2d import BeamColumn, Frame, Response, static
from frame2d.materials import Elastic

#: Nearly rigid area, m², and the members of the portal.
RIGID_AREA = 100.0


def ls_1() -> Answers:
    """Cantilever with shear flexibility, one element."""
    answers: Answers = {}
    for shear in (0.1, 0.0):
        frame = Frame()
        frame.node("clamp", 0.0, 0.0, support="fixed")
        frame.node("tip", 1.5, 0.0)
        frame.member("beam", "clamp", "tip", BeamColumn(E=210e9, A=0.12, I=3.6e-3, shear_area=shear, nu=0.3))
        frame.load("tip", fy=500e3, case="a")
        frame.member_load("beam", qy=200e3, case="b")
        system = frame.compile()
        a, b = static(system, cases="a"), static(system, cases="b")
        if shear:
            answers |= {"a_tip": last(a, "tip", "uy"), "a_rot": last(a, "tip", "rz")}
            answers |= {"b_tip": last(b, "tip", "uy"), "b_rot": last(b, "tip", "rz")}
        else:
            answers["a_bend"] = last(a, "tip", "uy")
    return answers


def _propped(x: float) -> Response:
    """Propped cantilever under 20 kN/m with a node at x."""
    frame = Frame()
    frame.node("clamp", 0.0, 0.0, support="fixed")
    frame.node("here", x, 0.0)
    frame.node("roller", 6.0, 0.0, support="roller")
    for name, i, j in (("left", "clamp", "here"), ("right", "here", "roller")):
        frame.member(name, i, j, BeamColumn(E=200e9, A=6e-3, I=8e-5))
        frame.member_load(name, qy=-20e3)
    return static(frame.compile())


def ls_2() -> Answers:
    """Propped cantilever; the largest deflection is where a node does not turn."""
    middle = _propped(3.0)
    x = float(brentq(lambda at: last(_propped(at), "here", "rz"), 2.0, 5.0, xtol=1e-10))
    return {
        "R_clamp": float(middle.reactions()["clamp", "uy"][-1]),
        "R_roller": float(middle.reactions()["roller", "uy"][-1]),
        "M_clamp": float(middle.reactions()["clamp", "rz"][-1]),
        "w_mid": -last(middle, "here", "uy"),
        "x_max": x,
        "w_max": -last(_propped(x), "here", "uy"),
        "rot_roller": abs(last(middle, "roller", "rz")),
    }


def portal(columns: BeamColumn, beam: BeamColumn, support: str = "fixed") -> Frame:
    """Portal A(0,0), B(0,4), C(6,4), D(6,0) with members AB, BC, DC."""
    frame = Frame("portal")
    frame.node("A", 0.0, 0.0, support=support)
    frame.node("B", 0.0, 4.0)
    frame.node("C", 6.0, 4.0)
    frame.node("D", 6.0, 0.0, support=support)
    frame.member("AB", "A", "B", columns)
    frame.member("BC", "B", "C", beam)
    frame.member("DC", "D", "C", columns)
    return frame


def ls_3() -> Answers:
    """Clamped portal with lateral load and beam load; axially rigid limits with a very large area."""
    answers: Answers = {}
    for rigid in (False, True):
        areas = (RIGID_AREA, RIGID_AREA) if rigid else (6e-3, 8e-3)
        frame = portal(BeamColumn(E=200e9, A=areas[0], I=8e-5), BeamColumn(E=200e9, A=areas[1], I=1.6e-4))
        frame.load("B", fx=50e3, case="lateral")
        frame.member_load("BC", qy=-15e3, case="beam")
        system = frame.compile()
        if rigid:
            lateral, beam = static(system, cases="lateral"), static(system, cases="beam")
            answers["uB_rigid"] = last(lateral, "B")
            answers["MA_rigid"] = abs(float(lateral.reactions()["A", "rz"][-1]))
            answers["MBq_rigid"] = abs(float(beam.end_forces("AB")["M_end"][-1]))
            answers["MAq_rigid"] = abs(float(beam.reactions()["A", "rz"][-1]))
            continue
        both = static(system, cases={"lateral": 1.0, "beam": 1.0})
        for node in ("B", "C"):
            for letter, component in (("u", "ux"), ("v", "uy"), ("r", "rz")):
                answers[letter + node] = last(both, node, component)
        for node in ("A", "D"):
            for letter, component in (("H", "ux"), ("V", "uy"), ("M", "rz")):
                answers[letter + node] = float(both.reactions()[node, component][-1])
    return answers


def ls_4() -> Answers:
    """Rigid end offsets, one end moved."""
    frame = Frame()
    frame.node("i", 0.0, 0.0, support="fixed")
    frame.node("j", 6.0, 0.0, support="fixed")
    frame.node("free", 6.0, 1.0)
    member = BeamColumn(E=30e9, A=0.15, I=3.125e-3, start_offset=(0.4, 0.0), end_offset=(-0.25, 0.0))
    frame.member("beam", "i", "j", member)
    frame.member("stub", "j", "free", BeamColumn(E=30e9, A=0.15, I=3.125e-3))
    system = frame.compile()
    answers: Answers = {}
    for letter, component in (("r", "rz"), ("t", "uy")):
        forces = static(system, cases={}, settlements={("i", component): 0.01}).end_forces("beam")
        answers[f"{letter}_Mi"] = float(forces["M_start"][-1])
        answers[f"{letter}_Mj"] = float(forces["M_end"][-1])
        answers[f"{letter}_Vi"] = float(forces["V_start"][-1])
    return answers


def ls_5() -> Answers:
    """Semi-rigid clamp, and a beam with an internal hinge (two nodes tied in translation)."""
    beam = {"E": 210e9, "A": 1e-2, "I": 1e-4}
    frame = Frame()
    frame.node("clamp", 0.0, 0.0, support="fixed")
    frame.node("tip", 3.0, 0.0)
    frame.member("beam", "clamp", "tip", BeamColumn(**beam, start=Elastic(2.0e7)))
    frame.load("tip", fy=30e3)
    a = static(frame.compile())
    frame = Frame()
    frame.node("left", 0.0, 0.0, support="fixed")
    frame.node("before", 3.5, 0.0)
    frame.node("behind", 3.5, 0.0)
    frame.node("right", 8.0, 0.0, support="fixed")
    for component in ("ux", "uy"):
        frame.tie(component, ["before", "behind"])
    frame.member("one", "left", "before", BeamColumn(**beam))
    frame.member("two", "behind", "right", BeamColumn(**beam))
    frame.load("before", fy=-60e3)
    b = static(frame.compile())
    reactions = b.reactions()
    return {
        "a_tip": last(a, "tip", "uy"),
        "a_rot": last(a, "tip", "rz"),
        "a_spring": abs(float(a.device("beam").deformation[-1])),
        "b_w": -last(b, "before", "uy"),
        "b_Vl": float(reactions["left", "uy"][-1]),
        "b_Vr": float(reactions["right", "uy"][-1]),
        "b_Ml": abs(float(reactions["left", "rz"][-1])),
        "b_Mr": abs(float(reactions["right", "rz"][-1])),
        "b_jump": abs(last(b, "behind", "rz") - last(b, "before", "rz")),
    }


def ls_6() -> Answers:
    """Clamped shear-flexible beam whose supports move."""
    member = BeamColumn(E=210e9, A=0.12, I=3.6e-3, shear_area=0.1, nu=0.3)
    frame = Frame()
    frame.node("i", 0.0, 0.0, support="fixed")
    frame.node("middle", 1.2, 0.0)
    frame.node("j", 2.4, 0.0, support="fixed")
    frame.member("one", "i", "middle", member)
    frame.member("two", "middle", "j", member)
    system = frame.compile()
    settled = static(system, cases={}, settlements={("j", "uy"): -5e-3}).reactions()
    turned = static(system, cases={}, settlements={("i", "rz"): 1e-3}).reactions()
    return {
        "phi": 12.0 * member.E * member.I / (member.shear_stiffness * 2.4**2),
        "s_V": abs(float(settled["i", "uy"][-1])),
        "s_M": abs(float(settled["i", "rz"][-1])),
        "r_Mi": abs(float(turned["i", "rz"][-1])),
        "r_Mj": abs(float(turned["j", "rz"][-1])),
        "r_V": abs(float(turned["i", "uy"][-1])),
    }
