"""Damping matrices: Rayleigh, Caughey and modal, none of which draws stiffness force from devices or hinges.

The stiffness-proportional part uses the elastic members alone, at their initial stiffness (Hall 2006; Charney 2008).
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from scipy.sparse import csc_matrix

from frame2d.analysis.modes import modes
from frame2d.errors import InputError, finite, listed, whole, within

if TYPE_CHECKING:
    from frame2d.engine.plan import Plan
    from frame2d.model.state import State
    from frame2d.model.system import System


def rayleigh_coefficients(
    ratio_i: float, omega_i: float, ratio_j: float, omega_j: float
) -> tuple[float, float]:
    """a0 (1/s) and a1 (s) of ξ = a0/(2ω) + a1·ω/2 through two points (Clough & Penzien, ch. 12)."""
    matrix = 0.5 * np.array([[1.0 / omega_i, omega_i], [1.0 / omega_j, omega_j]])
    a0, a1 = np.linalg.solve(matrix, [ratio_i, ratio_j])
    return float(a0), float(a1)


def _numbers(thing: str, values: Any) -> list[Any]:
    found = listed(thing, values)
    if not found:
        raise InputError(f"{thing} is empty; allowed: one or more")
    return found


def proportional(system: "System", coefficients: tuple[float, float]) -> csc_matrix:
    """C = a0·M + a1·K of the elastic members, on the free freedoms."""
    return csc_matrix(coefficients[0] * system.mass + coefficients[1] * system.damped)


@dataclass(frozen=True)
class Rayleigh:
    """C = a0·M + a1·K of the elastic members, with `ratio` of critical in two modes (counted from 1)."""

    ratio: float = 0.03
    modes: tuple[int, int] = (1, 3)

    def __post_init__(self) -> None:
        within(
            "Rayleigh.ratio", self.ratio, 0.0, 1.0, open_high=True, hint="a ratio of critical: 0.03 is 3 %"
        )
        for number in _numbers("Rayleigh.modes", self.modes):
            whole("Rayleigh.modes", number)
        if len(self.modes) != 2 or self.modes[0] == self.modes[1]:
            raise InputError(f"Rayleigh.modes is {self.modes!r}; allowed: two different mode numbers from 1")

    def coefficients(self, system: "System", state: "State | None" = None) -> tuple[float, float]:
        """a0 (1/s) and a1 (s)."""
        found = modes(system, state, max(self.modes))
        if max(self.modes) > found.omega.size:
            raise InputError(
                f"Rayleigh.modes is {self.modes!r}; allowed: modes up to {found.omega.size}, the last"
            )
        i, j = (found.omega[number - 1] for number in self.modes)
        return rayleigh_coefficients(self.ratio, i, self.ratio, j)

    def matrix(self, system: "System", state: "State | None" = None) -> csc_matrix:
        """Damping matrix of the free freedoms, N·s/m."""
        return proportional(system, self.coefficients(system, state))


@dataclass(frozen=True)
class StiffnessMass:
    """C = a0·M + a1·K of the elastic members with given coefficients (1/s, s)."""

    a0: float = 0.0
    a1: float = 0.0

    def __post_init__(self) -> None:
        for name in ("a0", "a1"):
            finite(f"StiffnessMass.{name}", getattr(self, name))

    def coefficients(self, system: "System", state: "State | None" = None) -> tuple[float, float]:
        """a0 (1/s) and a1 (s)."""
        return self.a0, self.a1

    def matrix(self, system: "System", state: "State | None" = None) -> csc_matrix:
        """Damping matrix of the free freedoms."""
        return proportional(system, (self.a0, self.a1))


@dataclass(frozen=True)
class Modal:
    """Given ratios in the first modes, the last ratio in all higher ones; C = M·Φ·diag(2ξω)·Φᵀ·M (Chopra, ch. 11)."""

    ratios: tuple[float, ...] = (0.03,)

    def __post_init__(self) -> None:
        for ratio in _numbers("Modal.ratios", self.ratios):
            within("Modal.ratios", ratio, 0.0, 1.0, open_high=True)

    def matrix(self, system: "System", state: "State | None" = None) -> csc_matrix:
        """Damping matrix of the free freedoms, dense over those with mass."""
        found = modes(system, state, None)
        ratios = np.array([self.ratios[min(k, len(self.ratios) - 1)] for k in range(found.omega.size)])
        return _spread(system, found.shapes, found.omega, ratios)


@dataclass(frozen=True)
class Caughey:
    """Ratios met exactly in chosen modes by ξ = ½·Σ a_b·ω^(2b−1), b from 0 (Caughey 1960)."""

    ratios: tuple[float, ...] = (0.03, 0.03, 0.03)
    modes: tuple[int, ...] = (1, 2, 3)

    def __post_init__(self) -> None:
        for ratio in _numbers("Caughey.ratios", self.ratios):
            within("Caughey.ratios", ratio, 0.0, 1.0, open_high=True)
        for number in _numbers("Caughey.modes", self.modes):
            whole("Caughey.modes", number)
        if len(set(self.modes)) < len(self.modes):
            raise InputError(f"Caughey.modes is {self.modes!r}; allowed: each mode once")
        if len(self.ratios) != len(self.modes):
            raise InputError(
                f"Caughey has {len(self.ratios)} ratios for {len(self.modes)} modes; allowed: as many"
            )

    def matrix(self, system: "System", state: "State | None" = None) -> csc_matrix:
        """Damping matrix of the free freedoms; raises `InputError` where a mode would gain energy."""
        found = modes(system, state, None)
        if max(self.modes) > found.omega.size or min(self.modes) < 1:
            raise InputError(f"Caughey.modes is {self.modes!r}; allowed: modes from 1 to {found.omega.size}")
        chosen = found.omega[np.array(self.modes) - 1]
        reference = chosen.mean()
        powers = np.arange(chosen.size)
        table = 0.5 * (chosen[:, None] / reference) ** (2 * powers - 1)
        coefficients = np.linalg.solve(table, np.array(self.ratios))
        ratios = 0.5 * ((found.omega[:, None] / reference) ** (2 * powers - 1)) @ coefficients
        if np.any(ratios < 0.0):
            worst = int(np.argmin(ratios))
            raise InputError(
                f"Caughey damping gives mode {worst + 1} the ratio {ratios[worst]:.3g}; allowed: 0 and above. "
                "Likely mistake: an odd number of terms, or modes too close together"
            )
        return _spread(system, found.shapes, found.omega, ratios)


def _spread(system: "System", shapes: np.ndarray, omega: np.ndarray, ratios: np.ndarray) -> csc_matrix:
    inertia = system.mass @ shapes
    return csc_matrix(inertia @ np.diag(2.0 * ratios * omega) @ inertia.T)


@dataclass(frozen=True)
class Prepared:
    """Damping of one system about one state, found: what every run under it shares."""

    found: csc_matrix
    plan: "Plan"
    #: a0 and a1, where the matrix is proportional.
    coefficients_found: tuple[float, float] | None = None

    def matrix(self, system: "System", state: "State | None" = None) -> csc_matrix:
        """The matrix of the free freedoms."""
        return self.found


#: Findings kept for a system, and those of the latest calls.
MOST_KEPT = 8
_kept: "WeakKeyDictionary[System, dict[Any, Prepared]]" = WeakKeyDictionary()


def prepare(system: "System", damping: Any, state: "State | None" = None) -> Prepared:
    """Matrix and plan of `damping` about `state`, found again only where one of the three is new.

    The eigenvalues of a small frame take longer than a hundred steps of its history.
    """
    if isinstance(damping, Prepared):
        return damping
    if type(damping) not in (Rayleigh, StiffnessMass, Modal, Caughey):
        return _prepare(system, damping, state)
    about = () if state is None else (state.motion.q, state.motion.m0, state.motion.m1, state.supports)
    key = (type(damping), repr(damping), *(array.tobytes() for array in about))
    kept = _kept.setdefault(system, {})
    found = kept.get(key)
    if found is None:
        found = _prepare(system, damping, state)
        while len(kept) >= MOST_KEPT:
            kept.pop(next(iter(kept)), None)
        kept[key] = found
    return found


def _prepare(system: "System", damping: Any, state: "State | None") -> Prepared:
    if damping is None:
        return Prepared(csc_matrix(system.mass * 0.0), system.plan)
    coefficients = damping.coefficients(system, state) if hasattr(damping, "coefficients") else None
    matrix = damping.matrix(system, state) if coefficients is None else proportional(system, coefficients)
    return Prepared(matrix, system.with_damping(matrix), coefficients)
