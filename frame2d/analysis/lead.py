"""Displacement control: one displacement is led through targets, the load factor follows."""

from typing import TYPE_CHECKING

import numpy as np

from frame2d.analysis.runner import Options
from frame2d.analysis.static import STATIC, at_rest_under
from frame2d.engine.newton import CONVERGED, NOT_CONVERGED
from frame2d.engine.path import BY_WORK, INITIAL, NEWTON, PATIENCE, accept, lead_to, tangent_direction
from frame2d.engine.plan import HALVINGS, STEPS

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System


class Lead:
    """Leads one displacement, row·q, through `targets` under base + λ·load; `motion` and `factor` as reached so far."""

    def __init__(
        self,
        system: "System",
        begin: "State",
        load: np.ndarray,
        row: np.ndarray,
        targets: np.ndarray,
        options: Options,
    ) -> None:
        self.plan, self.room, self.motion, self.base = at_rest_under(system, begin)
        self.load, self.row, self.options = load, row, options
        self.targets, self.factor, self._at = targets, 0.0, 0
        self.rounding = system.rounding
        self.scale = system.force_scale(np.abs(load))
        self.reference = max(
            system.force_scale(self.base), 1e-3 * self.scale * _stiff(system, row, load) * np.ptp(targets)
        )
        self.held = int(np.argmax(np.abs(row)))
        self.sigma = float(np.abs(system.tangent().diagonal()[self.held]))

    def step(self) -> bool:
        """Lead to the next target, in shorter steps where it must be; false where no equilibrium was found.

        The step is halved where it fails and doubled again as soon as the halves fit together; the shortest is tried
        with the initial stiffness as well.
        """
        self.room.counts[STEPS] += 1
        first, last = self.targets[self._at : self._at + 2]
        deepest = self.options.deepest_halving
        whole = 1 << deepest
        done, level = 0, 0
        while done < whole:
            piece = whole >> level
            at, goal = (first + (last - first) * part / whole for part in (done, done + piece))
            if self._reach(at, goal, level == deepest):
                done += piece
                if level > 0 and done % (2 * piece) == 0:
                    level -= 1
            elif level < deepest:
                level += 1
                self.room.counts[HALVINGS] += 1
            else:
                return False
        self._at += 1
        return True

    def _reach(self, at: float, goal: float, shortest: bool) -> bool:
        """One step: Newton's iteration; where it does not settle, the same point by the load's own displacement."""
        most = self.options.most_iterations
        self.room.q[:] = self.motion.q
        status, factor = self._iterate(self.row, goal, self.factor, most, NEWTON)
        if status != CONVERGED:
            status, factor = self._conjugate(at, goal)
        if status != CONVERGED and shortest:
            self.room.q[:] = self.motion.q
            status, factor = self._iterate(self.row, goal, self.factor, PATIENCE * most, INITIAL)
        if status != CONVERGED:
            return False
        accept(self.plan, self.room, self.motion, self.base, self.load, self.factor, factor, STATIC)
        self.factor = float(factor)
        return True

    def _iterate(self, b: np.ndarray, target: float, factor: float, most: int, way: int) -> tuple[int, float]:
        tolerance = max(
            self.options.tolerance * max(self.reference, abs(self.factor) * self.scale), self.rounding
        )
        found: tuple[int, float] = lead_to(
            self.plan, self.room, self.motion, self.base, self.load, b, target, factor, self.held, self.sigma,
            self.room.shift, tolerance, most, way,
        )  # fmt: skip
        return found

    def _conjugate(self, at: float, goal: float) -> tuple[int, float]:
        """Search along the displacement on which the load works, where line search has a potential to fall on.

        It is led to where row·q meets the goal, by regula falsi; the last iterations lead row·q itself.
        """
        b = self.load / np.linalg.norm(self.load)
        direction = np.empty(self.load.size)
        if tangent_direction(self.plan, self.room, self.motion, self.load, self.room.shift, direction) < 0:
            return NOT_CONVERGED, self.factor
        along, across = float(self.row @ direction), float(b @ direction)
        if along == 0.0 or across == 0.0:
            return NOT_CONVERGED, self.factor
        begin = float(b @ self.motion.q)
        low, gap_low, high, gap_high = begin, at - goal, None, 0.0
        s = begin + (goal - at) * across / along
        self.room.q[:] = self.motion.q
        factor = self.factor
        for _ in range(40):
            status, factor = self._iterate(b, s, factor, 10 * self.options.most_iterations, BY_WORK)
            if status != CONVERGED:
                return NOT_CONVERGED, factor
            gap = float(self.row @ self.room.q) - goal
            kept = self.room.q.copy()
            status, new = self._iterate(self.row, goal, factor, self.options.most_iterations, NEWTON)
            if status == CONVERGED:
                return CONVERGED, new
            self.room.q[:] = kept
            if gap * gap_low > 0.0:
                step = s - low
                low, gap_low, s = (
                    s,
                    gap,
                    s + min(max(gap / (gap_low - gap), 0.1), 4.0) * step if gap != gap_low else s + step,
                )
                if high is not None:
                    gap_high *= 0.5
            else:
                if high is not None:
                    gap_low *= 0.5
                high, gap_high = s, gap
            if high is not None:
                s = low + (high - low) * gap_low / (gap_low - gap_high)
        return NOT_CONVERGED, factor


def _stiff(system: "System", row: np.ndarray, load: np.ndarray) -> float:
    """Load factor per unit of the led displacement, at rest."""
    from scipy.sparse.linalg import spsolve

    compliance = float(row @ np.atleast_1d(spsolve(system.tangent(), load)))
    return abs(1.0 / compliance) if compliance else 1.0
