"""Plane frames of the invented building, bare: members, devices and what stands on their own columns, but no mass.

Long frames: twin columns 1.8 m apart, tied by short beams with weakened ends (smooth loops), and a braced bay whose
diagonals end in pins that bend between plates (pinched loops); between them span beams with a splice of fuse plates
beside the continuous slab (strongly unsymmetric loops). Cross frames: two bays, one braced with pins. Sizes are plausible,
nothing is designed to a code.
"""

from dataclasses import dataclass, replace
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


@dataclass(frozen=True)
class Laws:
    """Laws of the first storey's devices; those of the others are similar, in proportion to `STRENGTH`.

    `link`: moment against rotation of a weakened end (N·m, rad). `pin`: force against displacement of a brace-end pin
    (N, m), pinched by the play of its hole. `splice`: moment against rotation of a fuse splice (N·m, rad), sagging
    positive, hogging weaker because the plates buckle.
    """

    link: Any
    pin: Any
    splice: Any

    def at(self, kind: str, level: int) -> Any:
        """The law of a device of this kind at a storey (1 is the lowest)."""
        law, share = getattr(self, kind), STRENGTH[kind][level - 1]
        return replace(law, k=share * law.k, Fy=share * law.Fy)


#: Stiffness and strength of the devices of each storey over those of the first.
STRENGTH = {
    "link": (1.0, 0.92, 0.79, 0.63, 0.42),
    "pin": (1.0, 0.91, 0.76, 0.58, 0.33),
    "splice": (1.0, 0.91, 0.77, 0.59, 0.45),
}
#: Before any component test: laws from the devices' dimensions.
NOMINAL = Laws(
    link=BoucWen(k=1.2e8, Fy=120e3, a=0.01, n=1.5, beta=0.55),
    pin=BoucWen(
        k=2.2e8,
        Fy=330e3,
        a=0.02,
        n=2.0,
        beta=0.6,
        delta_eta=0.005,
        zeta_s=0.92,
        q=0.1,
        p=0.4,
        psi=0.3,
        lam=0.5,
    ),
    splice=BoucWenAsymmetric.from_phases(
        k=110e3 / 0.0015, Fy=110e3, a=0.02, n=1.5, psi=(1.0, -0.1, 2.0, 2.15, -0.2, 1.0)
    ),
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


def _pinned_brace(frame: Frame, left: str, right: str, level: int, run: float, laws: Laws) -> None:
    """Diagonal that rises from `left` to `right`; the pin at its lower end and the brace are one law in series."""
    length = (run**2 + HEIGHT**2) ** 0.5
    device = Series((laws.at("pin", level), Elastic(E * european("HE 140 B").A / length)))
    frame.member(f"pin {level}", f"{left}{level - 1}", f"{right}{level}", Brace(device), device=True)


def long_frame(laws: Laws = NOMINAL) -> Frame:
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
        law = laws.at("link", level)
        weakened = BeamColumn.from_section(link, start=law, end=law, start_inset=0.25, end_inset=0.25)
        frame.member(f"link {level}", f"A{level}", f"B{level}", weakened, device=True)
        spliced = BeamColumn.from_section(
            girder, start=laws.at("splice", level), start_inset=0.6, end="pinned"
        )
        frame.member(f"splice {level}", f"B{level}", f"C{level}", spliced, device=True)
        frame.member(f"beam CD{level}", f"C{level}", f"D{level}", pinned)
        _pinned_brace(frame, "C", "D", level, AXES["D"] - AXES["C"], laws)
        frame.floor(f"floor {level}", [f"{axis}{level}" for axis in AXES])
    return frame


def cross_frame(laws: Laws = NOMINAL) -> Frame:
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
        _pinned_brace(frame, "Q", "R", level, CROSS_AXES["R"] - CROSS_AXES["Q"], laws)
        frame.floor(f"floor {level}", [f"{axis}{level}" for axis in CROSS_AXES])
    return frame
