"""Indices of the work of two force-deformation histories, E = ∫F du by the trapezoidal rule."""

from typing import Any

import numpy as np

from frame2d.compare.histories import Array, nonzero, pair


def work(deformation: Any, force: Any) -> Array:
    """Work ∫F du up to each sample (J), 0 at the first."""
    u, F = pair(deformation, force, ("deformation", "force"))
    return np.concatenate([[0.0], np.cumsum(0.5 * (F[1:] + F[:-1]) * np.diff(u))])


def work_error(u: Any, F: Any, u_compared: Any, F_compared: Any) -> float:
    """(E_y − E_x)/E_x at the end, E = ∫F du: the "normalised energy error" of loop papers (they print |…|).

    Raises `InputError` when the reference ends with no work done.
    """
    Ex, Ey = _works(u, F, u_compared, F_compared)
    scale = float(np.max(np.abs(Ex)))
    return float((Ey[-1] - Ex[-1]) / nonzero(float(Ex[-1]), "work of the reference at the end", scale))


def end_work_error(u: Any, F: Any, u_compared: Any, F_compared: Any) -> float:
    """(E_y − E_x)_end / max|E_x|: defined also where an elastic reference returns its work.

    After Thewalt & Roman, "Performance parameters for pseudodynamic tests", 1994.
    """
    Ex, Ey = _works(u, F, u_compared, F_compared)
    return float((Ey[-1] - Ex[-1]) / nonzero(float(np.max(np.abs(Ex))), "max|work| of the reference"))


def largest_work_error(u: Any, F: Any, u_compared: Any, F_compared: Any) -> float:
    """max over the samples of |E_y − E_x| / max|E_x|; after Mosqueda et al. 2007 (definitions vary)."""
    Ex, Ey = _works(u, F, u_compared, F_compared)
    return float(np.max(np.abs(Ey - Ex)) / nonzero(float(np.max(np.abs(Ex))), "max|work| of the reference"))


def _works(u: Any, F: Any, u_compared: Any, F_compared: Any) -> tuple[Array, Array]:
    return pair(work(u, F), work(u_compared, F_compared), ("reference loop", "compared loop"))
