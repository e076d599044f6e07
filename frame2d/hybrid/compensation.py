"""Delay compensation: what to command so that the rig, which lags, is where the solver wants it at the end of the step.

A compensator takes the target of each step and the last measured displacement, and returns the command. All are
linear in the last targets with weights `weights` (newest first), (targets,): the stability margin is predicted with
exactly these. Times are those of the record: a laboratory lag τ at time scale λ counts as τ/λ.
"""

from typing import Any, Protocol

import numpy as np

from frame2d.errors import InputError, positive, within


class Compensator(Protocol):
    """Duties of a delay compensation."""

    #: Weights of the newest and earlier targets; adaptive ones show their present weights.
    weights: np.ndarray

    def begin(self, origin: np.ndarray) -> None:
        """The structure has been at rest at `origin` (freedoms,) before the first step."""
        ...

    def command(self, target: np.ndarray) -> np.ndarray:
        """Command (freedoms,) for the end of the step whose target is given."""
        ...

    def measured(self, displacement: np.ndarray) -> None:
        """Measured displacement at the end of the step."""
        ...

    def describe(self) -> dict[str, Any]:
        """Plain data for the journal."""
        ...


class Weighted:
    """Fixed weights on the last targets; before enough targets are known the structure is taken at rest at its start."""

    def __init__(self, weights: np.ndarray, name: str, freedoms: int) -> None:
        self.weights = np.asarray(weights, dtype=np.float64)
        self.name = name
        self._targets = np.zeros((len(self.weights), freedoms))

    def begin(self, origin: np.ndarray) -> None:
        """At rest at `origin` until now; without this call at zero."""
        self._targets[:] = origin

    def command(self, target: np.ndarray) -> np.ndarray:
        """Weighted sum of the last targets."""
        if len(self.weights) > 1:
            self._targets[1:] = self._targets[:-1]
        self._targets[0] = target
        return np.asarray(np.dot(self.weights, self._targets))

    def measured(self, displacement: np.ndarray) -> None:
        """Not needed."""

    def describe(self) -> dict[str, Any]:
        """Plain data for the journal."""
        return {"compensation": self.name, "weights": self.weights.tolist()}


def uncompensated(freedoms: int = 1) -> Weighted:
    """Command the target itself."""
    return Weighted(np.ones(1), "none", freedoms)


def polynomial(order: int, lag: float, dt: float, freedoms: int = 1) -> Weighted:
    """Extrapolate the last order + 1 targets by `lag` (s) ahead; order 1-3.

    Lagrange weights at η = lag/Δt from nodes 0, −1, −2, −3; a lag of one step and order 3 give 4, −6, 4, −1.
    Source: T. Horiuchi, M. Inoue, T. Konno & Y. Namita, Real-time hybrid experimental system with actuator delay
    compensation, 1999.
    """
    if order not in (1, 2, 3):
        raise InputError(f"order of the extrapolation is {order!r}; allowed: 1, 2, 3")
    eta = within(
        "lag over step",
        lag / positive("step", dt),
        0.0,
        4.0,
        hint="compensating more than 4 steps is a guess",
    )
    weights = np.ones(order + 1)
    for i in range(order + 1):
        for j in range(order + 1):
            if j != i:
                weights[i] *= (eta + j) / (j - i)
    return Weighted(weights, f"polynomial of order {order}", freedoms)


def inverse_model(first: float, second: float, dt: float, freedoms: int = 1) -> Weighted:
    """Invert the rig's model 1/(1 + first·s + second·s²): command = u + first·u̇ + second·ü of the target.

    `first` (s) and `second` (s²) in record time: for a rig with coefficients a1, a2 in laboratory time, a1/λ and
    a2/λ². Derivatives are backward differences. Source: J. E. Carrion & B. F. Spencer, Model-based strategies for
    real-time hybrid testing, 2007 (from memory).
    """
    within("InverseModel first over step", first / positive("step", dt), 0.0, 10.0)
    c1, c2 = first / dt, second / dt**2
    # Backward differences of second order for the rate, of first order for the acceleration.
    weights = np.array([1.0 + 1.5 * c1 + c2, -2.0 * c1 - 2.0 * c2, 0.5 * c1 + c2])
    return Weighted(weights, "inverse model", freedoms)


class AdaptiveSeries:
    """Adaptive time series: command = a0·u + a1·u̇ + a2·ü with a fitted to what was commanded and measured.

    The coefficients solve least squares of command = a0·m + a1·ṁ + a2·m̈ over the last `window` steps, all freedoms
    together, pulled towards their start (1, `lag`, `lag`²/2) with weight `trust` of the data's, and kept within bounds:
    a0 in [0.9, 1.1], a1 in [0, 3·lag], a2 in [0, 4.5·lag²]. It adapts only while the measured rms over the
    window exceeds `activity` (m). Source: Y. Chae, K. Kazemibidokhti & J. M. Ricles, Adaptive time series
    compensator, 2013 (from memory); the pull and the bounds are ours.
    """

    def __init__(
        self,
        lag: float,
        dt: float,
        freedoms: int = 1,
        window: int = 200,
        activity: float = 1e-4,
        trust: float = 1e-5,
    ) -> None:
        self.lag, self.dt = positive("AdaptiveSeries.lag", lag), positive("step", dt)
        self.window = int(within("AdaptiveSeries.window", window, 10, 1e5))
        self.activity, self.trust = positive("AdaptiveSeries.activity", activity), positive("trust", trust)
        self.start = np.array([1.0, lag, 0.5 * lag**2])
        self.low = np.array([0.9, 0.0, 0.0])
        self.high = np.array([1.1, 3.0 * lag, 4.5 * lag**2])
        self.a = self.start.copy()
        self._targets = np.zeros((3, freedoms))
        self._measured = np.zeros((3, freedoms))
        self._command = np.zeros(freedoms)
        self._normal = np.zeros((self.window, 3, 4))
        self._at = 0

    @property
    def weights(self) -> np.ndarray:
        """Present weights of the last three targets."""
        c0, c1, c2 = self.a[0], self.a[1] / self.dt, self.a[2] / self.dt**2
        return np.array([c0 + 1.5 * c1 + c2, -2.0 * c1 - 2.0 * c2, 0.5 * c1 + c2])

    def begin(self, origin: np.ndarray) -> None:
        """At rest at `origin` until now; without this call at zero."""
        self._targets[:], self._measured[:] = origin, origin

    def command(self, target: np.ndarray) -> np.ndarray:
        """Command with the present coefficients."""
        self._targets[1:] = self._targets[:-1].copy()
        self._targets[0] = target
        self._command = np.asarray(self.weights @ self._targets)
        return self._command

    def measured(self, displacement: np.ndarray) -> None:
        """Take what the last command became, and fit again."""
        self._measured[1:] = self._measured[:-1].copy()
        self._measured[0] = displacement
        m, dt = self._measured, self.dt
        rows = np.stack(
            [m[0], (1.5 * m[0] - 2.0 * m[1] + 0.5 * m[2]) / dt, (m[0] - 2.0 * m[1] + m[2]) / dt**2]
        )
        # Weighed by the starting coefficients, so that the three are of one size.
        scaled = rows * self.start[:, None]
        self._normal[self._at % self.window, :, :3] = scaled @ scaled.T
        self._normal[self._at % self.window, :, 3] = scaled @ self._command
        self._at += 1
        total = self._normal.sum(axis=0)
        if total[0, 0] < self.window * self.activity**2:
            return
        pull = self.trust * total[0, 0]
        fitted = np.linalg.solve(total[:, :3] + pull * np.eye(3), total[:, 3] + pull) * self.start
        self.a = np.minimum(np.maximum(fitted, self.low), self.high)

    def describe(self) -> dict[str, Any]:
        """Plain data for the journal."""
        return {
            "compensation": "adaptive time series",
            "lag": self.lag,
            "window": self.window,
            "trust": self.trust,
        }
