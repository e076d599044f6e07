"""Indices of the difference of two histories: root mean square, by named denominators, and signal energy."""

from typing import Any, NamedTuple

import numpy as np

from frame2d.compare.histories import Array, nonzero, pair
from frame2d.errors import known

#: Denominator D of a reference x, by name.
DENOMINATORS = {
    "range": "max x − min x",
    "rms": "√mean x²",
    "std": "√mean (x − mean x)²",
    "peak": "max |x|",
}


class Normalised(NamedTuple):
    """A normalised number that never travels without its denominator."""

    value: float
    denominator: str
    scale: float

    def __float__(self) -> float:
        return self.value

    def __str__(self) -> str:
        return f"{self.value:.4g} of D = {DENOMINATORS[self.denominator]} = {self.scale:.4g}"


def rmse(reference: Any, compared: Any) -> float:
    """Root mean square of the difference, √mean (y − x)², in the unit of the histories."""
    x, y = pair(reference, compared)
    return float(np.sqrt(np.mean((y - x) ** 2)))


def nrmse(reference: Any, compared: Any, denominator: str) -> Normalised:
    """√mean (y − x)² / D with D "range", "rms", "std" or "peak" of the reference; common practice, no source.

    Raises `InputError` for an unknown denominator or one that is 0.
    """
    x, y = pair(reference, compared)
    scale = denominator_of(x, denominator)
    return Normalised(rmse(x, y) / scale, denominator, scale)


def denominator_of(x: Array, name: str) -> float:
    """The denominator called `name` of reference `x`; raises `InputError` when it is 0."""
    known("denominator", name, DENOMINATORS)
    value = {
        "range": lambda: np.ptp(x),
        "rms": lambda: np.sqrt(np.mean(x**2)),
        "std": lambda: np.std(x),
        "peak": lambda: np.max(np.abs(x)),
    }[name]()
    return nonzero(float(value), f"{DENOMINATORS[name]} of the reference", scale=float(np.max(np.abs(x))))


def signal_energy_error(reference: Any, compared: Any) -> float:
    """(Σy² − Σx²)/Σx²: amplitude only, blind to phase; the "normalised energy error" of tracking papers.

    Signed; the papers print its magnitude. Not the energy of a loop: for that see `work_error`.
    """
    x, y = pair(reference, compared)
    return float((y @ y - x @ x) / nonzero(float(x @ x), "Σx² of the reference"))
