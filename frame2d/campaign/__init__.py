"""The campaign: ordered limit states of one test, inspection and replacement of devices in between; and sweeps.

| name | what |
| --- | --- |
| `LimitState` | record, factor, what is replaced afterwards |
| `DeviceCapacity`, `StaysElastic`, `Criteria` | what an inspection compares with |
| `Campaign`, `Result` | run and resume the limit states in order |
| `Runner`, `Run` | who runs a test |
| `ComputedRunner`, `HybridRunner` | the all-computed frame; hybrid tests of a divided one, real or rehearsed |
| `Measured`, `measured` | histories of a test as plain arrays, on disk and back |
| `Inspection`, `Finding`, `inspect` | demands beside capacities, verdicts |
| `Wear` | turning points, energy, peaks of each device since it was put in |
| `replace_devices`, `Replacement` | new devices, stress-free at the deformed geometry; the log |
| `rest` | where the frame comes to rest after a test |
| `sweep`, `grid`, `Job`, `Finished` | many runs over any executor, stored as they end, resumable |
| `IntensityRun`, `incremental`, `curves`, `fragility` | rising intensities, and what follows from them |
"""

from frame2d.campaign.campaign import Campaign, Result
from frame2d.campaign.capacities import Criteria, DeviceCapacity, StaysElastic
from frame2d.campaign.hybrid_runner import HybridRunner
from frame2d.campaign.inspection import Finding, Inspection, inspect, inspect_fit
from frame2d.campaign.intensity import (
    Curve,
    Fragility,
    IntensityRun,
    Reached,
    curves,
    fragility,
    incremental,
    reaches,
)
from frame2d.campaign.limit_states import LimitState
from frame2d.campaign.measured import Loop, Measured, measured
from frame2d.campaign.replacement import Replacement, Swap, replace_devices, residual_drifts, rest
from frame2d.campaign.runner import ComputedRunner, Run, Runner
from frame2d.campaign.sweep import Finished, Job, counts, grid, sweep, tabulated
from frame2d.campaign.wear import Wear

__all__ = [
    "Campaign",
    "ComputedRunner",
    "Criteria",
    "Curve",
    "DeviceCapacity",
    "Finding",
    "Finished",
    "Fragility",
    "HybridRunner",
    "Inspection",
    "IntensityRun",
    "Job",
    "LimitState",
    "Loop",
    "Measured",
    "Reached",
    "Replacement",
    "Result",
    "Run",
    "Runner",
    "StaysElastic",
    "Swap",
    "Wear",
    "counts",
    "curves",
    "fragility",
    "grid",
    "incremental",
    "inspect",
    "inspect_fit",
    "measured",
    "reaches",
    "replace_devices",
    "residual_drifts",
    "rest",
    "sweep",
    "tabulated",
]
