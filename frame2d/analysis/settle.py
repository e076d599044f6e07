"""What a motion starts with: internal forces at displacements that are given, and the acceleration that balances them."""

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.sparse.linalg import splu

from frame2d.engine.evaluate import evaluate, gather_forces, symmetric_product
from frame2d.engine.plan import Motion, Plan, new_room
from frame2d.errors import InputError

if TYPE_CHECKING:
    from frame2d.model.system import System


def settle(
    system: "System", motion: Motion, supports: np.ndarray, plan: Plan | None = None, room: Any = None
) -> None:
    """Fill `motion` with forces, deformations and recoverable energies at its displacements and `supports` (m, rad).

    The laws answer from their memories `m0`; what they would remember is left in `m1`. `plan` and `room` are those of
    an analysis, by default the system's own. Raises `InputError` for a law without an answer there.
    """
    plan = plan or system.plan
    room = room or new_room(plan)
    room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ supports
    failed = evaluate(plan, room, motion.q, motion.v, room.shift, motion.m0, motion.m1, 0.0, 0.0)
    if failed >= 0:
        raise InputError(f"member {system.parts[failed].member!r} has no answer at the starting displacement")
    symmetric_product(plan.a_start, plan.a_row, plan.stiffness, motion.q, motion.f)
    gather_forces(plan, room.fe, motion.f)
    motion.d0[:], motion.f0[:], motion.stored[:] = room.d, room.fe, room.e


def set_out(
    system: "System",
    plan: Any,
    room: Any,
    motion: Any,
    load: np.ndarray,
    damping: Any,
    supports: np.ndarray,
    displaced: bool,
) -> None:
    """Forces at the starting displacement, and the acceleration that balances them: M·a = p − C·v − f."""
    settle(system, motion, supports, plan, room)
    if displaced:
        motion.m0[:] = motion.m1
    inertial = np.flatnonzero(system.plan.inertial > 0.0)
    unbalanced = (load - motion.f - np.asarray(damping @ motion.v).ravel())[inertial]
    motion.a[:] = 0.0
    try:
        motion.a[inertial] = splu(system.mass[inertial][:, inertial].tocsc()).solve(unbalanced)
    except RuntimeError:
        raise InputError(
            f"the masses of frame {system.frame.name!r} leave a motion without inertia among freedoms that have mass; "
            "allowed: mass or rotary inertia in each. Likely mistake: a member's mass without nodes' own"
        ) from None


__all__ = ["set_out", "settle"]
