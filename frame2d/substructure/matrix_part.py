"""`MatrixPart`: a linear part given by its matrices, with its own scheme and step.

Generalized-alpha (Chung & Hulbert 1993) and its first-order form for Y = {u, v} (Jansen, Whiting & Hulbert 2000), both
as in `frame2d.analysis.schemes`, in the same kinematics as the engine's, freedoms without mass included, so that the
parts of one frame fit together.
"""

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from scipy.linalg import lu_factor, lu_solve
from scipy.sparse import csr_matrix

from frame2d.analysis.runner import Options
from frame2d.analysis.schemes import FirstOrderAlpha, GeneralizedAlpha, Scheme, chung_hulbert
from frame2d.errors import InputError, positive


@dataclass(frozen=True)
class MatrixPart:
    """M·a + C·v + K·u = p + Bᵀ·Λ with matrices n × n; `interface` B is ties × n, signed.

    `load` is (steps + 1, n) in N and N·m at the part's own steps; `u0`, `v0` (n,) the start; `offset` (ties,) what
    B·u shows at u = 0. `scheme` is a `GeneralizedAlpha` or `FirstOrderAlpha`.
    """

    name: str
    M: Any
    C: Any
    K: Any
    interface: Any
    dt: float
    scheme: Scheme = field(default_factory=chung_hulbert)
    load: np.ndarray | None = None
    u0: np.ndarray | None = None
    v0: np.ndarray | None = None
    offset: np.ndarray | None = None

    def __post_init__(self) -> None:
        positive(f"dt of part {self.name!r}", self.dt)
        n = np.shape(self.M)[0]
        for what in ("M", "C", "K"):
            if np.shape(getattr(self, what)) != (n, n):
                raise InputError(
                    f"{what} of part {self.name!r} has shape {np.shape(getattr(self, what))}; allowed: {(n, n)}"
                )
        if np.ndim(self.interface) != 2 or np.shape(self.interface)[1] != n:
            raise InputError(
                f"interface of part {self.name!r} has shape {np.shape(self.interface)}; allowed: ties × {n}"
            )
        if not isinstance(self.scheme, GeneralizedAlpha | FirstOrderAlpha):
            raise InputError(
                f"scheme of part {self.name!r} is {self.scheme!r}; allowed: GeneralizedAlpha or FirstOrderAlpha"
            )

    def moving(self, steps: int) -> "MovingMatrix":
        """The part ready for `steps` of its own steps."""
        return MovingMatrix(self, steps)


class LinearSnap(NamedTuple):
    """Displacement, velocity, acceleration, and the rate of displacement of the state-space scheme."""

    u: np.ndarray
    v: np.ndarray
    a: np.ndarray
    rate: np.ndarray


class History(NamedTuple):
    """Histories of a part given by matrices, steps × freedoms, SI; energies in J by step."""

    time: np.ndarray
    u: np.ndarray
    v: np.ndarray
    a: np.ndarray
    kinetic: np.ndarray
    strain: np.ndarray


def dense(matrix: Any) -> np.ndarray:
    """A sparse or dense matrix as an array."""
    return np.asarray(matrix.toarray() if hasattr(matrix, "toarray") else matrix, dtype=float)


class MovingMatrix:
    """A `MatrixPart` under way."""

    linear = True

    def __init__(self, part: MatrixPart, steps: int) -> None:
        self.part, self.dt, self.steps = part, part.dt, steps
        self.M, self.C, self.K = dense(part.M), dense(part.C), dense(part.K)
        self.B = csr_matrix(part.interface)
        self.rows = self.B.toarray()
        n = len(self.M)
        given = np.zeros((1, n)) if part.load is None else np.asarray(part.load, dtype=float)
        if given.ndim != 2 or given.shape[1] != n or not np.all(np.isfinite(given)):
            raise InputError(
                f"load of part {part.name!r} has shape {given.shape}; allowed: (steps + 1, {n}) finite numbers"
            )
        self.loads = np.vstack([given[: steps + 1], np.zeros((max(0, steps + 1 - len(given)), n))])
        self.inertial = np.abs(self.M).sum(axis=0) > 0.0
        self.factors: dict[float, Any] = {}

    def prepare(self, tolerance: float, options: Options) -> None:
        """Nothing to iterate."""

    def reference(self) -> float:
        """Largest force that acts or stands at the start."""
        snap, _ = self.start()
        forces = np.abs(self.loads).max(), np.abs(self.K @ snap.u).max(), np.abs(self.C @ snap.v).max()
        # Where nothing else acts: what would stop the part within a hundred steps.
        inertia = np.abs(self.M @ snap.v).max() / (100.0 * self.dt)
        return float(max(*forces, inertia)) or 1.0

    def row_scale(self) -> np.ndarray:
        """Scale of the multipliers: 1 where the part takes part in a tie."""
        return np.asarray(abs(self.B).sign().max(axis=1).todense()).ravel()

    def mark_inertial(self, rows: np.ndarray) -> None:
        """Treat the freedoms of these ties as having mass."""
        self.inertial[np.unique(self.B[np.flatnonzero(rows)].indices)] = True

    def start(self) -> tuple[LinearSnap, np.ndarray]:
        """Snap before the accelerations are known, and the unbalanced force."""
        n = len(self.M)
        u = np.zeros(n) if self.part.u0 is None else np.asarray(self.part.u0, dtype=float)
        v = np.zeros(n) if self.part.v0 is None else np.asarray(self.part.v0, dtype=float)
        return LinearSnap(u, v, np.zeros(n), v), self.loads[0] - self.C @ v - self.K @ u

    def started(self, snap: LinearSnap, acceleration: np.ndarray) -> LinearSnap:
        """Snap with its accelerations."""
        return snap._replace(a=acceleration)

    def step(self, snap: LinearSnap, first: int, last: int, lam0: np.ndarray, lam1: np.ndarray) -> LinearSnap:
        """From own step `first` to `last` under multipliers `lam0` to `lam1`."""
        p0, p1 = self.loads[first] + lam0 @ self.rows, self.loads[last] + lam1 @ self.rows
        length = self.dt * (last - first)
        if isinstance(self.part.scheme, FirstOrderAlpha):
            return self._first_order(snap, p0, p1, length, self.part.scheme)
        return self._second_order(snap, p0, p1, length, self.part.scheme)  # type: ignore[arg-type]

    def open(self, snap: LinearSnap, first: int, last: int, lam0: np.ndarray) -> None:
        """A linear part needs no joint iteration."""
        return None

    def _factored(self, length: float, k: float, c: float, m: float) -> Any:
        if length not in self.factors:
            self.factors[length] = lu_factor(k * self.K + c * self.C + m * self.M)
        return self.factors[length]

    def _second_order(
        self, s: LinearSnap, p0: np.ndarray, p1: np.ndarray, dt: float, scheme: GeneralizedAlpha
    ) -> LinearSnap:
        am, af, gamma, beta = scheme.alpha_m, scheme.alpha_f, scheme.gamma, scheme.beta
        heavy = self.inertial
        cv, ca, new = gamma / (beta * dt), 1.0 / (beta * dt * dt), 1.0 - af
        up = s.u + dt * s.v + np.where(heavy, dt * dt * (0.5 - beta) * s.a, 0.0)
        vp = s.v + np.where(heavy, dt * (1.0 - gamma) * s.a, 0.0)
        right = new * p1 + af * (p0 - self.K @ s.u)
        right += self.M @ ((1.0 - am) * ca * up - am * s.a)
        right += self.C @ (new * (cv * up - vp) - af * s.v)
        u = lu_solve(self._factored(dt, new, new * cv, (1.0 - am) * ca), right, check_finite=False)
        a = np.where(heavy, ca * (u - up), 0.0)
        return LinearSnap(u, vp + cv * (u - up), a, s.rate)

    def _first_order(
        self, s: LinearSnap, p0: np.ndarray, p1: np.ndarray, dt: float, scheme: FirstOrderAlpha
    ) -> LinearSnap:
        am, af, gamma = scheme.alpha_m, scheme.alpha_f, scheme.gamma
        # u̇(n+αm) = v(n+αf) gives v' = vp + cv·(u' − u), and v̇' follows from v'.
        cu = am / (gamma * dt)
        cv = cu / af
        middle = s.rate * (1.0 - am / gamma)
        vp = s.v + (middle - s.v) / af
        change = (vp - s.v) / (gamma * dt) - s.a / gamma
        right = af * p1 + (1.0 - af) * (p0 - self.K @ s.u)
        right += self.M @ (am * cv / (gamma * dt) * s.u - s.a - am * change)
        right += self.C @ (cu * s.u - middle)
        u = lu_solve(self._factored(dt, af, cu, am * cv / (gamma * dt)), right, check_finite=False)
        v = vp + cv * (u - s.u)
        a = np.where(self.inertial, s.a * (1.0 - 1.0 / gamma) + (v - s.v) / (gamma * dt), 0.0)
        return LinearSnap(u, v, a, (1.0 - 1.0 / gamma) * s.rate + (u - s.u) / (gamma * dt))

    def failure(self, snap: LinearSnap, when: str) -> str:
        """A linear part has no reason of its own to fail."""
        return f"part {self.part.name!r} {when}"

    def velocity(self, snap: LinearSnap) -> np.ndarray:
        """B·v."""
        return np.asarray(self.rows @ snap.v)

    def displacement(self, snap: LinearSnap) -> np.ndarray:
        """B·u."""
        moved = np.asarray(self.rows @ snap.u)
        return moved if self.part.offset is None else moved + self.part.offset

    def mass(self) -> csr_matrix:
        """Mass matrix."""
        return csr_matrix(self.M)

    def result(self, snaps: list[LinearSnap], multipliers: np.ndarray) -> History:
        """Histories at the part's own steps."""
        u, v, a = (np.array([snap[k] for snap in snaps]) for k in range(3))
        kinetic = 0.5 * np.einsum("ti,ij,tj->t", v, self.M, v, optimize=True)
        strain = 0.5 * np.einsum("ti,ij,tj->t", u, self.K, u, optimize=True)
        return History(self.dt * np.arange(len(snaps)), u, v, a, kinetic, strain)
