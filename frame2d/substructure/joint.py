"""One Newton iteration for all parts that arrive at an instant and the multipliers between them.

    r(u, Λ) = g + w·Bᵀ·Λ − E·u − w·f(u) = 0 in every part,    Σ B·v'(u) + seen + H·Λ = 0

The multipliers are eliminated by the parts' own factored tangents; where one of these is singular, as that of a brace
alone, the bordered matrix of all parts is factored instead. A part that would lose its balance under given multipliers,
because a law softens or it stands alone, finds it here as it does in the unsplit frame.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.sparse import block_array, csc_matrix, diags_array
from scipy.sparse.linalg import splu

from frame2d.engine.evaluate import assemble
from frame2d.engine.explicit import Operator
from frame2d.engine.implicit import begin, commit
from frame2d.engine.newton import ROUNDING, residual
from frame2d.engine.plan import REPLACED, STEPS, Motion, Room, copy_motion
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.engine.state_space import begin_state_space, commit_state_space
from frame2d.kernels import compiled

#: Halvings of an iteration, and how much of the parts' speed a gap may be.
HALVINGS, SHUT = 5, 1e-12


@compiled
def answers(plan: Any, room: Any, weight: float, rows: Any, out: Any) -> None:
    """Factor the tangent; `room.dx` answers the residual, each row of `out` one of `rows`."""
    assemble(plan, room, weight, False)
    factor_tangent(plan, room, room.z)
    for j in range(rows.shape[0]):
        solve_tangent(plan, room, rows[j], out[j])
    solve_tangent(plan, room, room.r, room.dx)


class Trial:
    """A step of a frame part by generalized-alpha of either order, open until all agree: `look`, `answer`, `move`, `close`.

    `operator` is that of the first-order form, its `carry` set to the rates at the start; None for the second order.
    """

    def __init__(
        self, plan: Any, room: Room, motion: Motion, rows: np.ndarray, loads: tuple[np.ndarray, np.ndarray],
        shift: np.ndarray, length: float, scheme: np.ndarray, operator: Operator | None = None,
    ) -> None:  # fmt: skip
        self.plan, self.room, self.motion, self.rows = plan, room, copy_motion(motion), rows
        self.loads, self.shift, self.length, self.scheme = loads, shift, length, scheme
        self.operator = operator
        self.room.counts[STEPS] += 1
        if operator is None:
            self.weight, self.cv = begin(plan, room, self.motion, *loads, length, scheme)
        else:
            self.weight, self.cv = begin_state_space(
                plan, room, self.motion, operator, *loads, length, scheme
            )
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

    def answer(self) -> tuple[np.ndarray, np.ndarray] | None:
        """Change of B·v by the residual, and by unit multipliers; None where the tangent is singular."""
        replaced = self.room.counts[REPLACED]
        answers(self.plan, self.room, self.weight, self.rows, self.by_multiplier)
        self.before[:] = self.room.q
        if self.room.counts[REPLACED] > replaced:
            return None
        self.change[:] = self.room.dx
        by_residual = self.cv * (self.rows @ self.change)
        return by_residual, self.cv * self.weight * (self.rows @ self.by_multiplier.T)

    def aim(self, move: np.ndarray) -> None:
        """Fix the direction of the step for a change of the multipliers."""
        self.change += self.weight * (move @ self.by_multiplier)

    def tangent(self) -> csc_matrix:
        """Tangent of the step as assembled last."""
        n, plan = self.room.q.size, self.plan
        columns = np.repeat(np.arange(n), np.diff(plan.start.astype(np.int64)))
        lower = csc_matrix((self.room.values, (plan.row.astype(np.int64), columns)), shape=(n, n))
        return csc_matrix(lower + lower.T - diags_array(lower.diagonal()))

    def move(self, share: float) -> None:
        """Go a share of the direction."""
        self.room.q[:] = self.before + share * self.change

    def velocity(self) -> np.ndarray:
        """B·v at the trial displacement."""
        return np.asarray(self.rows @ (self.room.vp + self.cv * (self.room.q - self.room.qp)))

    def grain(self) -> float:
        """What rounding of the displacements leaves of B·v."""
        return 1e-15 * self.cv * float(np.abs(self.rows @ self.room.q).max())

    def close(self, lam: np.ndarray) -> tuple[Motion, np.ndarray]:
        """Motion at the end of the step, and the rate of displacement (the velocity in the second-order form)."""
        p0, p1 = self.loads[0], self.loads[1] + lam @ self.rows
        if self.operator is None:
            commit(self.plan, self.room, self.motion, p0, p1, self.length, self.scheme)
            return self.motion, self.motion.v
        commit_state_space(self.plan, self.room, self.motion, self.operator, p0, p1, self.length, self.scheme)
        return self.motion, self.operator.carry.copy()


def solve_jointly(
    trials: Sequence[Trial],
    seen: np.ndarray,
    compliance: np.ndarray,
    around: np.ndarray,
    guess: np.ndarray,
    tolerance: float,
    most: int,
) -> tuple[np.ndarray, int] | None:
    """Multipliers at which every trial is balanced to `tolerance` (N) and the velocity gap is shut, and iterations.

    Parts on the way add `seen` + `compliance`·(Λ − `around`) to the gap. None where the iteration finds no end: the trials are then of no further use.
    """
    lam = guess.copy()
    norm, gap, shut = state_of(trials, seen, compliance, lam - around, lam)
    for turn in range(most + 1):
        if not np.isfinite(norm):
            return None
        if norm <= tolerance and np.abs(gap).max() <= shut:
            return lam, turn
        move = by_parts(trials, compliance, gap)
        if move is None:
            move = by_border(trials, compliance, gap)
        if move is None:
            return None
        start, share = lam, 1.0
        for _ in range(HALVINGS):
            for trial in trials:
                trial.move(share)
            lam = start + share * move
            after, gap, shut = state_of(trials, seen, compliance, lam - around, lam)
            if after <= max(0.9 * norm, tolerance):
                break
            share *= 0.5
        norm = after
    return None


def by_parts(trials: Sequence[Trial], compliance: np.ndarray, gap: np.ndarray) -> np.ndarray | None:
    """Change of the multipliers, the trials aimed, by the parts' own factors; None where one is singular."""
    slope, wanted, sound = compliance.copy(), -gap, True
    for trial in trials:
        answer = trial.answer()
        if answer is None:
            sound = False
            continue
        wanted = wanted - answer[0]
        slope += answer[1]
    if not (sound and np.all(np.isfinite(slope)) and np.linalg.cond(slope) < 1e13):
        return None
    move = np.linalg.solve(slope, wanted)
    for trial in trials:
        trial.aim(move)
    return np.asarray(move)


def by_border(trials: Sequence[Trial], compliance: np.ndarray, gap: np.ndarray) -> np.ndarray | None:
    """Change of the multipliers, the trials aimed, by the bordered matrix of all parts; None where it is singular."""
    count = len(trials)
    blocks: list[list[Any]] = [[None] * (count + 1) for _ in range(count + 1)]
    for k, trial in enumerate(trials):
        blocks[k][k] = trial.tangent()
        blocks[k][count] = csc_matrix(-trial.weight * trial.rows.T)
        blocks[count][k] = csc_matrix(trial.cv * trial.rows)
    blocks[count][count] = csc_matrix(compliance)
    right = np.concatenate([*(trial.room.r for trial in trials), -gap])
    try:
        found = splu(block_array(blocks, format="csc")).solve(right)
    except RuntimeError:  # exactly singular
        return None
    if not np.all(np.isfinite(found)):
        return None
    first = 0
    for trial in trials:
        trial.change[:] = found[first : first + trial.change.size]
        first += trial.change.size
    return np.asarray(found[first:])


def state_of(
    trials: Sequence[Trial], seen: np.ndarray, compliance: np.ndarray, moved: np.ndarray, lam: np.ndarray
) -> tuple[float, np.ndarray, float]:
    """Largest residual norm, velocity gap, and the gap that counts as shut."""
    norm = max(trial.look(lam) for trial in trials)
    speeds = [trial.velocity() for trial in trials]
    gap = seen + compliance @ moved + sum(speeds)
    largest = float(max(np.abs(speed).max() for speed in [seen, *speeds]))
    return norm, gap, SHUT * largest + max(trial.grain() for trial in trials) + 1e-300
