"""The arrays that compiled code reads (`Plan`), carries from step to step (`Motion`) and works in (`Room`)."""

from typing import Any, NamedTuple

import numpy as np
from scipy.sparse import coo_matrix

from frame2d.bundle import bundle
from frame2d.engine.ordering import Pattern
from frame2d.engine.pivoted import HARD


@bundle
class Twist(NamedTuple):
    """What unsymmetric parts add above the diagonal to the mirror image of the lower triangle; empty for most frames."""

    #: Entry (row < column) of the matrix: weight·(k[first] − k[second]).
    row: np.ndarray
    column: np.ndarray
    first: np.ndarray
    second: np.ndarray
    weight: np.ndarray


@bundle
class Plan(NamedTuple):
    """A system as arrays: pattern of the matrices, parts with their kernels, constant matrices. Never written."""

    # Pattern of the factor (ordering.Pattern).
    start: np.ndarray
    row: np.ndarray
    left_start: np.ndarray
    left_column: np.ndarray
    left_many: np.ndarray
    left_place: np.ndarray
    # Lower columns of the matrix itself, and where each of its entries stands in the factor's pattern.
    a_start: np.ndarray
    a_row: np.ndarray
    a_place: np.ndarray
    # Constant matrices on that pattern: linear members, mass, damping.
    stiffness: np.ndarray
    mass: np.ndarray
    damping: np.ndarray
    # Parts: kernel address, where its parameters, memory, deformations and tangent start, how many deformations.
    address: np.ndarray
    p_at: np.ndarray
    m_at: np.ndarray
    d_at: np.ndarray
    k_at: np.ndarray
    width: np.ndarray
    parameters: np.ndarray
    # Deformations of the parts from the free displacements: d = G·q, by rows; and its transpose, by free freedoms.
    g_start: np.ndarray
    g_col: np.ndarray
    g_val: np.ndarray
    s_start: np.ndarray
    s_col: np.ndarray
    s_val: np.ndarray
    # Tangent of the parts into the factor's pattern: values[place] += weight·k[entry].
    t_place: np.ndarray
    t_entry: np.ndarray
    t_weight: np.ndarray
    # Tangent of the virgin parts in the factor's pattern.
    virgin: np.ndarray
    # Residual scale of each freedom (1, or 1/length for moments); 1 where the freedom has mass.
    scale: np.ndarray
    inertial: np.ndarray
    # The constant matrices again, each on its own nonzeros: lower columns, diagonal first.
    k_start: np.ndarray
    k_row: np.ndarray
    k_val: np.ndarray
    m_start: np.ndarray
    m_row: np.ndarray
    m_val: np.ndarray
    c_start: np.ndarray
    c_row: np.ndarray
    c_val: np.ndarray
    twist: Twist

    @property
    def pattern(self) -> Pattern:
        """Pattern of the factor."""
        return Pattern(*self[: len(Pattern._fields)])  # type: ignore[arg-type]


@bundle
class Motion(NamedTuple):
    """What the next step needs. Displacement, velocity, acceleration of the free freedoms, memories, part forces."""

    q: np.ndarray
    v: np.ndarray
    a: np.ndarray
    #: Last displacement increment, the guess for massless freedoms.
    dq: np.ndarray
    #: Internal force at q.
    f: np.ndarray
    #: Committed and trial memories of the parts.
    m0: np.ndarray
    m1: np.ndarray
    #: Deformations and forces of the parts at q, their work and recoverable energy so far.
    d0: np.ndarray
    f0: np.ndarray
    work: np.ndarray
    stored: np.ndarray
    #: Energies by the scheme's own quadrature: ground or support motion, damping, algorithm; then time.
    account: np.ndarray


#: Entries of `Motion.account`.
GROUND, DAMPED, ALGORITHM, TIME = 0, 1, 2, 3

#: Entries of the counter array: what the work was.
STEPS, ITERATIONS, FACTORISATIONS, EVALUATIONS, HALVINGS, NEGATIVE, REPLACED, REFINED, SEARCHES, FALLBACKS = (
    range(10)
)

#: Entry of `Room.note`: where compiled code asks for the solver that pivots.
HARD_SOLVER = 44


@bundle
class Room(NamedTuple):
    """Scratch space of one running analysis."""

    d: np.ndarray
    w: np.ndarray
    fe: np.ndarray
    ke: np.ndarray
    e: np.ndarray
    scratch: np.ndarray
    #: Effective constant matrix (on the matrix pattern, and on the factor's), the tangent's values, its factor.
    effective: np.ndarray
    constant: np.ndarray
    values: np.ndarray
    lower: np.ndarray
    pivot: np.ndarray
    column: np.ndarray
    #: Vectors of the free freedoms.
    q: np.ndarray
    v: np.ndarray
    qp: np.ndarray
    vp: np.ndarray
    g: np.ndarray
    r: np.ndarray
    dx: np.ndarray
    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    #: Loads at both ends of a step of a history and of a piece of it, and the parts' imposed deformations.
    load0: np.ndarray
    load1: np.ndarray
    piece0: np.ndarray
    piece1: np.ndarray
    shift: np.ndarray
    shift0: np.ndarray
    shift1: np.ndarray
    #: Time step for which `effective` holds, then the last residual norms.
    note: np.ndarray
    counts: np.ndarray
    #: The counts at the last logged step.
    counts_before: np.ndarray


def lower_columns(matrix: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lower columns of a sparse symmetric matrix, every diagonal entry present and first."""
    size = matrix.shape[0]
    coo = coo_matrix(matrix)
    below = (coo.row > coo.col) & (coo.data != 0.0)
    rows = np.concatenate([np.arange(size), coo.row[below]])
    cols = np.concatenate([np.arange(size), coo.col[below]])
    vals = np.concatenate([matrix.diagonal(), coo.data[below]])
    order = np.lexsort((rows, cols))
    start = np.searchsorted(cols[order], np.arange(size + 1))
    return start.astype(np.uint32), rows[order].astype(np.uint32), vals[order]


def new_room(plan: Plan) -> Room:
    """Scratch space for `plan`."""
    n = plan.start.size - 1
    parts_d = plan.g_start.size - 1
    widest = int(plan.width.max()) if plan.width.size else 1
    tangents = int((plan.width**2).sum()) if plan.width.size else 1
    note = np.full(64, -1.0)
    note[HARD_SOLVER] = HARD.address
    vectors: Any = [np.zeros(n) for _ in range(14)]
    return Room(  # type: ignore[call-arg]
        np.zeros(parts_d + 1),
        np.zeros(parts_d + 1),
        np.zeros(parts_d + 1),
        np.zeros(tangents + 1),
        np.zeros(plan.width.size + 1),
        np.zeros(16 * widest * widest + 64),
        np.zeros(plan.a_row.size),
        np.zeros(plan.row.size),
        np.zeros(plan.row.size),
        np.zeros(plan.row.size),
        np.zeros(n),
        np.zeros(n),
        *vectors,
        np.zeros(parts_d + 1),
        np.zeros(parts_d + 1),
        np.zeros(parts_d + 1),
        note,
        np.zeros(16, dtype=np.int64),
        np.zeros(16, dtype=np.int64),
    )


def copy_motion(motion: Motion) -> Motion:
    """Independent copy of a motion."""
    return Motion(*(array.copy() for array in motion))
