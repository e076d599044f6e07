"""A frame whose loop belongs to the caller: `StepByStep`, the time history one step at a time."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.analysis.damping import prepare
from frame2d.analysis.history import LONGEST_STEP, MOST_NUMBERS, check_method
from frame2d.analysis.operators import marcher
from frame2d.analysis.outcome import Outcome
from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import UNWATCHED, Options, finish
from frame2d.analysis.schemes import GeneralizedAlpha, Scheme, chung_hulbert
from frame2d.analysis.settle import set_out
from frame2d.bundle import handle
from frame2d.engine.implicit import run
from frame2d.engine.newton import CONVERGED
from frame2d.engine.plan import Motion, copy_motion, new_room
from frame2d.errors import InputError, listed, whole, within
from frame2d.model.freedoms import node_freedom
from frame2d.model.state import begin_of

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System


class StepByStep:
    """Motion of the frame from `state` (at rest by default) at steps of `dt` s that the caller takes.

    The ground's acceleration, and loads on `forces` [(node, "ux"|"uy"|"rz"), …], are given with each step; what is on
    at the start (`ground`, `loads`) gives the first acceleration. `peak` is the largest ground acceleration that will
    come (m/s²) and `most` the largest load on each of `forces` (N or N·m): the residual's tolerance counts from them.
    `scheme`, `damping` and `options` are those of `time_history`, which gives the same numbers to the last bit: both
    call the same compiled function, this one for one step at a time. Every step is logged: memory is taken for `rows` of
    them, and for twice as many whenever they are full.

    Nothing is judged on the way: no drift limit, no loss of gravity equilibrium, no lost stability of an explicit
    scheme; whoever owns the loop looks at what it finds. Raises `InputError`.
    """

    def __init__(
        self,
        system: "System",
        state: "State | None" = None,
        *,
        dt: float,
        peak: float = 0.0,
        ground: float = 0.0,
        forces: Sequence[tuple[str, str]] = (),
        most: Sequence[float] | None = None,
        loads: Sequence[float] | None = None,
        scheme: Scheme | None = None,
        damping: Any = None,
        options: Options | None = None,
        rows: int = 1024,
    ) -> None:
        self.system, self.begin = system, begin_of(system, state)
        self._method, tries = chung_hulbert(0.8) if scheme is None else scheme, options or Options()
        check_method(system, self._method, damping)
        longest = max(LONGEST_STEP, 2.0 * system.rough_period)
        self.dt = within("dt", dt, 0.0, longest, open_low=True, hint="ms instead of s")
        self._forces = len(listed("forces", forces))
        held = np.flatnonzero(self.begin.supports)
        self._patterns = np.array(
            [
                -system.influence(),
                *(_row(system, place) for place in forces),
                *(-system.support_coupling()[:, k] for k in held),
            ]
        )
        largest = [within("peak", peak, 0.0, np.inf, open_high=True), *self._loads("most", most)]
        first = [within("ground", ground, -np.inf, np.inf), *self._loads("loads", loads)]
        damped = prepare(system, damping, state)
        self._plan, self._damping, self._marcher = damped.plan, damped.found, None
        if not isinstance(self._method, GeneralizedAlpha):
            self._marcher = marcher(self._method, system, damped.found, self.dt)
            self._plan, self._damping = self._marcher.plan, self._marcher.damping
        room, motion = new_room(self._plan), self.begin.copy_motion()
        motion.account[:] = 0.0
        motion.work[:] = 0.0
        self._factors = np.tile(np.concatenate([first, self.begin.supports[held]]), (2, 1))
        load = self.begin.load + self._factors[0] @ self._patterns
        set_out(system, self._plan, room, motion, load, self._damping, self.begin.supports, False)
        if self._marcher is not None:
            motion = self._marcher.begin(motion)
        table, motion = _together(motion)
        self._room, self._motion = room, motion
        carried = () if self._marcher is None else (self._marcher.operator.carry, self._marcher.operator.work)
        self._kept = [(array, array.copy()) for array in (table, *carried)]
        reach = np.abs(np.concatenate([largest, self.begin.supports[held]])) @ np.abs(self._patterns)
        reference = system.force_scale(reach + np.abs(self.begin.load) + np.abs(motion.f))
        self._options = tries.array(max(reference, system.rounding / tries.tolerance))
        self._supports = np.vstack([system.imposed_parts, np.zeros((1, system.held.size))])
        self._scheme = self._method.array()
        self._run: Any = run if self._marcher is None else self._marcher.run
        # Handles: types of two hundred arrays, worked out once. A marcher looks inside and takes the bundles themselves.
        own = self._plan, room, motion
        self._bundles = tuple(handle(each) for each in own) if self._marcher is None else own
        self._failed = False
        self.steps = 0
        self._log = new_log(system, 2)
        self._log.put(0, motion)
        self._grow(whole("rows", rows, 2, MOST_NUMBERS // (3 * system.count + system.gather_all.shape[0])))

    def _loads(self, what: str, values: Sequence[float] | None) -> list[float]:
        found = [0.0] * self._forces if values is None else listed(what, values)
        if len(found) != self._forces:
            raise InputError(
                f"{what} has {len(found)} numbers; allowed: {self._forces}, one for each of forces"
            )
        return [within(what, value, -np.inf, np.inf) for value in found]

    def _grow(self, rows: int) -> None:
        """Room for so many rows."""
        done, log = self.steps + 1, new_log(self.system, rows)
        for new, old in zip(log, self._log, strict=True):
            new[:done] = old[:done]
        factors = np.tile(self._factors[0], (rows, 1))
        factors[:done] = self._factors[:done]
        self._factors, self._log, self._arrays = factors, log, log.arrays()
        self._history = np.tile(self.begin.supports, (rows, 1))
        self._last = rows - 1

    def step(self, ground: float = 0.0, loads: Sequence[float] | None = None) -> bool:
        """One step to the ground acceleration (m/s²) and loads (N, N·m, as `forces` are listed) at its end.

        False where no equilibrium was found, with steps halved and the initial stiffness as well: the motion is then that
        of the step before, and the step may be tried again. Raises `InputError` for what is no number.
        """
        row = self.steps + 1
        if row > self._last:
            self._grow(2 * self._last + 2)
        try:
            self._factors[row, 0] = ground
            self._factors[row, 1 : 1 + self._forces] = 0.0 if loads is None else loads
        except (TypeError, ValueError):
            raise InputError(
                f"ground is {ground!r}, loads {loads!r}; allowed: a number, and {self._forces} numbers"
            ) from None
        # Halves of a step that fails may have been taken before it does.
        for array, old in self._kept:
            old[:] = array
        _, status = self._run(
            *self._bundles, self.begin.load, self._patterns, self._factors, self._supports, self._history, self.dt, row,
            row + 1, self._scheme, self._options, *UNWATCHED, self._arrays,
        )  # fmt: skip
        self._failed = status != CONVERGED
        if self._failed:
            for array, old in self._kept:
                array[:] = old
            return False
        self.steps = row
        return True

    @property
    def time(self) -> float:
        """Time reached, s."""
        return self.begin.time + self.dt * self.steps

    @property
    def q(self) -> np.ndarray:
        """Displacements of the free freedoms now, relative to the ground (m, rad); a copy."""
        return np.array(self._motion.q)

    def displacement(self, node: str, component: str = "ux") -> float:
        """A node's displacement now, relative to the ground (m, rad)."""
        system = self.system
        moved = float(system.row(node, component) @ self._motion.q)
        held = system.supported[[node_freedom(system.node_index, node, component)]]
        return moved + float((held @ self.begin.supports)[0])

    def response(self) -> Response:
        """Everything so far, as of a time history; the steps may go on afterwards.

        Raises `AnalysisError` (with the response) where the last step found no equilibrium.
        """
        done = self.steps + 1
        motion = copy_motion(self._motion)
        if self._marcher is not None:
            motion = self._marcher.end(motion)
        log = type(self._log)(*(array[:done].copy() for array in self._log))
        factors = self._factors[:done].copy()
        extra: dict[str, Any] = {
            "ground": factors[:, 0],
            "influence": self.system.influence(),
            "patterns": self._patterns,
            "factors": factors,
            "forces": 1 + self._forces,
            "base": self.begin.load,
            "scheme": self._method.name,
            "dt": self.dt,
            "damping": self._damping,
            "drift_limit": None,
            "criterion": "",
        }
        outcome = Outcome.NOT_CONVERGED if self._failed else Outcome.COMPLETED
        time = self.begin.time + self.dt * np.arange(done)
        return finish(
            self.system, self.begin, motion, self._room, log, done, outcome, "time history", time, self.begin.load,
            self._history[:done].copy(), extra, self._plan,
        )  # fmt: skip


def _together(motion: Motion) -> tuple[np.ndarray, Motion]:
    """The same motion in one piece of memory, which is copied at once: the piece, and the motion that lies in it."""
    ends = np.cumsum([array.size for array in motion])
    table = np.concatenate(motion)
    return table, Motion(*np.split(table, ends[:-1]))


def _row(system: "System", place: tuple[str, str]) -> np.ndarray:
    """Pattern of one force; raises `InputError` on a support."""
    pair = listed("forces", place)
    if len(pair) != 2:
        raise InputError(f"an entry of forces is {place!r}; allowed: (node, component)")
    row = system.row(*pair)
    if not np.any(row):
        raise InputError(
            f"a force acts on {pair[1]} of node {pair[0]!r}, which is supported; allowed: a free displacement"
        )
    return row


__all__ = ["StepByStep"]
