"""What a compiled frame is checked for before anything runs: symmetry, free motions."""

from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csc_matrix, csr_matrix, tril, triu
from scipy.sparse.linalg import splu

from frame2d.elements import Pieces
from frame2d.engine.evaluate import evaluate
from frame2d.engine.factor import factorise, solve_factored
from frame2d.engine.pivoted import solve_general
from frame2d.engine.plan import lower_columns, new_room
from frame2d.errors import InputError

if TYPE_CHECKING:
    from frame2d.model.system import System

#: Pivot over its diagonal, and answer over a unit load in the same measure, from which a motion counts as free.
FREE = 1e-11
#: First period (s) from which units are wrong rather than the frame slow (common practice, no source).
LONGEST_PERIOD = 30.0


def symmetric_matrices(name: str, pieces: Pieces) -> None:
    """The constant matrices of a member are symmetric; what is not must be a part."""
    for kind in ("stiffness", "damped", "mass"):
        matrix = getattr(pieces, kind)
        if np.abs(matrix - matrix.T).max() > 1e-9 * np.abs(matrix).max():
            raise InputError(
                f"member {name!r}: its {kind} matrix is not symmetric; allowed: symmetric matrices, or a Part with "
                "symmetric=False. Likely mistake: a sign or an index"
            )


def symmetric_tangents(system: "System") -> None:
    """A part that says nothing has a symmetric tangent, at rest and at some displacements of each size."""
    plan = system.plan
    silent = [
        place
        for place in system.parts
        if place.part.law is None and place.part.symmetric and place.last - place.first > 1
    ]
    if not silent:
        return
    room = new_room(plan)
    rng = np.random.default_rng(2)
    zero, memory = np.zeros(system.count), system.memory.copy()
    for size in (0.0, 1e-4, 1e-3, 1e-2):
        q = size * rng.uniform(-1.0, 1.0, system.count)
        q *= np.where(system.lead_kinds == "r", 1.0, system.length)
        if evaluate(plan, room, q, zero, room.shift, system.memory, memory, 0.0, 0.0) >= 0:
            continue
        for place in silent:
            width = place.last - place.first
            first = int(plan.k_at[place.number])
            k = room.ke[first : first + width * width].reshape(width, width)
            if np.abs(k - k.T).max() > 1e-6 * np.abs(k).max():
                raise InputError(
                    f"member {place.member!r}: the tangent of its {place.part.role} is not symmetric; allowed: "
                    "symmetric tangents, or Part(…, symmetric=False). Likely mistake: a sign or an index of k"
                )


def stands(system: "System") -> None:
    """A mechanism is an error that names the free motion."""
    motion = _free_motion(system) if system.symmetric else _free_motion_unsymmetric(system)
    if motion is None:
        return
    moved = np.asarray(system.free @ motion).ravel()
    size = np.abs(moved) * np.where(system.kinds == "r", system.length, 1.0)
    worst = np.argsort(size)[::-1][:3]
    named = ", ".join(system.freedom_label(freedom) for freedom in worst if size[freedom] > 0.1 * size.max())
    raise InputError(
        f"frame {system.frame.name!r} is a mechanism: it moves freely in {named}. Likely mistake: a missing support, "
        "two releases at one joint, or a link without a law in one direction"
    )


def _free_motion(system: "System") -> np.ndarray | None:
    plan = system.plan
    values = plan.virgin.copy()
    np.add.at(values, plan.a_place, plan.stiffness)
    n = system.count
    lower, pivot, work = np.zeros(plan.row.size), np.zeros(n), np.zeros(n)
    factorise(plan.pattern, values, lower, pivot, work, np.zeros(pivot.size))
    diagonal = values[plan.start[:-1].astype(np.int64)]
    with np.errstate(divide="ignore", invalid="ignore"):
        weak = np.flatnonzero(~(np.abs(pivot) > np.maximum(FREE * np.abs(diagonal), 1e-250)))
    if weak.size == 0:
        return None
    motion = np.zeros(n)
    motion[weak[-1]] = 1.0
    pivot[weak] = 1.0
    solve_factored(plan.pattern, lower, pivot, motion)
    return motion


def _free_motion_unsymmetric(system: "System") -> np.ndarray | None:
    """Answer to a random load: a free motion outweighs everything else in it by far."""
    tangent = system.tangent()
    size = np.sqrt(np.maximum(np.abs(tangent.diagonal()), 1e-250))
    load = size * np.random.default_rng(3).uniform(0.5, 1.0, system.count)
    motion = np.empty(system.count)
    whole = csr_matrix(tangent)
    below = tril(whole, -1)
    twist = triu(whole - below.T, 1).tocoo()
    solve_general(
        *lower_columns(whole),
        twist.row.astype(np.int64),
        twist.col.astype(np.int64),
        twist.data,
        load,
        motion,
    )
    return motion if float(np.abs(size * motion).max()) > 1e-3 / FREE else None


def period(system: "System") -> float:
    """About the first period of horizontal motion (s), by Rayleigh's quotient of the shape under the masses' weight; 0
    where no mass moves horizontally. Raises `InputError` for one that smells of wrong units.
    """
    inertia = system.influence()
    if not np.any(inertia):
        return 0.0
    tangent = system.tangent()
    shape = splu(csc_matrix(tangent)).solve(inertia)
    with np.errstate(over="ignore", invalid="ignore"):
        work = float(shape @ inertia)
        square = float(shape @ (system.mass @ shape)) / work if work > 0.0 else 0.0
    found = 2.0 * np.pi * np.sqrt(square)
    if not found <= LONGEST_PERIOD:
        raise InputError(
            f"frame {system.frame.name!r} has a first period of about {found:.3g} s; allowed: up to {LONGEST_PERIOD:g} s. "
            "Likely mistake: stiffness in kN/m or a modulus in MPa beside masses in kg, weights in N as masses"
        )
    return float(found)
