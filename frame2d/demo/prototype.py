"""The prototype of the demo, invented for this purpose: a five-storey building of four plane frames.

Two equal long frames stand along x on the edges of a plan of 14.8 m × 12 m, two cross frames along y. The centres of
mass lie 5 % of the plan's sides beside its middle (the accidental eccentricity of EN 1998-1 §4.3.2, from memory), so
that the building twists. One long frame, with its half of each floor, is the plane frame of the demo.
"""

from frame2d.demo.skeleton import (
    AXES,
    CROSS_AXES,
    FLOOR_MASS,
    HEIGHT,
    NOMINAL,
    STOREYS,
    Laws,
    cross_frame,
    long_frame,
)
from frame2d.reduction.building import Building

#: Sides of the plan, m, and where the centres of mass lie beside its middle, as shares of the sides.
PLAN = (AXES["D"], CROSS_AXES["R"])
ECCENTRICITY = 0.05
#: Share of mass and weight of one long frame: two equal ones carry the building along x.
SHARE = 0.5
#: The long frame that the demo reduces to.
DEMO_FRAME = "long 1"


def prototype(eccentricity: float = ECCENTRICITY, laws: Laws = NOMINAL) -> Building:
    """The invented building; `eccentricity` of the mass as a share of each side."""
    building = Building("invented five-storey building")
    centre = (PLAN[0] * (0.5 + eccentricity), PLAN[1] * (0.5 + eccentricity))
    for level in range(1, STOREYS + 1):
        building.floor(f"floor {level}", HEIGHT * level, FLOOR_MASS / SHARE, centre, size=PLAN)
    building.frame("long", long_frame(laws), "x", (0.0, PLAN[1]))
    building.frame("cross", cross_frame(laws), "y", (0.0, PLAN[0]))
    return building
