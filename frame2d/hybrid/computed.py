"""Computed part given by matrices, and the solver that steps it against a measured force.

Everything that steps a test is a `Solver`: it says which interface displacement comes next and takes the force that
was measured there.
"""

from collections.abc import Callable
from typing import Any, NamedTuple, Protocol

import numpy as np

from frame2d.errors import Frame2dError, InputError, within
from frame2d.hybrid.network import Network, answer
from frame2d.hybrid.scheme import Scheme, State, Stepper, check_operator, square
from frame2d.kernels import OK


class Energies(NamedTuple):
    """Energy of the whole structure, J: what the energy monitor weighs its error against."""

    input: float
    strain: float


class Solver(Protocol):
    """Duties of whatever computes the rest of the structure while a test runs.

    The same history of measured forces must give the same commands, bit for bit: on that rests resuming a test.
    """

    freedoms: int
    steps: int
    dt: float

    @property
    def origin(self) -> np.ndarray:
        """Interface displacement (freedoms,) from which it starts, and where the specimen must stand."""
        ...

    def predict(self) -> np.ndarray:
        """Interface displacement (freedoms,) of the next step."""
        ...

    def correct(self, force: np.ndarray) -> None:
        """Take the measured interface force (freedoms,) and finish the step."""
        ...

    def energies(self) -> Energies:
        """Input and strain energy so far."""
        ...

    def describe(self) -> dict[str, Any]:
        """Plain data that fixes the computation, for the journal."""
        ...


class Computed(NamedTuple):
    """The computed part: matrices (n, n) of both parts together, as the equation of motion has them.

    `M`, `C`: the computed part's own mass and damping. `K`: its stiffness. `interface`: (freedoms, n) rows that pick
    the interface displacement. `restoring`: None for K·u, a `Network` on all n freedoms, or a function u → force.
    """

    M: np.ndarray
    C: np.ndarray
    K: np.ndarray
    interface: np.ndarray
    restoring: Network | Callable[[np.ndarray], np.ndarray] | None = None


class Declared(NamedTuple):
    """What the user declares of the tested part, (freedoms, freedoms) each.

    `operator`: stiffness that the scheme assumes. `credible`: the largest stiffness that the specimen may show.
    `mass`, `damping`: the specimen's own, as the prototype has them. `felt`: True if the load cell feels them in the
    laboratory (towards λ = 1), so that they are counted once: M·(1 − 1/λ²) and C·(1 − 1/λ) stay computed.
    """

    operator: np.ndarray
    credible: np.ndarray
    mass: np.ndarray | None = None
    damping: np.ndarray | None = None
    felt: bool = False


class MatrixSolver:
    """Steps a `Computed` part with a scheme against a measured force; a `Solver`.

    `load`: (steps + 1, n) external force at every time from 0. Refuses a specimen stiffer than its operator. The
    restoring force that is not linear is taken at the predicted displacement, like the measured one.
    """

    def __init__(
        self,
        part: Computed,
        tested: Declared,
        scheme: Scheme,
        load: np.ndarray,
        dt: float,
        time_scale: float = 1.0,
    ) -> None:
        self.part, self.tested, self.scheme = part, tested, scheme
        M, C, K = (square(name, a) for name, a in (("M", part.M), ("C", part.C), ("K", part.K)))
        self.L = np.atleast_2d(np.asarray(part.interface, dtype=np.float64))
        self.freedoms, n = self.L.shape
        self.load = np.asarray(load, dtype=np.float64)
        if n != len(M):
            raise InputError(
                f"interface rows have {n} columns; allowed: {len(M)}, the freedoms of the computed part"
            )
        if (
            self.load.ndim != 2
            or self.load.shape[1] != n
            or len(self.load) < 2
            or not np.isfinite(self.load).all()
        ):
            raise InputError(f"load has shape {self.load.shape}; allowed: (steps + 1, {n}) finite numbers")
        self.time_scale = within(
            "time scale", time_scale, 1.0, 1e6, hint="λ is how much slower the laboratory is"
        )
        self.margin = check_operator(tested.operator, tested.credible)
        self.steps, self.dt = len(self.load) - 1, float(dt)
        lam = self.time_scale
        L, zero = self.L, np.zeros((self.freedoms, self.freedoms))
        own_mass = zero if tested.mass is None else square("specimen mass", tested.mass)
        own_damping = zero if tested.damping is None else square("specimen damping", tested.damping)
        share_m, share_c = ((1.0 - lam**-2), (1.0 - 1.0 / lam)) if tested.felt else (1.0, 1.0)
        self.M = M + share_m * L.T @ own_mass @ L
        self.C = C + share_c * L.T @ own_damping @ L
        self.K = K + L.T @ square("operator", tested.operator) @ L
        self.stepper = Stepper(scheme, self.M, self.C, self.K, self.dt)
        self._network = part.restoring.arrays() if isinstance(part.restoring, Network) else None
        zero_u = np.zeros(n)
        self.state = self.stepper.start(zero_u, zero_u.copy(), self._restoring(zero_u), self.load[0])
        self.step = 0
        self._predicted = zero_u
        self._input = 0.0
        self._strain = 0.0
        self._ready = False

    def _restoring(self, u: np.ndarray) -> np.ndarray:
        if self.part.restoring is None:
            return np.asarray(self.part.K @ u)
        if self._network is not None:
            if answer(self._network, np.ascontiguousarray(u), self.dt) != OK:
                raise Frame2dError(f"the computed part's laws have no answer at step {self.step}")
            return self._network.force.copy()
        return np.asarray(self.part.restoring(u))  # type: ignore[operator]

    @property
    def origin(self) -> np.ndarray:
        """It starts at rest at zero."""
        return np.zeros(self.freedoms)

    def predict(self) -> np.ndarray:
        """Interface displacement of the next step."""
        self._predicted = self.stepper.predict(self.state)
        self._ready = True
        return np.asarray(self.L @ self._predicted)

    def correct(self, force: np.ndarray) -> None:
        """Take the measured force and finish the step."""
        if not self._ready:
            raise Frame2dError("correct was called without predict: a step would be lost")
        self._ready = False
        before: State = self.state
        own = self._restoring(self._predicted)
        self.step += 1
        self.state = self.stepper.correct(
            before, self._predicted, own + self.L.T @ force, self.load[self.step]
        )
        moved = self.state.u - before.u
        self._input += 0.5 * float((self.state.p + before.p) @ moved)
        self._strain = max(self._strain, 0.5 * abs(float(self.state.r @ self.state.u)))

    def energies(self) -> Energies:
        """Work of the load, and the largest ½·r·u so far."""
        return Energies(abs(self._input), self._strain)

    def describe(self) -> dict[str, Any]:
        """Plain data for the journal."""
        restoring = self.part.restoring
        return {
            "solver": "MatrixSolver",
            "scheme": repr(self.scheme),
            "M": self.M.tolist(),
            "C": self.C.tolist(),
            "K": self.K.tolist(),
            "interface": self.L.tolist(),
            "restoring": restoring.describe()
            if isinstance(restoring, Network)
            else repr(type(restoring).__name__),
            "load": float(np.abs(self.load).sum()),
            "dt": self.dt,
            "steps": self.steps,
            "time scale": self.time_scale,
        }
