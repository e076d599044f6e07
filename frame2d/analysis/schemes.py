"""Time-integration schemes as values: the generalized-alpha family and its named members.

Sources: Newmark 1959; Hilber, Hughes & Taylor 1977; Wood, Bossak & Zienkiewicz 1980; Chung & Hulbert 1993.
"""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import InputError, within


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
    if not 0.0 <= rho <= 1.0:
        raise InputError(
            f"spectral radius is {rho!r}; allowed: a number in [0, 1]. 1 keeps, 0 kills high frequencies"
        )
