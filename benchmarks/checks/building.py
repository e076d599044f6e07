"""Small builders that the cases share: chains of members, shear buildings, oscillators."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from frame2d import BeamColumn, Frame, Link, Response
from frame2d.elements import Member
from frame2d.materials import Law


@dataclass(frozen=True)
class Ground:
    """Ground acceleration (m/s²) at a constant step (s)."""

    acceleration: np.ndarray
    dt: float
    name: str = "polygon"


def chain(frame: Frame, a: str, b: str, count: int, member: Member) -> list[str]:
    """Join two nodes by `count` equal members with new nodes "a>b:k" between; returns all node names in order."""
    first, last = frame.nodes[a], frame.nodes[b]
    names = [a]
    for k in range(1, count):
        share = k / count
        names.append(
            frame.node(
                f"{a}>{b}:{k}", first.x + share * (last.x - first.x), first.y + share * (last.y - first.y)
            )
        )
    names.append(b)
    for k in range(count):
        frame.member(f"{a}>{b}:{k}", names[k], names[k + 1], member)
    return names


def shear_building(masses: Sequence[float], storeys: Sequence[float | Law]) -> Frame:
    """Floors "1", "2", … that move horizontally only, masses in kg, storey springs as N/m or laws, from below."""
    frame = Frame("shear building")
    frame.node("0", 0.0, 0.0, support="fixed")
    for number, (mass, spring) in enumerate(zip(masses, storeys, strict=True), 1):
        node = frame.node(str(number), 0.0, 3.0 * number, support=("uy", "rz"))
        frame.lateral_mass(node, mass)
        frame.floor(f"floor {number}", [node])
        name, below = f"storey {number}", str(number - 1)
        if isinstance(spring, Law):
            frame.link(name, below, node, Link(axial=spring), device=False)
        else:  # a column that does not turn at its ends: 12EI/h³ = k
            frame.member(name, below, node, BeamColumn(E=1e11, A=0.01, I=spring * 27.0 / 12e11))
    return frame


def oscillator(mass: float, spring: float | Law) -> Frame:
    """Shear building of one floor, node "1"."""
    return shear_building([mass], [spring])


def last(response: Response, node: str, component: str = "ux") -> float:
    """Displacement of a node at the end."""
    return float(response.displacement(node, component)[-1])


def parabola_peak(t: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Time and value of the largest y, refined by the parabola through three samples."""
    i = int(np.argmax(y))
    if i in (0, y.size - 1):
        return float(t[i]), float(y[i])
    left, here, right = (float(value) for value in y[i - 1 : i + 2])
    bend = left - 2.0 * here + right
    shift = 0.5 * (left - right) / bend if bend else 0.0
    return float(t[i]) + shift * float(t[1] - t[0]), here - 0.25 * (left - right) * shift


def order(coarse: float, fine: float) -> float:
    """Observed order of convergence from the errors at a step and at half of it."""
    return math.log2(abs(coarse) / abs(fine))
