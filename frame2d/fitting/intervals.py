"""Intervals, correlations and directions that the tests do not determine, from the likelihood of the noise model.

Wald intervals come from the inverse of JᵀJ (Fisher information), J the residuals' derivatives over noise, in
the coordinates of the search, and are mapped back: so they are unsymmetric for logarithmic ranges. What the
tests do not determine is held by a prior whose standard deviation is the whole range (own rule): it changes
nothing that they do determine. Profile
intervals are where the sum of squares has grown by t² with all other parameters fitted anew (Bates & Watts,
Nonlinear Regression Analysis, 1988); they follow curvature, bounds, and the edges that laws of straight lines have
in their likelihood: Wald intervals of those are too short.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from frame2d.fitting.noise import Noise
from frame2d.fitting.problem import Problem
from frame2d.fitting.search import Misfit, normal_equations, settle

#: A direction is not determined when its interval, from one end to the other, is longer than the box is wide.
LONGEST = 1.0
#: Wald intervals wider than this share of the range, or touching a bound, are replaced by profiles.
WIDE = 0.06
#: So are those at whose ends the root of the growth is off by more than this share (own rule).
BENT = 0.1


@dataclass(frozen=True)
class Direction:
    """A combination of parameters that the tests do not determine, with the shares of each, largest first."""

    shares: tuple[tuple[str, float], ...]
    singular_value: float

    def __str__(self) -> str:
        return " ".join(f"{value:+.2f}·{name}" for name, value in self.shares)


@dataclass(frozen=True)
class Uncertainty:
    """Covariance in search coordinates, and what follows from it; `low` and `high` are coordinates too."""

    covariance: np.ndarray
    correlation: np.ndarray
    low: np.ndarray
    high: np.ndarray
    profiled: tuple[bool, ...]
    singular_values: np.ndarray
    directions: tuple[Direction, ...]

    @property
    def deviation(self) -> np.ndarray:
        """Standard deviations in search coordinates."""
        return np.sqrt(np.diag(self.covariance))


def uncertainty(
    problem: Problem, x: np.ndarray, noise: list[Noise], level: float, likelihood: bool, profile: str
) -> Uncertainty:
    """Intervals at the optimum x; `profile` "auto", "all" or "none"."""
    misfit = Misfit(problem, np.array([each.effective for each in noise]), likelihood)
    covariance, s, V = _covariance(problem, misfit, x, noise, likelihood)
    deviation = np.sqrt(np.diag(covariance))
    z = float(student.ppf(0.5 + 0.5 * level, max(problem.samples - problem.size, 1)))
    low, high = x - z * deviation, x + z * deviation
    profiled = np.zeros(problem.size, dtype=bool)
    if profile != "none" and likelihood:
        bent = _bent(misfit, x, covariance, z)
        for j in range(problem.size):
            doubtful = high[j] - low[j] > WIDE or low[j] < 0.0 or high[j] > 1.0
            if profile == "all" or doubtful or bent[j]:
                low[j], high[j] = _profile(misfit, x, covariance, j, z)
                profiled[j] = True
    scale = np.where(deviation > 0.0, deviation, 1.0)
    names = [b.name for b in problem.free]
    directions = tuple(
        _direction(names, V[i], float(s[i])) for i in range(s.size) if 2.0 * z > LONGEST * float(s[i])
    )
    return Uncertainty(
        covariance,
        covariance / np.outer(scale, scale),
        np.clip(low, 0.0, 1.0),
        np.clip(high, 0.0, 1.0),
        tuple(bool(p) for p in profiled),
        s,
        directions,
    )


def _covariance(
    problem: Problem, misfit: Misfit, x: np.ndarray, noise: list[Noise], likelihood: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Covariance, singular values and directions; differences a fifth of a standard deviation wide."""
    scale = 1.0
    if (
        not likelihood
    ):  # in units of the residuals that are left, so that steps and prior have the same meaning
        r = misfit(x)
        scale = float(np.sqrt(r @ r / max(problem.samples - problem.size, 1)))
    rows = misfit.jacobian(x, central=True) / scale
    for _ in range(2):
        misfit.steps = np.clip(0.2 / np.maximum(np.linalg.norm(rows, axis=1), 1e-300), 1e-6, 0.02)
        rows = misfit.jacobian(x, central=True) / scale
    information = normal_equations(rows, rows[0])[0]
    squares, axes = np.linalg.eigh(information)
    squares, axes = np.maximum(squares[::-1], 0.0), axes.T[::-1]
    inverse = (axes.T / (squares + 1.0)) @ axes
    if likelihood:
        return inverse, np.sqrt(squares), axes
    # Least squares of other weights than the noise's: the sandwich of Huber 1967, with the noise where it is.
    middle = np.zeros_like(inverse)
    start = 0
    for (_, target), each in zip(problem.tests, noise, strict=True):
        size = target.blocks(target.force[None, :], problem.weights).shape[1]
        gradient = (
            target.noise_gradient(rows[:, start : start + size].T, problem.weights) * each.effective / scale
        )
        middle += gradient.T @ gradient
        start += size
    return inverse @ middle @ inverse, np.sqrt(squares), axes


def _direction(names: list[str], v: np.ndarray, s: float) -> Direction:
    v = v * np.sign(v[int(np.argmax(np.abs(v)))])
    order = np.argsort(-np.abs(v))
    shares = tuple((names[i], float(v[i])) for i in order if abs(v[i]) > 0.2)
    return Direction(shares, s)


def _bent(misfit: Misfit, x: np.ndarray, covariance: np.ndarray, z: float) -> np.ndarray:
    """Whether the sum of squares at either Wald end, the others moved along, has not grown by z² as a parabola does."""
    moves = z * covariance / np.sqrt(np.diag(covariance))  # a column a parameter
    X = np.clip(np.concatenate([x + moves.T, x - moves.T]), 0.0, 1.0)
    rows = misfit.rows(np.concatenate([x[None, :], X]))
    squares = np.einsum("ij,ij->i", rows, rows)
    grown = np.sqrt(np.maximum(squares[1:] - squares[0], 0.0)).reshape(2, x.size)
    return ~np.all(np.abs(grown - z) < BENT * z, axis=0)


def _profile(misfit: Misfit, x: np.ndarray, covariance: np.ndarray, j: int, z: float) -> tuple[float, float]:
    """Both ends where the profiled sum of squares has grown by z²; the bound where it never does."""
    base = misfit(x)
    least = float(base @ base)
    deviation = float(np.sqrt(covariance[j, j]))
    slope = covariance[:, j] / covariance[j, j]
    ends = []
    for side in (-1.0, 1.0):
        limit = float(x[j] if side < 0.0 else 1.0 - x[j])
        inner, outer = (0.0, 0.0), (np.inf, np.inf)  # distance along j, root of the growth there
        distance = min(z * deviation, limit)
        others = x + slope * side * distance
        for _ in range(8):
            if distance <= 1e-12:
                break
            at = x[j] + side * distance
            root, others = _grown(misfit, np.clip(others, 0.0, 1.0), at, j, least)
            if root < z:
                inner = (distance, root)
            else:
                outer = (distance, root)
            if abs(root - z) < 0.02 * z or (root < z and distance >= limit):
                break
            if np.isinf(outer[0]):
                distance = min(distance * min(max(z / max(root, 1e-3), 1.1), 3.0), limit)
            else:  # between a straight line, which follows a parabola, and the middle, which follows anything
                width = outer[0] - inner[0]
                line = (z - inner[1]) / (outer[1] - inner[1])
                distance = inner[0] + width * min(max(line, 0.2), 0.8)
        wald = min(z * deviation, limit)
        # Where the law has edges, the others may not find their way round them: then the wider one is said.
        ends.append(float(x[j]) + side * (distance if distance > 0.5 * wald else wald))
    return ends[0], ends[1]


def _grown(misfit: Misfit, x: np.ndarray, value: float, j: int, least: float) -> tuple[float, np.ndarray]:
    """Root of the growth of the sum of squares with coordinate j held, and the fitted point."""
    held = x.copy()
    held[j] = min(max(value, 0.0), 1.0)
    cost, found = settle(misfit, held, 0.02, 10, j)
    return float(np.sqrt(max(cost - least, 0.0))), found
