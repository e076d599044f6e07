"""From a building to what a laboratory can test, each step proved: building → plane frame → test model, stick model.

| name | is |
| --- | --- |
| `Building` | plane frames at positions in plan, tied by rigid floors (pseudo-3D) |
| `building_modes`, `push_building`, `building_history` | its analyses, with torsion |
| `plane_frame` | one frame with its share of mass and weight, and the error of that |
| `candidate_cuts`, `test_model`, `rank_cuts` | which part to test: cuts, each as a model that runs, and their ranking |
| `stick_model` | one freedom a storey and actuator level, springs fitted to a cyclic push |
| `FrameModel`, `BuildingModel` | what a fidelity table compares |
| `fidelity` | table of a reduced model against its reference, with bounds |
"""

from frame2d.reduction.building import Building, BuildingFloor, PlacedFrame, own_weights
from frame2d.reduction.cut_model import Actuator, TestModel, test_model
from frame2d.reduction.cut_ranking import CutRanking, Ranked, Rig, Weights
from frame2d.reduction.cuts import DRIVES, Cut, candidate_cuts
from frame2d.reduction.fidelity import fidelity, mac
from frame2d.reduction.fidelity_table import Fidelity, Limits, Row
from frame2d.reduction.models import BuildingModel, Curve, FrameModel, Loop, Model, Run, Shapes
from frame2d.reduction.plan import BuildingSystem
from frame2d.reduction.ranking import rank_cuts
from frame2d.reduction.share import PlaneReduction, centres_of_stiffness, loaded_frame, plane_frame
from frame2d.reduction.stick import Spring, Stick, protocol, stick_model
from frame2d.reduction.torsion import (
    BuildingModes,
    BuildingResponse,
    building_history,
    building_modes,
    push_building,
)

__all__ = [
    "DRIVES",
    "Actuator",
    "Building",
    "BuildingFloor",
    "BuildingModel",
    "BuildingModes",
    "BuildingResponse",
    "BuildingSystem",
    "Curve",
    "Cut",
    "CutRanking",
    "Fidelity",
    "FrameModel",
    "Limits",
    "Loop",
    "Model",
    "PlacedFrame",
    "PlaneReduction",
    "Ranked",
    "Rig",
    "Row",
    "Run",
    "Shapes",
    "Spring",
    "Stick",
    "TestModel",
    "Weights",
    "building_history",
    "building_modes",
    "candidate_cuts",
    "centres_of_stiffness",
    "fidelity",
    "loaded_frame",
    "mac",
    "own_weights",
    "plane_frame",
    "protocol",
    "push_building",
    "rank_cuts",
    "stick_model",
    "test_model",
]
