"""Plane frames of the invented building, bare: members, devices and what stands on their own columns, but no mass.

Long frames: twin columns 1.8 m apart, tied by short beams with weakened ends (smooth loops), and a braced bay whose
diagonals end in pins that bend between plates (pinched loops); between them span beams with a splice of fuse plates
beside the continuous slab (strongly unsymmetric loops). Cross frames: two bays, one braced with pins. Sizes are plausible,
nothing is designed to a code.
"""

from typing import Any

from frame2d.elements import BeamColumn, Brace
from frame2d.materials import BoucWen, BoucWenAsymmetric, Elastic, Series
from frame2d.model import Frame
from frame2d.model.summary import G
from frame2d.sections import european

STOREYS = 5
HEIGHT = 3.6
#: Mass of a floor that goes with one long frame, kg: half of the floor.
FLOOR_MASS = 60e3
#: Axes of the long frames' columns: the twins, then the braced bay.
AXES = {"A": 0.0, "B": 1.8, "C": 8.8, "D": 14.8}
#: Axes of the cross frames' columns; the second bay is braced.
CROSS_AXES = {"P": 0.0, "Q": 6.0, "R": 12.0}
#: Share of the weight of a frame's part of the floor that stands on its own columns; the rest leans on it.
OWN_SHARE = 0.3
E = 210e9


def link_law(level: int) -> BoucWen:
    """Moment against rotation of one weakened end (N·m, rad); weaker in upper storeys."""
    Mp = (120e3, 110e3, 95e3, 75e3, 50e3)[level - 1]
    return BoucWen(k=Mp / 0.001, Fy=Mp, a=0.01, n=1.5, beta=0.55)


def pin_law(level: int) -> BoucWen:
    """Force against displacement of one brace-end pin (N, m); pinched by the play of its hole."""
    Fy = (330e3, 300e3, 250e3, 190e3, 110e3)[level - 1]
    shape: dict[str, Any] = {"a": 0.02, "n": 2.0, "beta": 0.6, "delta_eta": 0.005}
    pinching: dict[str, Any] = {"zeta_s": 0.92, "q": 0.1, "p": 0.4, "psi": 0.3, "lam": 0.5}
    return BoucWen(k=Fy / 0.0015, Fy=Fy, **shape, **pinching)


def splice_law(level: int) -> BoucWenAsymmetric:
    """Moment against rotation of a fuse splice (N·m, rad): sagging positive, hogging at 0.6 of it (plates buckle)."""
    My = (110e3, 100e3, 85e3, 65e3, 50e3)[level - 1]
    return BoucWenAsymmetric.from_phases(
        k=My / 0.0015, Fy=My, a=0.02, n=1.5, psi=(1.0, -0.1, 2.0, 2.15, -0.2, 1.0)
    )


def _columns(
    frame: Frame, axes: dict[str, float], members: dict[str, BeamColumn], fixed: str, level: int
) -> None:
    for axis, x in axes.items():
        base = "fixed" if axis in fixed else "pinned"
        frame.node(f"{axis}{level}", x, HEIGHT * level, support=base if level == 0 else None)
        if level:
            frame.load(f"{axis}{level}", fy=-OWN_SHARE * FLOOR_MASS * G / len(axes))
            frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", members[axis])


def _pinned_brace(frame: Frame, left: str, right: str, level: int, run: float) -> None:
    """Diagonal that rises from `left` to `right`; the pin at its lower end and the brace are one law in series."""
    length = (run**2 + HEIGHT**2) ** 0.5
    device = Series((pin_law(level), Elastic(E * european("HE 140 B").A / length)))
    frame.member(f"pin {level}", f"{left}{level - 1}", f"{right}{level}", Brace(device), device=True)


def long_frame() -> Frame:
    """Bare long frame: twin columns with weakened links, and a braced bay; SI units."""
    frame = Frame("invented five-storey frame with replaceable devices")
    outer, inner = european("HE 300 B"), european("HE 260 B")
    girder, link = european("IPE 360"), european("IPE 270")
    column = {
        axis: BeamColumn.from_section(outer if axis in "AB" else inner, geometry="p-delta") for axis in AXES
    }
    pinned = BeamColumn.from_section(girder, start="pinned", end="pinned")
    for level in range(STOREYS + 1):
        _columns(frame, AXES, column, "AB", level)
        if not level:
            continue
        law = link_law(level)
        weakened = BeamColumn.from_section(link, start=law, end=law, start_inset=0.25, end_inset=0.25)
        frame.member(f"link {level}", f"A{level}", f"B{level}", weakened, device=True)
        spliced = BeamColumn.from_section(girder, start=splice_law(level), start_inset=0.6, end="pinned")
        frame.member(f"splice {level}", f"B{level}", f"C{level}", spliced, device=True)
        frame.member(f"beam CD{level}", f"C{level}", f"D{level}", pinned)
        _pinned_brace(frame, "C", "D", level, AXES["D"] - AXES["C"])
        frame.floor(f"floor {level}", [f"{axis}{level}" for axis in AXES])
    return frame


def cross_frame() -> Frame:
    """Bare cross frame: three columns, the second bay braced; SI units."""
    frame = Frame("invented five-storey cross frame")
    column = BeamColumn.from_section(european("HE 260 B"), geometry="p-delta")
    pinned = BeamColumn.from_section(european("IPE 360"), start="pinned", end="pinned")
    for level in range(STOREYS + 1):
        _columns(frame, CROSS_AXES, dict.fromkeys(CROSS_AXES, column), "PQR", level)
        if not level:
            continue
        frame.member(f"beam PQ{level}", f"P{level}", f"Q{level}", pinned)
        frame.member(f"beam QR{level}", f"Q{level}", f"R{level}", pinned)
        _pinned_brace(frame, "Q", "R", level, CROSS_AXES["R"] - CROSS_AXES["Q"])
        frame.floor(f"floor {level}", [f"{axis}{level}" for axis in CROSS_AXES])
    return frame
