"""Reading of computed curves: kinks of piecewise straight ones, extremes of smooth ones."""

from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicSpline


def kinks(x: np.ndarray, y: np.ndarray, same: float = 1e-6) -> list[tuple[float, float]]:
    """Points where neighbouring straight branches of a sampled curve meet, exact though samples miss them.

    A branch is two or more equal chord slopes, `same` being relative to the steepest chord.
    """
    slopes = np.diff(y) / np.diff(x)
    limit = same * float(np.abs(slopes).max())
    branches: list[tuple[float, int]] = []
    for k in range(1, slopes.size):
        if abs(slopes[k] - slopes[k - 1]) <= limit:
            slope = float(slopes[k])
            if not branches or abs(slope - branches[-1][0]) > 10.0 * limit:
                branches.append((slope, k))
    found = []
    for (a, i), (b, j) in pairwise(branches):
        at = (y[j] - y[i] + a * x[i] - b * x[j]) / (a - b)
        found.append((float(at), float(y[i] + a * (at - x[i]))))
    return found


def extremes(s: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Parameters at which a smooth curve y(s) turns, by a cubic spline."""
    roots = CubicSpline(s, y).derivative().roots(extrapolate=False)
    return np.asarray(roots)
