"""Arc-length control: the path of equilibrium is followed wherever it goes."""

from typing import TYPE_CHECKING

import numpy as np

from frame2d.analysis.runner import Options
from frame2d.analysis.static import STATIC, at_rest_under
from frame2d.engine.newton import CONVERGED
from frame2d.engine.path import BY_NORM, INITIAL, NEWTON, PATIENCE, accept, lead_to, tangent_direction
from frame2d.engine.plan import HALVINGS, STEPS

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System


class Arc:
    """Follows the path of base + λ·load by arcs of one `length`; `motion` and `factor` as reached so far.

    The length is measured in the displacements' own norm: m, and rad times the mean member length.
    """

    def __init__(
        self, system: "System", begin: "State", load: np.ndarray, length: float, options: Options
    ) -> None:
        self.plan, self.room, self.motion, self.base = at_rest_under(system, begin)
        self.load, self.length, self.options = load, length, options
        self.factor, self._arc = 0.0, length
        self._weigh = np.where(system.lead_kinds == "r", system.length**2, 1.0)
        self._before = np.zeros(system.count)
        self._first = True
        self._rounding, self._scale = system.rounding, system.force_scale(np.abs(load))
        self._reference = max(system.force_scale(self.base), 0.0)

    def step(self) -> bool:
        """Go on by one arc, halved where no equilibrium is found; false where the shortest one finds none.

        Each is tried by Newton's iteration, then with a line search; the shortest with the initial stiffness as well.
        """
        self.room.counts[STEPS] += 1
        shortest = self.length * 0.5**self.options.deepest_halving
        direction = np.empty(self.load.size)
        if tangent_direction(self.plan, self.room, self.motion, self.load, self.room.shift, direction) < 0:
            return False
        while not self._reach(direction, 0.5 * self._arc < shortest):
            self._arc *= 0.5
            if self._arc < shortest:
                return False
            self.room.counts[HALVINGS] += 1
        self._arc = min(self.length, 1.5 * self._arc)
        return True

    def _reach(self, direction: np.ndarray, shortest: bool) -> bool:
        most = self.options.most_iterations
        size = float(np.sqrt(direction @ (self._weigh * direction)))
        change = self._arc / size
        if not self._first and float(self._before @ (self._weigh * direction)) < 0.0:
            change = -change
        move = change * direction
        guess, b = self.motion.q + move, self._weigh * move
        reached = self.factor + change
        load = self._scale * max(abs(self.factor), abs(reached), 1e-12)
        tolerance = max(self.options.tolerance * max(self._reference, load), self._rounding)
        tries = [(NEWTON, most), (BY_NORM, most)] + ([(INITIAL, PATIENCE * most)] if shortest else [])
        for way, iterations in tries:
            self.room.q[:] = guess
            status, factor = lead_to(
                self.plan, self.room, self.motion, self.base, self.load, b, float(b @ guess), reached, -1, 0.0,
                self.room.shift, tolerance, iterations, way,
            )  # fmt: skip
            if status == CONVERGED:
                self._accept(float(factor))
                return True
        return False

    def _accept(self, factor: float) -> None:
        before = self.motion.q.copy()
        accept(self.plan, self.room, self.motion, self.base, self.load, self.factor, factor, STATIC)
        self._before, self._first = self.motion.q - before, False
        self.factor = factor
        self._reference = max(self._reference, self._scale * abs(factor) * 0.1)
