"""Analyses: plain functions from a `System` and a `State` to a `Response`.

| function | gives |
| --- | --- |
| gravity, static | equilibrium under load cases, first or second order |
| modes, buckling | eigenvalues |
| push, cyclic | curves under displacement or arc-length control, past their peaks |
| time_history | motion under ground acceleration, support motion and force histories |
| StepByStep | the same, one step at a time, for whoever owns the loop |
"""

from frame2d.analysis.buckling import buckling
from frame2d.analysis.damping import Caughey, Modal, Rayleigh, StiffnessMass
from frame2d.analysis.ensemble import ensemble
from frame2d.analysis.history import time_history
from frame2d.analysis.modes import Modes, modes
from frame2d.analysis.operators import stable_step
from frame2d.analysis.outcome import AnalysisError, Outcome
from frame2d.analysis.push import cyclic, push
from frame2d.analysis.response import Response
from frame2d.analysis.schemes import (
    CentralDifference,
    Chang,
    FirstOrderAlpha,
    GeneralizedAlpha,
    KolayRicles,
    OperatorSplitting,
    central_difference,
    chang,
    chung_hulbert,
    first_order_alpha,
    hilber,
    kolay_ricles,
    newmark,
    operator_splitting,
    wood,
)  # fmt: skip
from frame2d.analysis.static import gravity, static
from frame2d.analysis.step_by_step import StepByStep

__all__ = [
    "AnalysisError",
    "Caughey",
    "CentralDifference",
    "Chang",
    "FirstOrderAlpha",
    "GeneralizedAlpha",
    "KolayRicles",
    "Modal",
    "Modes",
    "OperatorSplitting",
    "Outcome",
    "Rayleigh",
    "Response",
    "StepByStep",
    "StiffnessMass",
    "buckling",
    "central_difference",
    "chang",
    "chung_hulbert",
    "cyclic",
    "ensemble",
    "first_order_alpha",
    "gravity",
    "hilber",
    "kolay_ricles",
    "modes",
    "newmark",
    "operator_splitting",
    "push",
    "stable_step",
    "static",
    "time_history",
    "wood",
]  # fmt: skip
