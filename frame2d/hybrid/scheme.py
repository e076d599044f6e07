"""Time integration with one measured displacement per step: one formula, of which every scheme is a coefficient table.

    ũ  = u + Δt·B1·v + Δt²·B2·a                      the displacement that is commanded and measured
    u' = ũ + b·Δt²·a',   v' = v + Δt·(G0·a + G1·a')
    M·(A1·a' + A0·a) + C·((1−f)v' + f·v) + (1−f)·r' + f·r = (1−f)·p' + f·p,   r' = r̃(ũ) + b·Δt²·K·a'

K is the stiffness of the operator, r̃ the restoring force that was measured (and computed) at ũ. A scheme is a frozen
value with a method ``table(M, C, K, dt) -> Table``; see `operator_splitting`, `linearly_implicit`, `chang`, `kr_alpha`.
"""

from typing import Any, NamedTuple, Protocol

import numpy as np

from frame2d.errors import InputError, positive


class Table(NamedTuple):
    """Coefficients of one scheme; matrices (n, n) or numbers."""

    B1: Any
    B2: Any
    b: float
    G0: Any
    G1: Any
    A1: Any
    A0: Any
    f: float
    #: Steps by which the stored velocity is behind its displacement (explicit velocity): the start allows for it.
    late: float = 0.0


class Scheme(Protocol):
    """A frozen value that turns matrices and a step into coefficients."""

    def table(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Table:
        """Coefficients for mass, damping and operator stiffness (n, n) and step (s)."""
        ...


class State(NamedTuple):
    """Displacement, velocity, acceleration, restoring force and load, (n,) each."""

    u: np.ndarray
    v: np.ndarray
    a: np.ndarray
    r: np.ndarray
    p: np.ndarray


class Stepper:
    """A scheme made ready for given matrices: `predict`, measure, `correct`. Arrays (n,) or (n, columns)."""

    def __init__(self, scheme: Scheme, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> None:
        self.dt = positive("step", dt, hint="the step is in seconds of the record, not of the laboratory")
        self.scheme = scheme
        self.M, self.C, self.K = (square(name, a) for name, a in (("M", M), ("C", C), ("K", K)))
        if not self.M.shape == self.C.shape == self.K.shape:
            raise InputError(
                f"M, C, K have shapes {self.M.shape}, {self.C.shape}, {self.K.shape}; allowed: all the same"
            )
        n, eye = len(self.M), np.eye(len(self.M))
        t = scheme.table(self.M, self.C, self.K, dt)
        B1, B2, G0, G1, A1, A0 = (
            part if np.ndim(part) else part * eye for part in (t.B1, t.B2, t.G0, t.G1, t.A1, t.A0)
        )
        left = self.M @ A1 + (1.0 - t.f) * dt * self.C @ G1 + (1.0 - t.f) * t.b * dt**2 * self.K
        if np.linalg.cond(left) > 1e14:
            raise InputError(
                f"{scheme} has no solution: its matrix of {n} freedoms is singular. Likely mistake: a freedom without "
                "mass, which this scheme cannot step; condense it"
            )
        self.inverse = np.linalg.inv(left)
        self.Bv, self.Ba = dt * B1, dt**2 * B2
        self.corrector, self.f, self.late = t.b * dt**2, t.f, t.late
        self.Ga, self.Gn = dt * G0, dt * G1
        self.MA = self.M @ A0 + (1.0 - t.f) * dt * self.C @ G0

    def start(self, u: np.ndarray, v: np.ndarray, r: np.ndarray, p: np.ndarray) -> State:
        """State in equilibrium with restoring force `r` and load `p`."""
        a = np.linalg.solve(self.M, p - self.C @ v - r)
        return State(u, v - self.late * (self.Ga @ a), a, r, p)

    def predict(self, s: State) -> np.ndarray:
        """The displacement ũ to command."""
        return np.asarray(s.u + self.Bv @ s.v + self.Ba @ s.a)

    def correct(self, s: State, predicted: np.ndarray, r: np.ndarray, p: np.ndarray) -> State:
        """The new state, given restoring force `r` at the predicted displacement and load `p` at the new time."""
        f = self.f
        right = (1.0 - f) * (p - r) + f * (s.p - s.r) - self.MA @ s.a - self.C @ s.v
        a = self.inverse @ right
        if self.corrector == 0.0:
            return State(predicted, s.v + self.Ga @ s.a + self.Gn @ a, a, r, p)
        correction = self.corrector * a
        return State(predicted + correction, s.v + self.Ga @ s.a + self.Gn @ a, a, r + self.K @ correction, p)


def square(name: str, matrix: np.ndarray) -> np.ndarray:
    """A finite square matrix, or `InputError`."""
    array = np.atleast_2d(np.asarray(matrix, dtype=np.float64))
    if array.ndim != 2 or array.shape[0] != array.shape[1] or not np.isfinite(array).all():
        raise InputError(f"{name} has shape {array.shape}; allowed: a square matrix of finite numbers")
    return array


def check_operator(operator: np.ndarray, credible: np.ndarray) -> float:
    """Refuse an operator that is softer than the specimen may become; return the margin of stiffness (≥ 0, relative).

    `operator` and `credible` are the specimen's share of the operator stiffness and its largest credible stiffness,
    (n, n) on the interface freedoms: operator − credible must have no negative eigenvalue. Raises `InputError`.
    Source: stability of operator splitting needs K_I ≥ K, Nakashima et al. 1990, Combescure & Pegon 1997; for
    stiffening systems in explicit schemes, Tang & Qin 2020.
    """
    assumed, largest = square("operator stiffness", operator), square("largest credible stiffness", credible)
    if assumed.shape != largest.shape:
        raise InputError(
            f"operator is {assumed.shape}, credible stiffness {largest.shape}; allowed: the same shape"
        )
    values, directions = np.linalg.eigh(0.5 * ((assumed - largest) + (assumed - largest).T))
    scale = max(float(np.abs(np.linalg.eigvalsh(0.5 * (largest + largest.T))).max()), 1e-300)
    if values[0] < -1e-9 * scale:
        w = directions[:, 0]
        ratio = float(w @ largest @ w) / max(float(w @ assumed @ w), 1e-300)
        raise InputError(
            f"the specimen may become {ratio:.3g} times as stiff as the operator assumes, along "
            f"{np.round(w, 3).tolist()} of the interface (lacking {-values[0]:.4g} N/m): the scheme could lose "
            f"stability. Allowed: operator ≥ largest credible stiffness. Change: multiply the specimen's operator "
            f"stiffness by {max(ratio, 1.0) * 1.05:.3g}, or use the initial stiffness of the specimen with its slack "
            "closed. Likely mistake: the stiffness of a pinched loop's middle"
        )
    return float(values[0] / scale)
