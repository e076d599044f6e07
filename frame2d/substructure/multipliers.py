"""Multipliers of the ties: those at the start with the accelerations they cause, and those of a step by iteration."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy.linalg import lstsq

from frame2d.errors import InputError

#: Most evaluations of one step, and how many go by before the slope is measured anew.
MOST, PATIENCE = 40, 6

Evaluate = Callable[[np.ndarray], tuple[np.ndarray, Any] | None]


def check_ties(parts: Sequence[Any], names: Sequence[str]) -> int:
    """Number of ties; raises `InputError` where rows do not fit or say something twice."""
    counts = {part.B.shape[0] for part in parts}
    if len(counts) != 1 or 0 in counts:
        raise InputError(
            f"the parts {list(names)} have {sorted(counts)} tie rows; allowed: the same number, at least one"
        )
    whole = np.hstack([part.B.toarray() for part in parts])
    if np.linalg.matrix_rank(whole) < len(whole):
        raise InputError(
            "the ties say something twice; allowed: rows of which none follows from the others. Likely mistake: three "
            "parts at one node tied in a circle"
        )
    for row in range(len(whole)):
        takers = [name for part, name in zip(parts, names, strict=True) if part.B[row].nnz]
        if len(takers) < 2:
            raise InputError(f"tie {row} has the parts {takers}; allowed: two or more")
    return len(whole)


def mark_inertia(parts: Sequence[Any]) -> np.ndarray:
    """Ties whose freedoms have mass in some part count as having mass in all; returns the mask of these ties.

    Otherwise a freedom with mass in one part alone would follow two different kinematic relations of one scheme.
    """
    heavy = np.zeros(parts[0].B.shape[0], dtype=bool)
    for _ in range(len(heavy)):
        before = heavy.copy()
        for part in parts:
            heavy |= np.asarray(abs(part.B) @ (np.asarray(part.inertial) > 0.0)).ravel() > 0.0
        if np.array_equal(before, heavy):
            break
        for part in parts:
            part.mark_inertial(heavy)
    return heavy


def start(parts: Sequence[Any], heavy: np.ndarray) -> tuple[list[Any], np.ndarray]:
    """Snaps of all parts at the start and the multipliers, from the equations of motion and Σ B·a = 0.

    Freedoms without mass have no acceleration: there the multipliers are those of static equilibrium.
    """
    begun = [part.start() for part in parts]
    for what, unit in (("velocity", "m/s"), ("displacement", "m")):
        seen = np.array([getattr(part, what)(snap) for part, (snap, _) in zip(parts, begun, strict=True)])
        gap = seen.sum(axis=0)
        if np.abs(gap).max() > 1e-8 * np.abs(seen).max():
            raise InputError(
                f"the parts start with a {what} gap {gap.tolist()} {unit}; allowed: none. Likely mistake: an initial "
                f"{what} or a state given to one part alone"
            )
    ties, weight = len(heavy), max(float(abs(part.mass()).max()) for part in parts)
    places, count = [], 0
    for part in parts:
        own = np.flatnonzero(np.asarray(part.inertial) > 0.0)
        places.append((own, count))
        count += own.size
    rows, right = [], []
    for part, (_, force), (own, first) in zip(parts, begun, places, strict=True):
        balance = np.zeros((own.size, count + ties))
        balance[:, first : first + own.size] = part.mass()[own][:, own].toarray()
        balance[:, count:] = -part.B.toarray().T[own]
        light = np.setdiff1d(np.unique(part.B.indices), own)
        static = np.zeros((light.size, count + ties))
        static[:, count:] = -part.B.toarray().T[light]
        rows += [balance, static]
        right += [force[own], force[light]]
    tie = np.zeros((ties, count + ties))
    for part, (own, first) in zip(parts, places, strict=True):
        tie[:, first : first + own.size] = weight * part.B.toarray()[:, own]
    rows.append(tie[heavy])
    right.append(np.zeros(int(heavy.sum())))
    unknown = lstsq(np.vstack(rows), np.concatenate(right))[0]
    snaps = []
    for part, (snap, force), (own, first) in zip(parts, begun, places, strict=True):
        acceleration = np.zeros(force.size)
        acceleration[own] = unknown[first : first + own.size]
        snaps.append(part.started(snap, acceleration))
    return snaps, unknown[count:]


class Slope:
    """Slope ∂gap/∂Λ of a step, kept from step to step: measured, then corrected after Broyden (1965)."""

    def __init__(self, scale: np.ndarray, size: float, linear: bool) -> None:
        #: Multipliers are compared after `scale`; `size` is the force (N) that a measurement adds.
        self.scale, self.linear = scale, linear
        self.size = size if linear else 1e-6 * size
        self.matrix: np.ndarray | None = None

    def measure(self, evaluate: Evaluate, at: np.ndarray, gap: np.ndarray) -> bool:
        """Slope at the multipliers `at`, where the gap is `gap`, by one more evaluation a tie; false where none is."""
        matrix = np.zeros((gap.size, gap.size))
        for j in range(gap.size):
            nudge = self.size / self.scale[j]
            moved = at.copy()
            moved[j] += nudge
            found = evaluate(moved)
            if found is None:
                return False
            matrix[:, j] = (found[0] - gap) / nudge
        self.matrix = matrix
        return True

    def correct(self, moved: np.ndarray, change: np.ndarray) -> None:
        """Make the slope agree with the last move of the multipliers."""
        if self.linear or self.matrix is None:
            return
        weighed = moved * self.scale**2
        length = float(moved @ weighed)
        if length > 0.0:
            self.matrix = self.matrix + np.outer(change - self.matrix @ moved, weighed) / length


def solve(
    evaluate: Evaluate, guess: np.ndarray, slope: Slope, tolerance: float
) -> tuple[np.ndarray, Any, int] | None:
    """Multipliers that close the gap to a correction below `tolerance` (N), what they lead to, and evaluations.

    None where none are found. A move that opens the gap, or leads where a part has no equilibrium, is halved.
    """
    lam = guess.copy()
    found = evaluate(lam)
    if found is None:
        return None
    gap, reached = found
    count = 1
    if slope.matrix is None and not slope.measure(evaluate, lam, gap):
        return None
    best = np.inf
    for turn in range(MOST):
        if turn and turn % PATIENCE == 0 and not slope.linear:
            if not slope.measure(evaluate, lam, gap):
                return None
            count += gap.size
        assert slope.matrix is not None
        move = np.linalg.solve(slope.matrix, -gap)
        size = float(np.abs(move * slope.scale).max())
        # Rounding may end the iteration of stiff parts above the tolerance, where a correction no longer helps.
        if size <= tolerance or (turn >= 3 and size >= 0.5 * best and size <= 1e3 * tolerance):
            return lam, reached, count
        best = min(best, size)
        share = 1.0
        for _ in range(8):
            after = evaluate(lam + share * move)
            count += 1
            if after is not None and np.abs(after[0]).max() <= 2.0 * np.abs(gap).max():
                break
            share *= 0.5
        if after is None:
            return None
        slope.correct(share * move, after[0] - gap)
        lam, gap, reached = lam + share * move, after[0], after[1]
    return None


def rows_of(parts: Sequence[Any]) -> np.ndarray:
    """Scale of the multipliers: the smallest that any part names."""
    scales = np.array([part.row_scale() for part in parts])
    scales[scales == 0.0] = np.inf
    return np.asarray(scales.min(axis=0))


__all__ = ["Slope", "check_ties", "mark_inertia", "rows_of", "solve", "start"]
