"""`State`: everything that the next step needs, and the check that it belongs to a system."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from frame2d.engine.plan import Motion, copy_motion
from frame2d.errors import InputError

if TYPE_CHECKING:
    from frame2d.model.system import System


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


def begin_of(system: "System", state: State | None) -> State:
    """The state that an analysis of `system` begins with: `state`, or at rest without loads.

    Raises `InputError` for a frame that was not compiled, and for what is no state of this system.
    """
    if not hasattr(system, "rest"):
        raise InputError(
            f"system is a {type(system).__name__}; allowed: a System. Likely mistake: frame.compile() was left out"
        )
    if state is None:
        return system.rest()
    if not isinstance(state, State):
        hint = "its .state was meant" if hasattr(state, "state") else "another argument's place"
        raise InputError(f"state is a {type(state).__name__}; allowed: a State. Likely mistake: {hint}")
    for what, found, wanted in (
        ("free displacements", state.motion.q.size, system.count),
        ("memories", state.motion.m0.size, system.memory.size),
        ("deformations of parts", state.motion.d0.size, system.rest().motion.d0.size),
        ("support displacements", state.supports.size, system.held.size),
    ):
        if found != wanted:
            raise InputError(
                f"state has {found} {what}; allowed: {wanted}, as frame {system.frame.name!r}. Likely mistake: the state "
                "of another frame, or of this one before it was changed and compiled again"
            )
    return state
