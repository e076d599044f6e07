"""Time-integration schemes as values.

| scheme | named constructors | for |
| --- | --- | --- |
| GeneralizedAlpha | newmark, hilber, wood, chung_hulbert | everything; iterates |
| CentralDifference | central_difference | small steps; refuses a step above its limit |
| Chang, KolayRicles | chang, kolay_ricles | explicit, stable while no tangent exceeds the operator |
| OperatorSplitting | operator_splitting | one force evaluation a step, as a test allows |
| FirstOrderAlpha | first_order_alpha | displacement, velocity and law states together |

Where a step fails (a part without an answer, no equilibrium), every scheme halves it, again and again down to
`Options.deepest_halving`, and grows it back; explicit schemes have the matrices of the shorter steps made for that.
Central difference is refused above its stability limit before it starts; Chang, KR-alpha and operator splitting have none
as long as no tangent exceeds the stiffness their operator was built with (the virgin frame, or a law's largest where that
is more). Where one does, the motion that grows from step to step is seen by the energy that it creates, and the run ends
as not converged, never as collapsed (`frame2d.analysis.instability`). A test that is paced by a rig cannot follow a
shorter step: `frame2d.hybrid` steps at one length.

Sources: Newmark 1959; Hilber, Hughes & Taylor 1977; Wood, Bossak & Zienkiewicz 1980; Chung & Hulbert 1993; Nakashima,
Kato & Takaoka 1990; Combescure & Pegon 1997; Jansen, Whiting & Hulbert 2000; Chang 2002; Kolay & Ricles 2014. The
parameters by the spectral radius of both generalized-alpha methods were checked against "TSAlphaSetRadius",
"TSAlphaSetParams" and "TSAlpha2SetRadius", petsc.org, 2026; the second-order page writes 1 − αm and 1 − αf. The matrices
of Chang and KR-α are those that give the poles of average acceleration and generalized-alpha (tests/analysis).
"""

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from frame2d.errors import within


class Scheme(Protocol):
    """What every scheme tells: its order, its parameters for the engine, its amplification of the linear oscillator."""

    @property
    def name(self) -> str: ...

    @property
    def order(self) -> int: ...

    def array(self) -> np.ndarray: ...

    def amplification(self, omega_dt: float, damping: float = 0.0) -> np.ndarray: ...


@dataclass(frozen=True)
class GeneralizedAlpha:
    """M·a(n+1−αm) + C·v(n+1−αf) + f(n+1−αf) = p(n+1−αf) with the Newmark relations of γ and β."""

    alpha_m: float
    alpha_f: float
    gamma: float
    beta: float
    name: str = "generalized-alpha"

    def __post_init__(self) -> None:
        within(
            "beta", self.beta, 0.0, 10.0, open_low=True, hint="beta = 0 is explicit: use central_difference"
        )
        within("gamma", self.gamma, 0.0, 10.0, open_low=True)
        within("alpha_f", self.alpha_f, -1.0, 1.0, open_high=True)
        within("alpha_m", self.alpha_m, -2.0, 1.0, open_high=True)

    @property
    def order(self) -> int:
        """Order of accuracy: 2 when γ = ½ − αm + αf (Chung & Hulbert 1993, eq. 17)."""
        return 2 if abs(self.gamma - (0.5 - self.alpha_m + self.alpha_f)) < 1e-12 else 1

    @property
    def rho_infinity(self) -> float:
        """Spectral radius at infinite frequency."""
        matrix = self.amplification(1e7)
        return float(np.abs(np.linalg.eigvals(matrix)).max())

    def amplification(self, omega_dt: float, damping: float = 0.0) -> np.ndarray:
        """Amplification matrix of (u, Δt·v, Δt²·a) of the linear oscillator."""
        w2 = omega_dt**2
        am, af, g, b = self.alpha_m, self.alpha_f, self.gamma, self.beta
        c = 2.0 * damping * omega_dt
        left = np.array([[1, 0, -b], [0, 1, -g], [w2 * (1 - af), c * (1 - af), 1 - am]])
        right = np.array([[1, 1, 0.5 - b], [0, 1, 1 - g], [-w2 * af, -c * af, -am]])
        return np.linalg.solve(left, right)

    def array(self) -> np.ndarray:
        """Parameters as the engine reads them."""
        return np.array([self.alpha_m, self.alpha_f, self.gamma, self.beta, 1.0])


def newmark(gamma: float = 0.5, beta: float = 0.25) -> GeneralizedAlpha:
    """Newmark's method (1959); the default is average acceleration."""
    return GeneralizedAlpha(0.0, 0.0, gamma, beta, "Newmark")


def hilber(alpha: float = -0.1) -> GeneralizedAlpha:
    """Hilber, Hughes & Taylor (1977), alpha in [−1/3, 0]."""
    within("alpha", alpha, -1.0 / 3.0, 0.0, hint="alpha is negative: −0.1 is usual")
    return GeneralizedAlpha(0.0, -alpha, 0.5 - alpha, 0.25 * (1.0 - alpha) ** 2, "HHT")


def wood(rho: float = 0.8) -> GeneralizedAlpha:
    """Wood, Bossak & Zienkiewicz (1980) by its spectral radius at infinite frequency."""
    _radius(rho)
    alpha_m = (rho - 1.0) / (rho + 1.0)
    return GeneralizedAlpha(alpha_m, 0.0, 0.5 - alpha_m, 0.25 * (1.0 - alpha_m) ** 2, "WBZ")


def chung_hulbert(rho: float = 0.8) -> GeneralizedAlpha:
    """Generalized-alpha of Chung & Hulbert (1993) by its spectral radius at infinite frequency."""
    _radius(rho)
    alpha_m, alpha_f = (2.0 * rho - 1.0) / (rho + 1.0), rho / (rho + 1.0)
    return GeneralizedAlpha(
        alpha_m, alpha_f, 0.5 - alpha_m + alpha_f, 0.25 * (1.0 - alpha_m + alpha_f) ** 2, "generalized-alpha"
    )


def _radius(rho: float) -> None:
    within("spectral radius", rho, 0.0, 1.0, hint="1 keeps, 0 kills high frequencies")


class Matrices(NamedTuple):
    """Coefficients of an explicit scheme on the freedoms with mass; equations in `frame2d.engine.explicit`."""

    b1: np.ndarray
    b2: np.ndarray
    g0: np.ndarray
    g1: np.ndarray
    #: Lag of the velocity that the damping sees: w = v − Δt·L·a.
    lag: np.ndarray
    m1: np.ndarray
    m0: np.ndarray
    alpha_f: float


def _amplification(matrices: Matrices, omega_dt: float, damping: float) -> np.ndarray:
    """Amplification matrix of (u, Δt·v, Δt²·a) by the coefficients for M = 1, Δt = 1."""
    b1, b2, g0, g1, lag, m1, m0 = (float(matrix[0, 0]) for matrix in matrices[:7])
    old = matrices.alpha_f
    new = 1.0 - old
    k, c = omega_dt**2, 2.0 * damping * omega_dt
    left = np.array([[1, 0, 0], [0, 1, -g1], [new * k, new * c, m1 - new * c * lag]])
    right = np.array([[1, b1, b2], [0, 1, g0], [-old * k, -old * c, old * c * lag - m0]])
    return np.linalg.solve(left, right)


@dataclass(frozen=True)
class CentralDifference:
    """Newmark's β = 0, γ = ½: M·a' + C·v' + f(u') = p', damping by the central velocity; start by u(−Δt).

    `lagged` takes the damping at the half step before, v − ½Δt·a, as programs do that keep velocities there: no matrix
    but the mass is then solved with, at first order in the damping and with a shorter limit (Belytschko & Hughes 1983).
    """

    lagged: bool = False
    name: str = "central difference"

    @property
    def order(self) -> int:
        """2; with lagged damping 1."""
        return 1 if self.lagged else 2

    def matrices(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Matrices:
        """Coefficients for mass, damping and stiffness on the freedoms with mass."""
        unit = np.eye(len(M))
        lag = 0.5 * unit if self.lagged else 0.0 * unit
        return Matrices(unit, 0.5 * unit, 0.5 * unit, 0.5 * unit, lag, M, 0.0 * M, 0.0)

    def limit(self, omega: float, damping: float = 0.0) -> float:
        """Largest stable step (s) for the highest circular frequency (rad/s): 2/ω at any damping ratio ξ, and
        2(√(1 + ξ²) − ξ)/ω with lagged damping."""
        return 2.0 / omega * (float(np.hypot(1.0, damping)) - damping if self.lagged else 1.0)

    def array(self) -> np.ndarray:
        """Parameters as the engine reads them."""
        return np.array([0.0, 0.0, 0.5, 0.0, 1.0])

    def amplification(self, omega_dt: float, damping: float = 0.0) -> np.ndarray:
        """Amplification matrix of (u, Δt·v, Δt²·a) of the linear oscillator."""
        return _amplification(self.matrices(*_oscillator(omega_dt, damping), 1.0), omega_dt, damping)


@dataclass(frozen=True)
class Chang:
    """Chang (2002): explicit in displacement by β₁, β₂ of the operator stiffness, average acceleration in velocity.

    u' = u + Δt·β₁·v + Δt²·β₂·a with D = I + ½Δt·M⁻¹C + ¼Δt²·M⁻¹K, β₁ = D⁻¹(I + ½Δt·M⁻¹C), β₂ = ½D⁻¹.
    """

    name: str = "Chang"
    order: int = 2

    def matrices(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Matrices:
        """Coefficients for mass, damping and stiffness on the freedoms with mass."""
        unit = np.eye(len(M))
        whole = M + 0.5 * dt * C + 0.25 * dt * dt * K
        b1 = np.linalg.solve(whole, M + 0.5 * dt * C)
        b2 = 0.5 * np.linalg.solve(whole, M)
        return Matrices(b1, b2, 0.5 * unit, 0.5 * unit, 0.0 * unit, M, 0.0 * M, 0.0)

    def array(self) -> np.ndarray:
        """Parameters as the engine reads them."""
        return np.array([0.0, 0.0, 0.5, 0.25, 1.0])

    def amplification(self, omega_dt: float, damping: float = 0.0) -> np.ndarray:
        """Amplification matrix of (u, Δt·v, Δt²·a) of the linear oscillator."""
        return _amplification(self.matrices(*_oscillator(omega_dt, damping), 1.0), omega_dt, damping)


@dataclass(frozen=True)
class KolayRicles:
    """KR-α of Kolay & Ricles (2014), explicit in displacement and velocity, `rho` its spectral radius at infinity.

    u' = u + Δt·v + Δt²·α₂·a, v' = v + Δt·α₁·a, M·[(I − α₃)a' + α₃·a] + C·v(n+1−αf) + f(n+1−αf) = p(n+1−αf), with
    β = ¼(½ + γ)², the pair of αm and αf that makes the radius exactly ρ∞ (not the modified variant).

    The published velocity is late by γΔt: a start from v(0) with a(0) ≠ 0, and every energy, would be of first order.
    Here the velocity is V = v + γΔt·α₁·a, of second order; in it u' = u + Δt·V + ½Δt²·α₁·a (own rearrangement). From
    a(0) = 0 the displacements are those of the published form.
    """

    rho: float = 0.8
    name: str = "KR-alpha"
    order: int = 2

    def __post_init__(self) -> None:
        _radius(self.rho)

    @property
    def alpha_m(self) -> float:
        """(2ρ − 1)/(ρ + 1)."""
        return (2.0 * self.rho - 1.0) / (self.rho + 1.0)

    @property
    def alpha_f(self) -> float:
        """ρ/(ρ + 1)."""
        return self.rho / (self.rho + 1.0)

    @property
    def gamma(self) -> float:
        """½ − αm + αf."""
        return 0.5 - self.alpha_m + self.alpha_f

    @property
    def beta(self) -> float:
        """¼(½ + γ)²."""
        return 0.25 * (0.5 + self.gamma) ** 2

    def matrices(self, M: np.ndarray, C: np.ndarray, K: np.ndarray, dt: float) -> Matrices:
        """Coefficients for mass, damping and stiffness on the freedoms with mass."""
        am, af, g, b = self.alpha_m, self.alpha_f, self.gamma, self.beta
        rest = g * dt * C + b * dt * dt * K
        whole = M + rest
        alpha1 = np.linalg.solve(whole, M)
        alpha3 = np.linalg.solve(whole, am * M + af * rest)
        unit = np.eye(len(M))
        # M·(I − α₃) without the cancellation of I − α₃.
        m1 = M @ np.linalg.solve(whole, (1.0 - am) * M + (1.0 - af) * rest)
        return Matrices(unit, 0.5 * alpha1, (1.0 - g) * alpha1, g * alpha1, g * alpha1, m1, M @ alpha3, af)

    def array(self) -> np.ndarray:
        """Parameters as the engine reads them."""
        return np.array([self.alpha_m, self.alpha_f, self.gamma, self.beta, 1.0])

    def amplification(self, omega_dt: float, damping: float = 0.0) -> np.ndarray:
        """Amplification matrix of (u, Δt·v, Δt²·a) of the linear oscillator."""
        return _amplification(self.matrices(*_oscillator(omega_dt, damping), 1.0), omega_dt, damping)


@dataclass(frozen=True)
class OperatorSplitting:
    """One evaluation at the predictor ũ, then r' = f(ũ) + K_I·(u' − ũ) in the balance of Hilber, Hughes & Taylor.

    `alpha` in [−1/3, 0]; 0 is Nakashima, Kato & Takaoka 1990, below it Combescure & Pegon 1997 with
    β = ¼(1 − α)², γ = ½ − α. Of second order for forces that depend on displacement; forces of dampers in laws are
    taken at the predicted velocity.
    """

    alpha: float = 0.0
    name: str = "operator splitting"
    order: int = 2

    def __post_init__(self) -> None:
        within(
            "OperatorSplitting.alpha", self.alpha, -1.0 / 3.0, 0.0, hint="alpha is negative: −0.1 is usual"
        )

    @property
    def implicit(self) -> GeneralizedAlpha:
        """Scheme with which it coincides where the frame is linear."""
        return hilber(self.alpha)

    def array(self) -> np.ndarray:
        """Parameters as the engine reads them."""
        return self.implicit.array()

    def amplification(self, omega_dt: float, damping: float = 0.0) -> np.ndarray:
        """Amplification matrix of (u, Δt·v, Δt²·a) of the linear oscillator."""
        return self.implicit.amplification(omega_dt, damping)


@dataclass(frozen=True)
class FirstOrderAlpha:
    """Generalized-alpha for first-order systems (Jansen, Whiting & Hulbert 2000), `rho` its radius at infinity.

    Integrates displacement, velocity and the states of laws in rate form (`Law.rate`) together, where a part is one
    such law. All other parts, members and laws, are evaluated at the displacement as usual.
    """

    rho: float = 0.8
    name: str = "first-order generalized-alpha"
    order: int = 2

    def __post_init__(self) -> None:
        _radius(self.rho)

    @property
    def alpha_m(self) -> float:
        """Weight of the new rate, ½(3 − ρ)/(1 + ρ)."""
        return 0.5 * (3.0 - self.rho) / (1.0 + self.rho)

    @property
    def alpha_f(self) -> float:
        """Weight of the new values, 1/(1 + ρ)."""
        return 1.0 / (1.0 + self.rho)

    @property
    def gamma(self) -> float:
        """½ + αm − αf."""
        return 0.5 + self.alpha_m - self.alpha_f

    def array(self) -> np.ndarray:
        """Parameters as the engine reads them."""
        return np.array([self.alpha_m, self.alpha_f, self.gamma, 0.0, 1.0])

    def amplification(self, omega_dt: float, damping: float = 0.0) -> np.ndarray:
        """Amplification matrix of (u, Δt·v, Δt·u̇, Δt²·v̇) of the linear oscillator."""
        am, af, g = self.alpha_m, self.alpha_f, self.gamma
        k, c = omega_dt**2, 2.0 * damping * omega_dt
        left = np.array([[1, 0, -g, 0], [0, 1, 0, -g], [0, -af, am, 0], [af * k, af * c, 0, am]])
        right = np.array(
            [
                [1, 0, 1 - g, 0],
                [0, 1, 0, 1 - g],
                [0, 1 - af, am - 1, 0],
                [-(1 - af) * k, -(1 - af) * c, 0, am - 1],
            ]
        )
        return np.linalg.solve(left, right)


def _oscillator(omega_dt: float, damping: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """M, C, K of the oscillator of unit mass for Δt = 1."""
    return np.eye(1), np.eye(1) * 2.0 * damping * omega_dt, np.eye(1) * omega_dt**2


def central_difference(lagged: bool = False) -> CentralDifference:
    """Explicit central difference; `lagged` damps by the velocity of the half step before."""
    return CentralDifference(lagged)


def chang() -> Chang:
    """Chang's unconditionally stable explicit method (2002)."""
    return Chang()


def kolay_ricles(rho: float = 0.8) -> KolayRicles:
    """KR-α (Kolay & Ricles 2014) by its spectral radius at infinite frequency."""
    return KolayRicles(rho)


def operator_splitting(alpha: float = 0.0) -> OperatorSplitting:
    """Operator splitting, alpha in [−1/3, 0]."""
    return OperatorSplitting(alpha)


def first_order_alpha(rho: float = 0.8) -> FirstOrderAlpha:
    """State-space generalized-alpha (Jansen, Whiting & Hulbert 2000) by its spectral radius at infinite frequency."""
    return FirstOrderAlpha(rho)
