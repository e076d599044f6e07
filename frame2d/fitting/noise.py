"""The noise model of a fit: what is left over, its size, and whether it is white.

Measured force = force of the law + white Gaussian noise of one standard deviation a test, which is estimated
from the residuals with N − p degrees of freedom; quantisation is part of it. Where the residuals are correlated
(Box & Pierce 1970, 20 lags, significance 1e-4) the law itself is wrong somewhere: then the variance is raised
by their integrated autocorrelation time τ, as if only N/τ samples were independent (Geyer 1992).
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

LAGS = 20
SIGNIFICANCE = 1e-4


@dataclass(frozen=True)
class Noise:
    """Standard deviation (unit of the force) of one test's residuals and their autocorrelation time τ ≥ 1."""

    test: str
    sigma: float
    tau: float
    white: bool

    @property
    def effective(self) -> float:
        """Standard deviation that white noise would need to say as little."""
        return self.sigma * float(np.sqrt(self.tau))

    def __str__(self) -> str:
        if self.white:
            return f"{self.test}: white, standard deviation {self.sigma:.4g}"
        return (
            f"{self.test}: correlated, standard deviation {self.sigma:.4g}, autocorrelation time {self.tau:.3g} "
            "samples (the law does not explain everything)"
        )


def noise_of(test: str, residuals: np.ndarray, lost: float) -> Noise:
    """Noise of one test; `lost` is its share of the fitted parameters."""
    n = residuals.size
    sigma = float(np.sqrt(residuals @ residuals / max(n - lost, 1.0)))
    centred = residuals - residuals.mean()
    power = float(centred @ centred)
    if n < 5 * LAGS or power == 0.0:
        return Noise(test, sigma, 1.0, True)
    spectrum = np.abs(np.fft.rfft(centred, 2 * n)) ** 2
    correlation = np.fft.irfft(spectrum)[:n] / power
    if n * float(np.sum(correlation[1 : LAGS + 1] ** 2)) <= chi2.ppf(1.0 - SIGNIFICANCE, LAGS):
        return Noise(test, sigma, 1.0, True)
    pairs = correlation[: n - n % 2].reshape(-1, 2).sum(axis=1)  # Geyer's sums stay positive for any chain
    end = int(np.argmax(pairs <= 0.0)) if np.any(pairs <= 0.0) else pairs.size
    tau = 2.0 * float(np.sum(np.minimum.accumulate(pairs[: max(end, 1)]))) - 1.0
    return Noise(test, sigma, max(tau, 1.0), False)
