"""`condense`: a linear part in few freedoms, with its interface, ready to be coupled.

| method | keeps | is exact |
| --- | --- | --- |
| "massless" | the interface and every freedom with mass (static condensation) | in time too |
| "guyan" | the interface (Guyan 1965; Irons 1965) | in statics |
| "craig-bampton" | the interface and modes with it held (Craig & Bampton 1968) | in statics, and with all modes |

Exact in time as long as no damping acts on freedoms without mass: stiffness-proportional damping of massless rotations
is condensed with the shapes of the stiffness, which is an approximation.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.analysis.history import resampled
from frame2d.analysis.reduction import craig_bampton, guyan
from frame2d.analysis.schemes import Scheme, chung_hulbert
from frame2d.errors import InputError, known
from frame2d.materials import Elastic
from frame2d.model.state import begin_of
from frame2d.substructure.frame_part import fitted
from frame2d.substructure.matrix_part import MatrixPart

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System

METHODS = ("massless", "guyan", "craig-bampton")


@dataclass(frozen=True)
class Condensed:
    """M·a + C·v + K·x about a state, with free displacements u = u(state) + shapes·x; interface rows × kept."""

    system: "System"
    state: "State"
    mass: np.ndarray
    damping: np.ndarray
    stiffness: np.ndarray
    shapes: np.ndarray
    interface: csr_matrix
    #: Interface displacement in the state, and the load that the state leaves to the interface.
    offset: np.ndarray
    standing: np.ndarray

    def part(
        self,
        name: str,
        dt: float,
        steps: int,
        *,
        sign: float = 1.0,
        scheme: Scheme | None = None,
        record: Any = None,
        factor: float = 1.0,
        forces: Mapping[tuple[str, str], np.ndarray] | None = None,
    ) -> MatrixPart:
        """The part for `coupled_history` over `steps` of `dt` s, its ties signed by `sign` (+1 computed, −1 tested)."""
        load = np.tile(self.shapes.T @ self.standing, (steps + 1, 1))
        if record is not None:
            ground = factor * resampled(record.acceleration, float(record.dt), dt, "the record")
            load -= np.outer(fitted(ground, steps + 1), self.shapes.T @ self.system.influence())
        for (node, component), values in (forces or {}).items():
            history = fitted(resampled(values, dt, dt, f"force on {node!r}"), steps + 1)
            load += np.outer(history, self.shapes.T @ self.system.row(node, component))
        return MatrixPart(
            name, self.mass, self.damping, self.stiffness, sign * self.interface, dt, scheme or chung_hulbert(),
            load, v0=self._velocity(), offset=sign * self.offset,
        )  # fmt: skip

    def _velocity(self) -> np.ndarray:
        return np.asarray(np.linalg.lstsq(self.shapes, self.state.motion.v, rcond=None)[0])

    def displacements(self, kept: np.ndarray) -> np.ndarray:
        """Free displacements, steps × free, from those of the kept freedoms, steps × kept."""
        return np.asarray(self.state.motion.q + kept @ self.shapes.T)


def condense(
    system: "System",
    pick: csr_matrix,
    *,
    method: str = "massless",
    modes: int = 0,
    damping: Any = None,
    state: "State | None" = None,
) -> Condensed:
    """Condense a linear part to the freedoms that `pick` (interface × free) touches and what `method` keeps besides.

    Second-order members are linearised at `state`. `damping` is a matrix or an object with ``matrix(system, state)``;
    `modes` are those of Craig & Bampton. Raises `InputError` for laws that are not linear.
    """
    known("method of condensation", method, METHODS)
    if modes and method != "craig-bampton":
        raise InputError(f"modes is {modes!r} with method {method!r}; allowed: modes of 'craig-bampton'")
    for place in system.parts:
        if place.part.law is not None and not isinstance(place.part.law, Elastic):
            raise InputError(
                f"member {place.member!r} has a {type(place.part.law).__name__} ({place.part.role}); allowed: linear "
                "parts. Likely mistake: a device left in the computed part; test it, or integrate the part whole"
            )
    begin = begin_of(system, state)
    K = system.tangent(begin)
    boundary = np.unique(csr_matrix(pick).indices).astype(np.int64)
    massive = np.flatnonzero(np.asarray(abs(system.mass).sum(axis=0)).ravel() > 0.0)
    kept = np.concatenate([boundary, np.setdiff1d(massive, boundary)])
    first = guyan(K, system.mass, list(kept))
    shapes = first.shapes
    if method != "massless":
        count = modes if method == "craig-bampton" else 0
        shapes = shapes @ craig_bampton(first.stiffness, first.mass, range(boundary.size), count).shapes
    C = system.mass * 0.0 if damping is None else damping
    if hasattr(C, "matrix"):
        C = C.matrix(system, state)
    rows = np.asarray(csr_matrix(pick) @ shapes)
    supports = system.support_coupling() @ begin.supports
    return Condensed(
        system=system,
        state=begin,
        mass=shapes.T @ (system.mass @ shapes),
        damping=shapes.T @ (C @ shapes),
        stiffness=shapes.T @ (K @ shapes),
        shapes=shapes,
        interface=csr_matrix(np.where(np.abs(rows) > 1e-12 * np.abs(rows).max(), rows, 0.0)),
        offset=np.asarray(pick @ begin.motion.q),
        standing=begin.load - supports - begin.motion.f,
    )
