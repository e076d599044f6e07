"""Nonlinear plane frames with replaceable dissipative devices: model, analyse, test, compare, report."""

from pathlib import Path

__version__ = "0.1.0"

# In a source checkout the folders `materials` and `elements` stand beside this package; an installed
# package holds them inside. This lets `frame2d.materials` be found in both, on every system.
_checkout = Path(__file__).resolve().parent.parent
if (_checkout / "pyproject.toml").is_file() and (_checkout / "materials" / "__init__.py").is_file():
    __path__.append(str(_checkout))

from frame2d.analysis import (
    AnalysisError,
    Caughey,
    GeneralizedAlpha,
    Modal,
    Outcome,
    Rayleigh,
    Response,
    buckling,
    chung_hulbert,
    cyclic,
    gravity,
    hilber,
    modes,
    newmark,
    push,
    static,
    time_history,
    wood,
)
from frame2d.elements import BeamColumn, Brace, Link, ShearLink
from frame2d.errors import Frame2dError, InputError
from frame2d.model import Frame, State, System

__all__ = [
    "AnalysisError", "BeamColumn", "Brace", "Caughey", "Frame", "Frame2dError", "GeneralizedAlpha", "InputError",
    "Link", "Modal", "Outcome", "Rayleigh", "Response", "ShearLink", "State", "System", "buckling", "chung_hulbert",
    "cyclic", "gravity", "hilber", "modes", "newmark", "push", "static", "time_history", "wood",
]  # fmt: skip
