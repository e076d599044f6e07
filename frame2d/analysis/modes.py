"""Eigenmodes with participation and effective masses, at rest or about a loaded state.

Freedoms without mass are condensed (exactly, Guyan 1965): K* = Kaa − Kab·Kbb⁻¹·Kba.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import LinAlgError, eigh
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import eigsh, splu

from frame2d.errors import Frame2dError, InputError, whole
from frame2d.model.state import begin_of

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System


@dataclass(frozen=True)
class Modes:
    """Modes in rising order; shapes are mass-normalised columns of the free freedoms."""

    omega: np.ndarray
    shapes: np.ndarray
    #: ΦᵀMι and effective mass (kg) for horizontal ground motion.
    participation: np.ndarray
    effective_mass: np.ndarray
    total_mass: float
    system: "System"

    @property
    def period(self) -> np.ndarray:
        """Periods, s."""
        return 2.0 * np.pi / self.omega

    @property
    def frequency(self) -> np.ndarray:
        """Frequencies, Hz."""
        return self.omega / (2.0 * np.pi)

    def displacement(self, mode: int, node: str, component: str = "ux") -> float:
        """Modal displacement of a node; modes count from 1."""
        return float(self.system.row(node, component) @ self.shapes[:, mode - 1])

    def normalised(self, mode: int, node: str, component: str = "ux") -> tuple[np.ndarray, float]:
        """Shape scaled to 1 at a node, and its participation factor."""
        scale = self.displacement(mode, node, component)
        shape = self.shapes[:, mode - 1] / scale
        return shape, float(self.participation[mode - 1] * scale)


def modes(system: "System", state: "State | None" = None, count: int | None = 6) -> Modes:
    """First `count` modes (None: all); about `state` with its tangent, so that gravity softens the frame.

    Raises `InputError` where there is no mass, `Frame2dError` where the tangent is not positive definite.
    """
    begin_of(system, state)
    system.need_symmetry("modes")
    inertial = np.flatnonzero(system.plan.inertial > 0.0)
    if inertial.size == 0:
        raise InputError(
            f"frame {system.frame.name!r} has no mass; allowed: some. Add node masses or mass_per_length"
        )
    _ = system.rough_period
    stiffness, mass = system.tangent(state), system.mass
    total = inertial.size
    if count is not None:
        count = whole("count", count)
    wanted = total if count is None else min(count, total)
    if total > 600 and wanted < total // 4:
        values, shapes = eigsh(stiffness, k=wanted, M=_regular(mass, stiffness), sigma=0.0)
        order = np.argsort(values)
        values, shapes = values[order], shapes[:, order]
    else:
        rest = np.flatnonzero(system.plan.inertial == 0.0)
        kaa = stiffness[inertial][:, inertial].toarray()
        maa = mass[inertial][:, inertial].toarray()
        follow = np.zeros((rest.size, inertial.size))
        if rest.size:
            follow = -splu(csc_matrix(stiffness[rest][:, rest])).solve(stiffness[rest][:, inertial].toarray())
            kaa = kaa + stiffness[inertial][:, rest] @ follow
        try:
            values, active = eigh(0.5 * (kaa + kaa.T), maa, subset_by_index=(0, wanted - 1))
        except (LinAlgError, ValueError):
            values = np.empty(0)
        if values.size < wanted:
            raise Frame2dError(
                f"the {wanted} modes of frame {system.frame.name!r} could not be found: its masses or stiffnesses spread "
                "over too many powers of ten. Likely mistake: one value in other units"
            )
        shapes = np.zeros((system.count, wanted))
        shapes[inertial] = active
        shapes[rest] = follow @ active
    if values[0] <= 0.0:
        raise Frame2dError(
            f"the tangent stiffness is not positive definite (ω² = {values[0]:.3g}): the state is past a load limit"
        )
    for k in range(shapes.shape[1]):
        shapes[:, k] /= np.sqrt(shapes[:, k] @ (mass @ shapes[:, k]))
    inertia = system.influence()
    participation = shapes.T @ inertia
    iota_total = float(_total_mass(system))
    return Modes(np.sqrt(values), shapes, participation, participation**2, iota_total, system)


def _regular(mass: csc_matrix, stiffness: csc_matrix) -> csc_matrix:
    """Mass with a vanishing share of stiffness on massless freedoms, which shift-invert needs."""
    return csc_matrix(mass)


def _total_mass(system: "System") -> float:
    iota = np.zeros(system.size)
    iota[0 : 3 * len(system.node_index) : 3] = 1.0
    return float(iota @ (system.whole["mass"] @ iota))
