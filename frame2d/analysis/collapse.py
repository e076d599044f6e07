"""Loss of gravity equilibrium: does the frame, let go at rest, find a place to stay under the loads that stay on?

Definition. From the state that was reached the frame is let go without velocity, under the loads that stay on alone,
and creeps: D·dq/dτ = p − f(q), with D the mass (and a small share of it where there is none) and implicit steps short
enough that no storey moves by more than one percent of its height (or a tenth of the drift it has), and no node that
bears load sinks by more than one percent of its longest member (or a tenth of what it has sunk). It

* holds when it comes to rest: the unbalanced force falls below 1e-6 of the loads and the tangent has no negative pivot;
* is lost when a storey drift ratio or a sinking ratio passes one half (or twice the largest it had) without rest, and
  does so again with halved steps;
* is undecided otherwise, and then nothing is called a collapse.

Creep leaves out inertia, so it asks the frame's resistance alone; devices yield, slip and soften on the way as they
would. A step that fails numerically while the frame holds stays "not converged". Source: the definition is our own;
creep to equilibrium is pseudo-transient continuation (Kelley & Keyes 1998, from memory); collapse as loss of the
ability to carry gravity loads, Ibarra & Krawinkler 2005 (from memory).
"""

from enum import Enum
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import vstack

from frame2d.engine.implicit import substep
from frame2d.engine.newton import CONVERGED
from frame2d.engine.plan import NEGATIVE, Motion, Plan, copy_motion, new_room
from frame2d.model.storeys import DriftWatch

if TYPE_CHECKING:
    from frame2d.model.system import System

#: Drift ratio at which creep has run away, and the largest move of one step.
RUNAWAY, MOVE = 0.5, 0.01
#: Unbalanced force over the loads at which the frame rests.
REST = 1e-6
#: Backward Euler in the scheme array of the implicit step (γ/β = 1, no mass).
EULER = np.array([0.0, 0.0, 1.0, 1.0, 1.0])


class Stand(Enum):
    """What creep under the loads that stay on found."""

    HELD = "equilibrium under the loads that stay on was found"
    LOST = "no equilibrium under the loads that stay on"
    UNDECIDED = "neither rest nor runaway was reached"


def stands(system: "System", motion: Motion, load: np.ndarray, supports: np.ndarray) -> Stand:
    """Whether gravity is held from `motion`; `load` on the free freedoms (N, N·m), `supports` as displaced (m, rad)."""
    first = _creep(system, motion, load, supports, MOVE)
    if first is not Stand.LOST:
        return first
    return _creep(system, motion, load, supports, 0.5 * MOVE)


def ratios(system: "System", load: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows that give storey drift ratios, and sinking ratios under `load`, from q and support displacements.

    Drifts are those of all heights where no floors are declared.
    """
    drifts, sinks = system.storeys(), system.sinking(load)
    if drifts.names:
        free, supports = drifts.free.toarray(), drifts.supports.toarray()
    else:
        frame = system.frame
        tall = max(node.y for node in frame.nodes.values()) - frame.ground()
        sway = np.arange(0, 3 * len(system.node_index), 3)
        table = np.eye(system.size)[sway] / (tall if tall > 0.0 else system.length)
        free, supports = np.asarray(table @ system.free), np.asarray(table @ system.supported)
    return np.vstack([free, sinks.free.toarray()]), np.vstack([supports, sinks.supports.toarray()])


def suspicion(system: "System", load: np.ndarray, ratio: float) -> DriftWatch:
    """Watch on the drifts of declared floors and on the nodes that bear `load`, for one `ratio`."""
    sinks = system.sinking(load)
    watch = DriftWatch(sinks.free, sinks.supports, np.full(len(sinks.names), ratio))
    if not system.frame.floors:
        return watch
    drifts = system.drift_watch(ratio, mean=False)
    return DriftWatch(
        vstack([drifts.free, watch.free], format="csr"),
        vstack([drifts.supports, watch.supports], format="csr"),
        np.concatenate([drifts.limits, watch.limits]),
    )


def _creeping(system: "System") -> Plan:
    """Plan whose damping is the mass, with a share of it on all other freedoms, and without mass."""
    plan = system.plan
    mean = float(system.mass.diagonal().sum() / max(np.count_nonzero(system.mass.diagonal()), 1))
    extra = np.where(plan.inertial > 0.0, 0.0, 1e-3 * mean / plan.scale**2)
    on_diagonal = plan.a_row == np.repeat(
        np.arange(system.count), (plan.a_start[1:] - plan.a_start[:-1]).astype(np.int64)
    )
    damping = plan.mass.copy()
    damping[on_diagonal] += extra
    values = plan.m_val.copy()
    values[plan.m_start[:-1].astype(np.int64)] += extra
    return plan._replace(
        mass=np.zeros_like(plan.mass),
        m_val=np.zeros_like(plan.m_val),
        inertial=np.zeros_like(plan.inertial),
        damping=damping,
        c_start=plan.m_start,
        c_row=plan.m_row,
        c_val=values,
    )


def _creep(
    system: "System", begin: Motion, load: np.ndarray, supports: np.ndarray, most_move: float
) -> Stand:
    plan, motion = _creeping(system), copy_motion(begin)
    room = new_room(plan)
    motion.v[:], motion.a[:], motion.dq[:] = 0.0, 0.0, 0.0
    on_free, on_supports = ratios(system, load)
    fixed = on_supports @ supports
    shift = room.shift.copy()
    shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ supports
    room.shift[:] = shift
    total = load - system.support_coupling() @ supports
    reference = max(system.force_scale(load), 1e-9 * system.force_scale(motion.f))
    tolerance = max(1e-8 * reference, system.rounding)
    drift = on_free @ motion.q + fixed
    most_move *= max(1.0, 10.0 * float(np.abs(drift).max()))
    runaway = max(RUNAWAY, 2.0 * float(np.abs(drift).max()))
    # Shorter than the fastest decay by far: the first step moves little, and steps then grow.
    stiffest = float(np.abs(system.tangent().diagonal()).max())
    lightest = float(plan.c_val[plan.c_start[:-1].astype(np.int64)].min())
    h = lightest / stiffest
    shortest = 1e-6 * h
    for _ in range(3000):
        kept = copy_motion(motion)
        status = substep(plan, room, motion, total, total, shift, h, EULER, tolerance, 20, False)
        if status == CONVERGED:
            moved = float(np.abs(on_free @ (motion.q - kept.q)).max())
        if status != CONVERGED or moved > most_move or room.counts[NEGATIVE] > 0:
            # A negative pivot means that the step is longer than the growth of what is unstable.
            _restore(motion, kept)
            h *= 0.25 if status != CONVERGED else 0.5
            if h < shortest:
                return Stand.UNDECIDED
            continue
        unbalanced = float(np.max(np.abs(total - motion.f) * plan.scale))
        if unbalanced <= max(REST * reference, 10.0 * system.rounding):
            return Stand.HELD
        if float(np.abs(on_free @ motion.q + fixed).max()) > runaway:
            return Stand.LOST
        h *= 2.0
    return Stand.UNDECIDED


def _restore(motion: Motion, kept: Motion) -> None:
    for array, old in zip(motion, kept, strict=True):
        array[:] = old
