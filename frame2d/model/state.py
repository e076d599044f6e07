"""`State`: everything that the next step needs."""

from dataclasses import dataclass, field

import numpy as np

from frame2d.engine.plan import Motion, copy_motion


@dataclass(frozen=True)
class State:
    """Displacements, velocities, accelerations, memories, time; loads that stay on; support displacements.

    A state is never changed: analyses take one and return a new one.
    """

    motion: Motion
    time: float
    #: Load that stays on the structure (free freedoms, N and N·m).
    load: np.ndarray
    #: Displacements of the supported freedoms (m, rad).
    supports: np.ndarray
    #: Energy that removed devices took with them, J.
    released: float = 0.0
    #: Names of the devices replaced so far, in order.
    replaced: tuple[str, ...] = field(default=())
    #: Load cases that stay on and their factors; supports and loaded members need them for their forces.
    cases: dict[str, float] = field(default_factory=dict)

    def copy_motion(self) -> Motion:
        """A motion that an analysis may write."""
        return copy_motion(self.motion)
