"""What people look at. Matplotlib, pyvista, meshio and imageio are imported only when something is shown.

| name | shows | gives |
| --- | --- | --- |
| `plot_frame` | nodes, members, supports, laws, devices, floors, with names | figure |
| `plot_modes` | mode shapes, periods, effective masses | figure |
| `plot_push` | base shear and load factor against displacement | figure |
| `plot_drifts` | largest and last storey drifts of one or more responses | figure |
| `plot_loops` | force against deformation of devices | figure |
| `plot_energy` | energy stack of one response or a chain, input, imbalance | figure |
| `plot_diagram` | bending moment, shear or axial force along the members | figure |
| `plot_history` | ground motion, floor displacements, base shear | figure |
| `plot_motion`, `plot_records`, `plot_spectra`, `plot_suite`, `plot_adjustment`, `plot_choice`, `plot_ductility` | records, spectra, suites and their choice (`motion_plots`) | figure |
| `plot_fit`, `plot_parameters` | a fitted law against its test (`fit_plots`) | figure |
| `plot_sensor_map`, `plot_quantities`, `plot_measured_loops`, `plot_error_division` | instruments, measured against computed (`instrument_plots`) | figure |
| `plot_plan`, `plot_fidelity`, `plot_cuts`, `plot_stick` | buildings and their reductions (`reduction_plots`) | figure |
| `save_figure` | a figure as PNG, PDF or SVG | file |
| `animate` | deformed frame, drifts, states of the devices, clock, scale bar | GIF or MP4 |
| `write_series` | deformed frame with data, for any VTK reader | VTU and PVD |
| `frame_from_mesh` | a line mesh that meshio reads | `Frame` |

Figures are matplotlib's, made without its global state. Animations are rendered by VTK off screen: with EGL (on
Debian: libegl1, libegl-mesa0 and libgl1-mesa-dri) or OSMesa (libosmesa6), no display needed; where that fails,
matplotlib draws them and a warning says so.
"""

from importlib import import_module
from typing import Any

from frame2d.show.animation import animate
from frame2d.show.diagrams import plot_diagram
from frame2d.show.look import save_figure
from frame2d.show.meshes import frame_from_mesh
from frame2d.show.plots import (
    plot_drifts,
    plot_energy,
    plot_frame,
    plot_history,
    plot_loops,
    plot_modes,
    plot_push,
)
from frame2d.show.vtk_series import write_series

#: Pictures of the studies, loaded with their room when they are first asked for.
STUDIES = {
    "motion_plots": (
        "plot_motion", "plot_records", "plot_spectra", "plot_suite", "plot_adjustment", "plot_choice", "plot_ductility",
    ),
    "fit_plots": ("plot_fit", "plot_parameters"),
    "instrument_plots": ("plot_sensor_map", "plot_quantities", "plot_measured_loops", "plot_error_division"),
    "reduction_plots": ("plot_plan", "plot_fidelity", "plot_cuts", "plot_stick"),
}  # fmt: skip


def __getattr__(name: str) -> Any:
    for module, names in STUDIES.items():
        if name in names:
            return getattr(import_module(f"frame2d.show.{module}"), name)
    raise AttributeError(f"module 'frame2d.show' has no attribute {name!r}")


__all__ = [
    "animate", "frame_from_mesh", "plot_diagram", "plot_drifts", "plot_energy", "plot_frame", "plot_history", "plot_loops",
    "plot_modes", "plot_push", "save_figure", "write_series",
]  # fmt: skip
