"""Spectra of EN 1998-1:2004, 3.2.2, types 1 and 2: elastic, vertical, design, displacement.

Recommended parameters; a national annex may give others, which `Shape` then takes. Tables 3.2 to 3.4 were checked
against EC8 functions that quote them, and table 3.2 and eqs (3.2) to (3.6) against "EspectroEuro8.m", SynthQuake,
both github.com, 2026; table A.1 and the other equations are from memory. The horizontal elastic values agree with an
independent tabulation to all its digits.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from frame2d.errors import InputError, known, positive, within
from frame2d.motions.spectra import checked_periods


@dataclass(frozen=True)
class Shape:
    """Soil factor and corner periods (s) of one ground type: S, TB < TC < TD."""

    S: float
    TB: float
    TC: float
    TD: float

    def __post_init__(self) -> None:
        positive("soil factor S", self.S)
        if not 0.0 < self.TB < self.TC < self.TD:
            raise InputError(
                f"corner periods are {self.TB}, {self.TC}, {self.TD} s; allowed: 0 < TB < TC < TD"
            )


#: Tables 3.2 and 3.3.
GROUNDS = {
    1: {
        "A": Shape(1.0, 0.15, 0.4, 2.0),
        "B": Shape(1.2, 0.15, 0.5, 2.0),
        "C": Shape(1.15, 0.20, 0.6, 2.0),
        "D": Shape(1.35, 0.20, 0.8, 2.0),
        "E": Shape(1.4, 0.15, 0.5, 2.0),
    },
    2: {
        "A": Shape(1.0, 0.05, 0.25, 1.2),
        "B": Shape(1.35, 0.05, 0.25, 1.2),
        "C": Shape(1.5, 0.10, 0.25, 1.2),
        "D": Shape(1.8, 0.10, 0.30, 1.2),
        "E": Shape(1.6, 0.05, 0.25, 1.2),
    },
}
#: Table 3.4: avg/ag and corner periods of the vertical spectrum, for all grounds.
VERTICAL = {1: (0.90, Shape(1.0, 0.05, 0.15, 1.0)), 2: (0.45, Shape(1.0, 0.05, 0.15, 1.0))}
#: Table A.1: TE and TF in s, type 1 only.
LONG_PERIODS = {"A": (4.5, 10.0), "B": (5.0, 10.0), "C": (6.0, 10.0), "D": (6.0, 10.0), "E": (6.0, 10.0)}


def damping_correction(damping: float) -> float:
    """η = √(10/(5 + ξ)) ≥ 0.55, ξ in per cent (eq. 3.6); `damping` is a ratio."""
    ratio = within("damping", damping, 0.0, 1.0, open_high=True, hint="a ratio: 0.05 for 5 %")
    return max(float(np.sqrt(10.0 / (5.0 + 100.0 * ratio))), 0.55)


def _four_branches(T: np.ndarray, shape: Shape, start: float, plateau: float) -> np.ndarray:
    """Spectrum over a·S: `start` at T = 0, `plateau` from TB to TC, then 1/T and 1/T²."""
    with np.errstate(divide="ignore"):
        falling = np.where(T <= shape.TD, shape.TC / T, shape.TC * shape.TD / T**2)
    rising = start + (plateau - start) * T / shape.TB
    return np.where(T < shape.TB, rising, plateau * np.where(T <= shape.TC, 1.0, falling))


@dataclass(frozen=True)
class _Spectrum:
    """Common part: ground acceleration `ag` on ground A (m/s², importance factor included), `ground`, `kind` 1 or 2."""

    ag: float
    ground: str = "A"
    kind: int = 1

    def __post_init__(self) -> None:
        positive("ag", self.ag, hint="ag is in m/s² here")
        within("ag", self.ag, 0.0, 20.0, hint="ag is in m/s²; is it in gal, or per cent of g?")
        known("type of spectrum", self.kind, GROUNDS)
        known("ground type", self.ground, GROUNDS[1])

    @property
    def shape(self) -> Shape:
        """Soil factor and corner periods."""
        return GROUNDS[self.kind][self.ground]

    @property
    def peak_ground_acceleration(self) -> float:
        """ag·S, m/s²."""
        return self.ag * self.shape.S


@dataclass(frozen=True)
class ElasticSpectrum(_Spectrum):
    """Horizontal elastic spectrum Se(T), eqs 3.2 to 3.5. `ag` in m/s², `damping` a ratio.

    The code stops at 4 s; beyond, type 1 follows its Annex A (eqs A.1, A.2 and 3.7) and type 2 raises `InputError`. At TE
    the code's own rounding, 0.025 for 1/4π², makes a step of 1.3 %.
    """

    damping: float = 0.05
    own_shape: Shape | None = None

    @property
    def shape(self) -> Shape:
        """Soil factor and corner periods: those of the ground type, or `own_shape` from a national annex."""
        return GROUNDS[self.kind][self.ground] if self.own_shape is None else self.own_shape

    @property
    def name(self) -> str:
        """Name for plots and tables."""
        return f"EN 1998-1 elastic, type {self.kind}, ground {self.ground}, ag {self.ag:.3g} m/s²"

    def acceleration(self, periods: Any) -> np.ndarray:
        """Se in m/s² at `periods` in s."""
        T = checked_periods(periods)
        eta = damping_correction(self.damping)
        found = self.peak_ground_acceleration * _four_branches(T, self.shape, 1.0, 2.5 * eta)
        if np.all(T <= 4.0):
            return found
        with np.errstate(divide="ignore"):
            beyond = (2.0 * np.pi / T) ** 2 * self._long_displacement(T, eta)
        return np.where(LONG_PERIODS[self.ground][0] < T, beyond, found)

    def displacement(self, periods: Any) -> np.ndarray:
        """SDe in m at `periods` in s: eq. 3.7, beyond TE eqs A.1 and A.2."""
        T = checked_periods(periods)
        return np.asarray(self.acceleration(T) * (T / (2.0 * np.pi)) ** 2)

    @property
    def peak_ground_displacement(self) -> float:
        """dg = 0.025·ag·S·TC·TD in m (eq. 3.12)."""
        return 0.025 * self.peak_ground_acceleration * self.shape.TC * self.shape.TD

    def _long_displacement(self, T: np.ndarray, eta: float) -> np.ndarray:
        if self.kind != 1 or self.own_shape is not None:
            raise InputError(
                f"spectrum asked for at {np.max(T):g} s; allowed: up to 4 s (EN 1998-1 Annex A goes beyond for type 1 "
                "with its own corner periods only)"
            )
        TE, TF = LONG_PERIODS[self.ground]
        share = np.clip((T - TE) / (TF - TE), 0.0, 1.0)
        return self.peak_ground_displacement * (2.5 * eta + share * (1.0 - 2.5 * eta))

    def scaled(self, factor: float) -> "ElasticSpectrum":
        """The same shape with `ag` times `factor`."""
        return replace(self, ag=self.ag * positive("factor of a target", factor))


@dataclass(frozen=True)
class VerticalSpectrum(_Spectrum):
    """Vertical elastic spectrum Sve(T), eqs 3.8 to 3.11; `ag` is the horizontal one, avg/ag from table 3.4."""

    damping: float = 0.05

    @property
    def name(self) -> str:
        """Name for plots and tables."""
        return f"EN 1998-1 vertical, type {self.kind}, ag {self.ag:.3g} m/s²"

    @property
    def peak_ground_acceleration(self) -> float:
        """avg, m/s²."""
        return VERTICAL[self.kind][0] * self.ag

    def acceleration(self, periods: Any) -> np.ndarray:
        """Sve in m/s² at `periods` in s, up to 4 s."""
        T = _up_to_four(periods)
        shape = VERTICAL[self.kind][1]
        return self.peak_ground_acceleration * _four_branches(
            T, shape, 1.0, 3.0 * damping_correction(self.damping)
        )

    def scaled(self, factor: float) -> "VerticalSpectrum":
        """The same shape with `ag` times `factor`."""
        return replace(self, ag=self.ag * positive("factor of a target", factor))


@dataclass(frozen=True)
class DesignSpectrum(_Spectrum):
    """Design spectrum for elastic analysis Sd(T), eqs 3.13 to 3.16, behaviour factor `q`, lower bound `beta`·ag.

    ``vertical=True`` takes avg, S = 1 and the corners of table 3.4 instead (3.2.2.5(5)). Damping is 5 %, already
    within q (3.2.2.5(3)).
    """

    q: float = 1.5
    beta: float = 0.2
    vertical: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        within("behaviour factor q", self.q, 1.0, 10.0)
        within("lower bound factor beta", self.beta, 0.0, 1.0)

    @property
    def name(self) -> str:
        """Name for plots and tables."""
        direction = "vertical design" if self.vertical else "design"
        return f"EN 1998-1 {direction}, type {self.kind}, ground {self.ground}, ag {self.ag:.3g} m/s², q = {self.q:g}"

    @property
    def damping(self) -> float:
        """5 %."""
        return 0.05

    def acceleration(self, periods: Any) -> np.ndarray:
        """Sd in m/s² at `periods` in s, up to 4 s."""
        T = _up_to_four(periods)
        share, shape = VERTICAL[self.kind] if self.vertical else (1.0, self.shape)
        a = share * self.ag
        found = a * shape.S * _four_branches(T, shape, 2.0 / 3.0, 2.5 / self.q)
        return np.where(shape.TC < T, np.maximum(found, self.beta * a), found)

    def scaled(self, factor: float) -> "DesignSpectrum":
        """The same shape with `ag` times `factor`."""
        return replace(self, ag=self.ag * positive("factor of a target", factor))


def _up_to_four(periods: Any) -> np.ndarray:
    T = checked_periods(periods)
    if np.any(T > 4.0):
        raise InputError(f"spectrum asked for at {np.max(T):g} s; allowed: up to 4 s (EN 1998-1, 3.2.2.2(1))")
    return T
