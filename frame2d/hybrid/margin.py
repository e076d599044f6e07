"""Stability margin of a test loop, predicted before the test from its linear model.

First estimate: a lag τ at time scale λ on the tested stiffness takes damping away,
ζ_eff ≈ ζ − ½·ω·(τ/λ)·φᵀK_tested φ / φᵀKφ (Horiuchi et al. 1999). The decision rests on the eigenvalues of the whole
loop in discrete time: scheme, compensation, moving command, delay and first-order lag of the rig.
"""

from typing import NamedTuple

import numpy as np
from scipy.linalg import eigh

from frame2d.errors import within
from frame2d.hybrid.scheme import State, Stepper


def first_estimate(
    M: np.ndarray, C: np.ndarray, K: np.ndarray, tested: np.ndarray, lag: float, time_scale: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """Circular frequencies (n,) rad/s and effective damping ratios (n,) of the modes of the whole structure.

    `K` is the whole stiffness, `tested` the tested part's share, both (n, n); `lag` in laboratory seconds.
    """
    values, modes = eigh(K, M)
    omega = np.sqrt(np.maximum(values, 0.0))
    zeta = np.einsum("ij,ik,kj->j", modes, C, modes) / (2.0 * np.maximum(omega, 1e-300))
    share = np.einsum("ij,ik,kj->j", modes, tested, modes) / np.maximum(values, 1e-300)
    return omega, zeta - 0.5 * omega * lag / time_scale * share


class Margin(NamedTuple):
    """What the eigenvalues of the loop say."""

    #: Largest modulus of an eigenvalue; the loop is stable up to 1.
    radius: float
    stable: bool
    #: Circular frequencies (rad/s) and damping ratios of the oscillating roots, by rising frequency.
    omega: np.ndarray
    damping: np.ndarray

    @property
    def least(self) -> float:
        """Least damping ratio; NaN if nothing oscillates."""
        return float(self.damping.min()) if self.damping.size else float("nan")

    def __str__(self) -> str:
        word = "stable" if self.stable else "UNSTABLE"
        return f"{word}: spectral radius {self.radius:.6f}, least damping ratio {self.least:.3%}"


def loop_margin(
    stepper: Stepper,
    computed: np.ndarray,
    interface: np.ndarray,
    tested: np.ndarray,
    lag: float = 0.0,
    weights: np.ndarray | None = None,
    time_constant: float = 0.0,
) -> Margin:
    """Eigenvalues of the test loop with linear parts.

    `computed`: (n, n) stiffness of the computed part; `interface`: (f, n); `tested`: (f, f) true stiffness of the
    specimen. `lag`: pure delay and `time_constant`: first-order lag of the rig, both in seconds of the record
    (laboratory over λ). `weights`: compensation, newest target first. The command moves linearly within a step.
    """
    matrix = loop_matrix(stepper, computed, interface, tested, lag, weights, time_constant)
    roots = np.linalg.eigvals(matrix)
    radius = float(np.abs(roots).max())
    upper = roots[(roots.imag > 1e-9) & (np.abs(roots) > 1e-6)]
    poles = np.log(upper) / stepper.dt
    order = np.argsort(np.abs(poles))
    omega = np.abs(poles)[order]
    return Margin(radius, radius <= 1.0 + 1e-9, omega, (-poles.real / np.abs(poles))[order])


def loop_matrix(
    stepper: Stepper,
    computed: np.ndarray,
    interface: np.ndarray,
    tested: np.ndarray,
    lag: float = 0.0,
    weights: np.ndarray | None = None,
    time_constant: float = 0.0,
) -> np.ndarray:
    """Matrix that takes the loop's state through one step without load; arguments as in `loop_margin`.

    State: u, v, a, r of the scheme, the last targets, the last commands, the rig's position.
    """
    L = np.atleast_2d(interface)
    f, n = L.shape
    w = np.ones(1) if weights is None else np.asarray(weights, dtype=np.float64)
    steps = within("lag over step", lag / stepper.dt, 0.0, 1000.0)
    whole = int(steps)
    part = steps - whole
    kept = whole + 2
    dt, T = stepper.dt, within("time constant of the rig", time_constant, 0.0, 1e6)
    decay = np.exp(-dt / T) if T > 0.0 else 0.0
    # Exact answer of 1/(1+Ts) to a linear segment c0 → c1: x' = decay·x + w0·c0 + w1·c1.
    ratio = T / dt * (1.0 - decay)
    w1, w0 = 1.0 - ratio, ratio - decay

    size = 4 * n + f * (len(w) - 1) + f * kept + f
    identity = np.eye(size)
    u, v, a, r = (identity[i * n : (i + 1) * n] for i in range(4))
    at = 4 * n
    targets = [identity[at + i * f : at + (i + 1) * f] for i in range(len(w) - 1)]
    at += f * (len(w) - 1)
    commands = [identity[at + i * f : at + (i + 1) * f] for i in range(kept)]
    position = identity[at + f * kept :]

    zero = np.zeros((n, size))
    state = State(u, v, a, r, zero)
    predicted = stepper.predict(state)
    target = L @ predicted
    known = [target, *targets]
    command = sum(weight * past for weight, past in zip(w, known, strict=True))
    path = [command, *commands]
    end = (1.0 - part) * path[whole] + part * path[whole + 1]
    if T > 0.0 and part > 0.0:
        # The delayed path has a corner inside the step: two linear segments.
        begin = (1.0 - part) * path[whole + 1] + part * path[whole + 2]
        corner = path[whole + 1]
        reached = _lag(_lag(position, begin, corner, part * dt, T), corner, end, (1.0 - part) * dt, T)
    elif T > 0.0:
        reached = decay * position + w0 * path[whole + 1] + w1 * end
    else:
        reached = end
    force = computed @ predicted + L.T @ (tested @ reached)
    new = stepper.correct(state, predicted, force, zero)
    return np.concatenate([new.u, new.v, new.a, new.r, *known[: len(w) - 1], *path[:kept], reached])


def _lag(x: np.ndarray, c0: np.ndarray, c1: np.ndarray, duration: float, T: float) -> np.ndarray:
    decay = np.exp(-duration / T)
    ratio = T / duration * (1.0 - decay)
    return np.asarray(decay * x + (ratio - decay) * c0 + (1.0 - ratio) * c1)
