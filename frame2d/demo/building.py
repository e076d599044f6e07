"""The demo frame, invented for this purpose: five storeys, twin columns with weakened links, and a braced bay.

The twin columns stand 1.8 m apart and are tied by short beams with weakened ends (smooth loops); the braced bay has
diagonals whose lower ends are pins that bend between plates (pinched loops); between them span beams with a splice of fuse
plates beside the continuous slab (strongly unsymmetric loops); gravity columns lean on all. Sizes are plausible, nothing
is designed to a code.
"""

from typing import Any

from frame2d.elements import BeamColumn, Brace
from frame2d.materials import BoucWen, BoucWenAsymmetric, Elastic, Series
from frame2d.model import Frame
from frame2d.model.summary import G
from frame2d.sections import european

STOREYS = 5
HEIGHT = 3.6
FLOOR_MASS = 60e3
#: Axes of the columns: the twins, then the braced bay.
AXES = {"A": 0.0, "B": 1.8, "C": 8.8, "D": 14.8}
#: Share of the floors' weight that stands on the frame's own columns; the rest leans on it.
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


def demo_frame() -> Frame:
    """The invented frame with masses, weights, floors and devices; SI units."""
    frame = Frame("invented five-storey frame with replaceable devices")
    outer, inner = european("HE 300 B"), european("HE 260 B")
    girder, link, brace = european("IPE 360"), european("IPE 270"), european("HE 140 B")
    column = {
        axis: BeamColumn.from_section(outer if axis in "AB" else inner, geometry="p-delta") for axis in AXES
    }
    for level in range(STOREYS + 1):
        for axis, x in AXES.items():
            base = "fixed" if axis in "AB" else "pinned"
            frame.node(f"{axis}{level}", x, HEIGHT * level, support=base if level == 0 else None)
            if level:
                frame.mass(f"{axis}{level}", FLOOR_MASS / len(AXES))
                frame.load(f"{axis}{level}", fy=-OWN_SHARE * FLOOR_MASS * G / len(AXES))
                frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", column[axis])
        if not level:
            continue
        law = link_law(level)
        weakened = BeamColumn.from_section(link, start=law, end=law, start_inset=0.25, end_inset=0.25)
        frame.member(f"link {level}", f"A{level}", f"B{level}", weakened, device=True)
        pinned = BeamColumn.from_section(girder, start="pinned", end="pinned")
        spliced = BeamColumn.from_section(girder, start=splice_law(level), start_inset=0.6, end="pinned")
        frame.member(f"splice {level}", f"B{level}", f"C{level}", spliced, device=True)
        frame.member(f"beam CD{level}", f"C{level}", f"D{level}", pinned)
        # The diagonal rises from C to D; the pin joins its lower end to the column.
        run, rise = AXES["D"] - AXES["C"], HEIGHT
        length = (run**2 + rise**2) ** 0.5
        # Pin and brace carry the same force: one axial law in series.
        device = Series((pin_law(level), Elastic(E * brace.A / length)))
        frame.member(f"pin {level}", f"C{level - 1}", f"D{level}", Brace(device), device=True)
        frame.floor(f"floor {level}", [f"{axis}{level}" for axis in AXES])
    weight = (1.0 - OWN_SHARE) * FLOOR_MASS * G
    frame.leaning_column("gravity", 20.0, {f"floor {level}": weight for level in range(1, STOREYS + 1)})
    return frame


__all__ = ["demo_frame", "link_law", "pin_law", "splice_law"]
