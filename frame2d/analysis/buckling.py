"""Linearised buckling: load factors at which the frame, as loaded, loses its stiffness.

K·φ = −λ·KG·φ with KG from the axial forces of a first-order solution; consistent geometric matrix (Przemieniecki 1968).
"""

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.linalg import eigh
from scipy.sparse import csr_matrix

from frame2d.elements.beam_column import BeamColumn, rotation_matrix
from frame2d.elements.beam_kernels import section_terms
from frame2d.errors import Frame2dError, whole
from frame2d.model.state import begin_of

if TYPE_CHECKING:
    from frame2d.model.system import System


def geometric_matrix(system: "System", q: np.ndarray) -> csr_matrix:
    """Geometric stiffness of all members at the axial forces of displacement `q`, all freedoms."""
    rows, cols, vals = [], [], []
    u = system.free @ q
    for name, placed in system.frame.members.items():
        i, j = system.frame.nodes[placed.i], system.frame.nodes[placed.j]
        own = system.freedoms_of[name]
        pieces = system.pieces[name]
        member: Any = placed.member
        matrix = np.zeros((own.size, own.size))
        if isinstance(member, BeamColumn):
            for span in pieces.spans:
                L, ends = span.length, span.rows @ u[own]
                EAL, _, _, gii, gij = section_terms(member.E, member.A, member.I, member.shear_stiffness, L)
                N = EAL * (ends[3] - ends[0])
                psi = np.array([0, -1 / L, 0, 0, 1 / L, 0])
                ti = np.array([0, 0, 1.0, 0, 0, 0]) - psi
                tj = np.array([0, 0, 0, 0, 0, 1.0]) - psi
                kg = N * (
                    L * np.outer(psi, psi)
                    + gii * (np.outer(ti, ti) + np.outer(tj, tj))
                    + gij * (np.outer(ti, tj) + np.outer(tj, ti))
                )
                matrix += span.rows.T @ kg @ span.rows
        elif type(member).__name__ == "Brace":
            L = float(np.hypot(j.x - i.x, j.y - i.y))
            rotation = rotation_matrix((j.x - i.x) / L, (j.y - i.y) / L)
            ends = rotation @ u[own]
            N = member.law.stiffness * (ends[3] - ends[0])
            z = np.array([0, -1.0, 0, 0, 1.0, 0])
            matrix = rotation.T @ (N / L * np.outer(z, z)) @ rotation
        else:
            continue
        a, b = np.nonzero(matrix)
        rows += list(own[a])
        cols += list(own[b])
        vals += list(matrix[a, b])
    return csr_matrix((vals, (rows, cols)), shape=(system.size, system.size))


def buckling(system: "System", case: str = "gravity", count: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Smallest positive factors on load `case` and their shapes (columns of free freedoms).

    Raises `Frame2dError` when no compression is found.
    """
    begin_of(system, None)
    system.need_symmetry("buckling factors")
    whole("count", count)
    from scipy.sparse.linalg import spsolve

    stiffness = system.tangent()
    q = np.atleast_1d(spsolve(stiffness, system.load_vector(case)))
    geometric = system.reduce(geometric_matrix(system, q)).toarray()
    values, shapes = eigh(-geometric, stiffness.toarray())
    keep = np.flatnonzero(values > 1e-12 * np.abs(values).max(initial=0.0))[::-1][:count]
    if keep.size == 0:
        raise Frame2dError(f"load case {case!r} compresses nothing that can buckle")
    return 1.0 / values[keep], shapes[:, keep]
