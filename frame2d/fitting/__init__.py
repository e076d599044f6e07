"""Fitting laws to component tests."""

from frame2d.fitting.fitting import fit
from frame2d.fitting.result import Errors, Fit, Parameter, errors_of
from frame2d.fitting.scores import ACCEPTED, Weights
from frame2d.fitting.search import Effort
from frame2d.fitting.virtual import VirtualTest, hidden_law, virtual_test

__all__ = [
    "ACCEPTED",
    "Effort",
    "Errors",
    "Fit",
    "Parameter",
    "VirtualTest",
    "Weights",
    "errors_of",
    "fit",
    "hidden_law",
    "virtual_test",
]
