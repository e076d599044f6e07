"""From a building to what a laboratory can test, each step proved: building → plane frame → test model, stick model.

| name | is |
| --- | --- |
| `Building` | plane frames at positions in plan, tied by rigid floors (pseudo-3D) |
| `building_modes`, `push_building`, `building_history` | its analyses, with torsion |
| `plane_frame` | one frame with its share of mass and weight, and the error of that |
"""

from frame2d.reduction.building import Building, BuildingFloor, PlacedFrame, own_weights
from frame2d.reduction.plan import BuildingSystem
from frame2d.reduction.share import PlaneReduction, loaded_frame, plane_frame
from frame2d.reduction.torsion import (
    BuildingModes,
    BuildingResponse,
    building_history,
    building_modes,
    push_building,
)

__all__ = [
    "Building",
    "BuildingFloor",
    "BuildingModes",
    "BuildingResponse",
    "BuildingSystem",
    "PlacedFrame",
    "PlaneReduction",
    "building_history",
    "building_modes",
    "loaded_frame",
    "own_weights",
    "plane_frame",
    "push_building",
]
