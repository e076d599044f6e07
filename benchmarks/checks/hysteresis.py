"""Hysteresis cases: laws driven through displacement histories, as in a component test."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq

from benchmarks.checks.curves import kinks
from benchmarks.textbook import Answers
from frame2d import Frame, Link, cyclic
from frame2d.materials import Bilinear, BoucWen, MenegottoPinto, RambergOsgood
from frame2d.materials.drive import Loop, drive
from frame2d.materials.pinched import Pinched


def path(points: Sequence[float], steps: int) -> np.ndarray:
    """Straight legs of `steps` steps between turning points; point k is sample k·steps."""
    legs = [np.linspace(a, b, steps + 1)[1:] for a, b in pairwise(points)]
    return np.concatenate([np.array(points[:1]), *legs])


def hy_1() -> Answers:
    """Bilinear link between a fixed and a free node, led through the history."""
    frame = Frame("link")
    frame.node("fixed", 0.0, 0.0, support="fixed")
    frame.node("free", 0.0, 0.0, support=("uy", "rz"))
    frame.link("device", "fixed", "free", Link(axial=Bilinear(k=1e7, Fy=1e5, b=0.05)))
    frame.load("free", fx=1.0, case="unit")
    steps = 600
    response = cyclic(
        frame.compile(),
        pattern="unit",
        node="free",
        history=path([0.0, 0.03, -0.03, 0.03, 0.015, 0.03, -0.05, 0.0], steps),
    )
    u, F, work, _ = response.device("device")
    answers: Answers = {f"F{k}": float(F[k * steps]) for k in range(1, 8)}
    W = float(work[3 * steps] - work[steps])
    answers |= {"W": W, "Wtot": float(work[-1]), "xi": W / (2.0 * math.pi * F[steps] * u[steps])}
    unloading = slice(steps, 2 * steps + 1)
    answers["u0"] = float(np.interp(0.0, F[unloading][::-1], u[unloading][::-1]))
    return answers


def hy_2() -> Answers:
    """Menegotto-Pinto link."""
    smooth = MenegottoPinto(k=1e7, Fy=1e5, b=0.02, R0=20.0, a1=0.0)
    answers: Answers = {}
    deformations = np.array([0.0, 0.005, 0.01, 0.02, 0.05, 0.1])
    for u, F in zip(deformations[1:], drive(smooth, deformations).force[1:], strict=True):
        answers[f"a_{u:g}"] = float(F)
    steps = 4000
    loop = drive(MenegottoPinto(k=1e7, Fy=1e5, b=0.02, R0=5.0, a1=0.0), path([0.0, 0.04, -0.04, 0.04], steps))
    for k in (1, 2, 3):
        answers[f"b_F{k}"] = float(loop.force[k * steps])
    answers["b_F0"] = float(loop.force[steps + steps // 2])
    answers["b_W2"] = float(loop.work[2 * steps] - loop.work[steps])
    answers["b_W3"] = float(loop.work[3 * steps] - loop.work[2 * steps])
    law = MenegottoPinto(k=1e7, Fy=1e5, b=0.02, R0=20.0, a1=18.5, a2=0.15)
    for xi in (0, 1, 4, 10):
        answers[f"c_R{xi}"] = float(law.curvature(float(xi)))
    return answers


def hy_3() -> Answers:
    """Ramberg-Osgood link; the amplitude for a given force is found by driving the law."""
    law = RambergOsgood(k=1e7, Fy=1e5, alpha=0.3, r=7.0)

    def force(u: float) -> float:
        return float(drive(law, np.array([0.0, u])).force[-1])

    amplitude = float(brentq(lambda u: force(u) - 1.2e5, 0.0, 0.1, xtol=1e-15))
    steps = 4000
    loop = drive(law, path([0.0, amplitude, -amplitude, amplitude], steps))
    return {
        "a_0.01": force(0.01),
        "a_0.02": force(0.02),
        "a_0.05": force(0.05),
        "b_u": amplitude,
        "b_W": float(loop.work[-1] - loop.work[steps]),
        "c_F": float(drive(law, np.array([0.0, 0.02, 0.0])).force[-1]),
    }


def _z(law: BoucWen, loop: Loop) -> np.ndarray:
    """Hysteretic displacement z (m) from the force."""
    return np.asarray((loop.force - law.a * law.k * loop.deformation) / ((1.0 - law.a) * law.k))


def hy_4() -> Answers:
    """Bouc-Wen link; β and γ in the dimensionless form of the law (times zuⁿ)."""
    zu, k = 0.01, 1e7
    answers: Answers = {}
    for key, n in (("a", 1.0), ("b", 2.0)):
        law = BoucWen(k=k, Fy=k * zu, a=0.05, n=n, beta=0.5, gamma=0.5)
        z = _z(law, drive(law, np.linspace(0.0, 0.03, 6001)))
        for u, sample in ((0.005, 1000), (0.01, 2000), (0.03, 6000)):
            answers[f"{key}_z{u:g}"] = float(z[sample])
    steps = 8000
    loop = drive(law, path([0.0, *[0.03, -0.03] * 4, 0.03], steps))
    answers["b_F"] = float(loop.force[-1])
    answers["b_F0"] = float(loop.force[-1 - 2 * steps + steps // 2])
    answers["b_W"] = float(loop.work[-1] - loop.work[-1 - 2 * steps])
    law = BoucWen(k=k, Fy=k * zu, a=0.05, n=1.5, beta=700.0 * zu**1.5, gamma=300.0 * zu**1.5)
    loop = drive(law, path([0.0, 0.03, -0.03, 0.03, 0.01, 0.03], steps))
    z = _z(law, loop)
    for point in range(1, 6):
        answers[f"c_z{point}"] = float(z[point * steps])
    answers["c_E"] = float(np.trapezoid(z, loop.deformation))
    pushed = drive(law, np.linspace(0.0, 100.0 * zu, 20_001))
    answers["d"] = float(pushed.force[-1] - law.a * k * pushed.deformation[-1])
    return answers


def hy_5() -> Answers:
    """Degrading and pinching Bouc-Wen link: z and ε are its memory."""
    worn = {"delta_nu": 0.02, "delta_eta": 0.05}
    slip = {"zeta_s": 0.95, "q": 0.1, "p": 1.0, "psi": 0.2, "delta_psi": 0.005, "lam": 0.1}
    variants: dict[str, dict[str, float]] = {"a": worn, "b": worn | {"delta_A": 0.005}, "c": worn | slip}
    points = [0.0, 2.0, -2.0, 4.0, -4.0, 6.0, -6.0, 0.0]
    answers: Answers = {}
    for name, options in variants.items():
        law = BoucWen(k=1.0, Fy=1.0, a=0.0, n=2.0, beta=0.5, gamma=0.5, **options)
        memory = None
        for number, (a, b) in enumerate(pairwise(points), 1):
            memory = drive(law, np.linspace(a, b, 2001), memory=memory).memory
            answers[f"{name}: z@{number} ({b:g})"] = float(memory[0])
            answers[f"{name}: eps@{number} ({b:g})"] = float(memory[1])
    return answers


def hy_6() -> Answers:
    """Pinched link: kinks of the computed loop are its break points."""
    law = Pinched(
        positive=((0.01, 100e3), (0.04, 130e3)), negative=((-0.015, -90e3), (-0.05, -110e3)), kf=0.3, kd=0.4
    )
    points = [0.0, 0.03, -0.03, 0.03, -0.04, 0.04, 0.0]
    steps = 8000
    loop = drive(law, path(points, steps))
    answers: Answers = {}
    for k in range(1, 7):
        answers[f"F{k}"] = float(loop.force[k * steps])
        answers[f"W{k}"] = float(loop.work[k * steps])
    for leg in range(1, 6):
        part = slice(leg * steps, (leg + 1) * steps + 1)
        u, F = loop.deformation[part], loop.force[part]
        meets = kinks(u, F)
        zero = min(meets, key=lambda point: abs(point[1]))
        answers[f"ur{leg}"] = zero[0]
        answers[f"ub{leg}"], answers[f"Fb{leg}"] = meets[meets.index(zero) + 1]
    answers["a_p"] = float(drive(law, np.linspace(0.0, 0.04, 8001)).work[-1])
    answers["a_n"] = float(drive(law, np.linspace(0.0, -0.05, 8001)).work[-1])
    return answers
