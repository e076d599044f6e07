"""A target spectrum: what every target answers, and the one that the user gives as a table."""

from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from frame2d.errors import InputError, known, positive, within
from frame2d.motions.spectra import checked_periods


class Target(Protocol):
    """What a target spectrum must answer: a name, its damping ratio, accelerations, and a scaled copy of itself."""

    @property
    def name(self) -> str:
        """Name for plots and tables."""

    @property
    def damping(self) -> float:
        """Damping ratio of the spectrum."""

    def acceleration(self, periods: Any) -> np.ndarray:
        """Pseudo-acceleration in m/s² at `periods` in s."""

    def scaled(self, factor: float) -> "Target":
        """The same shape times `factor`."""


@dataclass(frozen=True, eq=False)
class GivenTarget:
    """A spectrum given by points: growing `periods` (s) and `values` (m/s²), interpolated and never extrapolated.

    `interpolation` is ``"linear"`` or ``"log-log"`` (straight in both logarithms; all numbers above 0). Raises
    `InputError` for tables that are not growing, negative, or of different lengths, and outside their range.
    """

    periods: np.ndarray
    values: np.ndarray
    name: str = "given target"
    damping: float = 0.05
    interpolation: str = "linear"

    def __post_init__(self) -> None:
        T, S = np.array(self.periods, dtype=float), np.array(self.values, dtype=float)
        known("interpolation of a target", self.interpolation, ("linear", "log-log"))
        within("damping of a target", self.damping, 0.0, 1.0, open_high=True, hint="a ratio: 0.05 for 5 %")
        if T.ndim != 1 or T.shape != S.shape or T.size < 2:
            raise InputError(
                f"target {self.name!r} has {T.shape} periods and {S.shape} values; allowed: two equal rows"
            )
        if not (
            np.all(np.isfinite(T)) and np.all(np.isfinite(S)) and T[0] >= 0.0 and np.all(np.diff(T) > 0.0)
        ):
            raise InputError(f"periods of target {self.name!r} must be finite, not negative, and growing")
        if np.any(S <= 0.0) or (self.interpolation == "log-log" and T[0] == 0.0):
            raise InputError(
                f"target {self.name!r} needs values above 0, and with log-log periods above 0 too"
            )
        T.flags.writeable = S.flags.writeable = False
        object.__setattr__(self, "periods", T)
        object.__setattr__(self, "values", S)

    def acceleration(self, periods: Any) -> np.ndarray:
        """Pseudo-acceleration in m/s² at `periods` in s."""
        T = checked_periods(periods)
        low, high = self.periods[0], self.periods[-1]
        if np.any(low * (1.0 - 1e-12) > T) or np.any(high * (1.0 + 1e-12) < T):
            raise InputError(
                f"target {self.name!r} is known from {low:g} to {high:g} s; asked for {np.min(T):g} to {np.max(T):g} s. "
                "Likely mistake: a table that does not cover 0.2·T1 to 2·T1, or lacks T = 0 (peak ground acceleration)"
            )
        if self.interpolation == "log-log":
            return np.exp(np.interp(np.log(T), np.log(self.periods), np.log(self.values)))
        return np.interp(T, self.periods, self.values)

    def scaled(self, factor: float) -> "GivenTarget":
        """The same shape times `factor`."""
        return replace(self, values=positive("factor of a target", factor) * self.values)


def displacement_spectrum(target: Target, periods: Any) -> np.ndarray:
    """Displacement in m of a target, S·(T/2π)² (EN 1998-1:2004, eq. 3.7), at `periods` in s."""
    T = checked_periods(periods)
    return np.asarray(target.acceleration(T) * (T / (2.0 * np.pi)) ** 2)
