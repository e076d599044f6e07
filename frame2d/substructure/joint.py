"""One Newton iteration for all parts that arrive at an instant and the multipliers between them.

    r(u, Λ) = g + w·Bᵀ·Λ − E·u − w·f(u) = 0 in every part,    Σ B·v'(u) + seen + H·Λ = 0

The multipliers are eliminated by the parts' own factored tangents: a part that would lose its balance under given
multipliers, because a law softens, finds it here as it does in the unsplit frame.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from frame2d.engine.evaluate import assemble
from frame2d.engine.implicit import begin, commit
from frame2d.engine.newton import ROUNDING, residual
from frame2d.engine.plan import STEPS, Motion, Room, copy_motion
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.kernels import compiled

#: Most iterations, halvings of one, and how much of the parts' speed a gap may be.
MOST, HALVINGS, SHUT = 25, 5, 1e-12


@compiled
def answers(plan: Any, room: Any, weight: float, rows: Any, out: Any) -> None:
    """Factor the tangent; `room.dx` answers the residual, each row of `out` one of `rows`."""
    assemble(plan, room, weight, False)
    factor_tangent(plan, room)
    for j in range(rows.shape[0]):
        solve_tangent(plan, room, rows[j], out[j])
    solve_tangent(plan, room, room.r, room.dx)


class Trial:
    """A step of a frame part by generalized-alpha, open: `look`, `answer`, `move` until all agree, then `close`."""

    def __init__(
        self, plan: Any, room: Room, motion: Motion, rows: np.ndarray, loads: tuple[np.ndarray, np.ndarray],
        shift: np.ndarray, length: float, scheme: np.ndarray,
    ) -> None:  # fmt: skip
        self.plan, self.room, self.motion, self.rows = plan, room, copy_motion(motion), rows
        self.loads, self.shift, self.length, self.scheme = loads, shift, length, scheme
        self.room.counts[STEPS] += 1
        self.weight, self.cv = begin(plan, room, self.motion, *loads, length, scheme)
        self.free = room.g.copy()
        self.by_multiplier = np.zeros_like(rows)
        self.before = room.q.copy()
        self.change = np.zeros(room.q.size)

    def look(self, lam: np.ndarray) -> float:
        """Residual norm over what rounding leaves of it, N; infinite where a part has no answer."""
        room = self.room
        room.g[:] = self.free + self.weight * (lam @ self.rows)
        norm = residual(self.plan, room, self.motion, self.shift, self.length, self.weight, self.cv)
        return 0.0 if norm <= room.note[ROUNDING] else float(norm)

    def answer(self) -> tuple[np.ndarray, np.ndarray]:
        """Change of B·v by the residual, and by unit multipliers."""
        answers(self.plan, self.room, self.weight, self.rows, self.by_multiplier)
        self.change[:] = self.room.dx
        by_residual = self.cv * (self.rows @ self.change)
        return by_residual, self.cv * self.weight * (self.rows @ self.by_multiplier.T)

    def aim(self, move: np.ndarray) -> None:
        """Fix the direction of the step for a change of the multipliers."""
        self.before[:] = self.room.q
        self.change += self.weight * (move @ self.by_multiplier)

    def move(self, share: float) -> None:
        """Go a share of the direction."""
        self.room.q[:] = self.before + share * self.change

    def velocity(self) -> np.ndarray:
        """B·v at the trial displacement."""
        return np.asarray(self.rows @ (self.room.vp + self.cv * (self.room.q - self.room.qp)))

    def close(self, lam: np.ndarray) -> Motion:
        """Motion at the end of the step."""
        p0, p1 = self.loads
        commit(self.plan, self.room, self.motion, p0, p1 + lam @ self.rows, self.length, self.scheme)
        return self.motion


def solve_jointly(
    trials: Sequence[Trial], seen: np.ndarray, compliance: np.ndarray, guess: np.ndarray, tolerance: float
) -> tuple[np.ndarray, int] | None:
    """Multipliers at which every trial is balanced to `tolerance` (N) and the velocity gap is shut, and iterations.

    None where the iteration finds no end: the trials are then of no further use.
    """
    lam = guess.copy()
    norm, gap, speed = state_of(trials, seen, compliance, lam)
    for turn in range(MOST):
        if not np.isfinite(norm):
            return None
        if norm <= tolerance and np.abs(gap).max() <= SHUT * speed:
            return lam, turn
        slope, wanted = compliance.copy(), -gap
        for trial in trials:
            by_residual, by_multiplier = trial.answer()
            slope += by_multiplier
            wanted = wanted - by_residual
        if not np.all(np.isfinite(slope)) or np.linalg.matrix_rank(slope) < lam.size:
            return None
        move = np.linalg.solve(slope, wanted)
        for trial in trials:
            trial.aim(move)
        start, share = lam, 1.0
        for _ in range(HALVINGS):
            for trial in trials:
                trial.move(share)
            lam = start + share * move
            after, gap, speed = state_of(trials, seen, compliance, lam)
            if after <= max(0.9 * norm, tolerance):
                break
            share *= 0.5
        norm = after
    return None


def state_of(
    trials: Sequence[Trial], seen: np.ndarray, compliance: np.ndarray, lam: np.ndarray
) -> tuple[float, np.ndarray, float]:
    """Largest residual norm, velocity gap, and the largest velocity at the ties."""
    norm = max(trial.look(lam) for trial in trials)
    speeds = [trial.velocity() for trial in trials]
    gap = seen + compliance @ lam + sum(speeds)
    return norm, gap, float(max(np.abs(speed).max() for speed in speeds)) + 1e-300
