"""Pushing: curves under displacement or arc-length control, and cyclic pushing by a displacement protocol."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.analysis.modes import modes
from frame2d.analysis.outcome import Outcome
from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import Options, finish
from frame2d.analysis.static import STATIC
from frame2d.engine.implicit import prepare
from frame2d.engine.newton import CONVERGED, NOT_CONVERGED
from frame2d.engine.path import accept, lead_to, tangent_direction
from frame2d.engine.plan import HALVINGS, STEPS, new_room
from frame2d.errors import InputError, finite, known, positive, series, whole

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System

PATTERNS = ("uniform", "triangular", "modal")


def lateral_pattern(
    system: "System", pattern: str | Mapping[str, float], state: "State | None" = None
) -> np.ndarray:
    """Horizontal forces that sum to 1 N: "uniform" (by mass), "triangular" (mass × height), "modal" (mass × first
    mode), a load case of the frame (as it is), or {floor: share}."""
    if isinstance(pattern, Mapping):
        load = np.zeros(system.count)
        for floor, share in pattern.items():
            finite(f"share of floor {floor!r}", share)
            nodes = system.frame.floors[known("floor", floor, system.frame.floors)].nodes
            for node in nodes:
                load += share / len(nodes) * system.row(node, "ux")
        total = sum(pattern.values())
        return load / total if total else load
    if not isinstance(pattern, str):
        raise InputError(
            f"pattern is {pattern!r}; allowed: {', '.join(PATTERNS)}, a load case, or {{floor: share}}"
        )
    if pattern not in PATTERNS:
        return system.load_vector(pattern)
    ground = system.frame.ground()
    shape = np.zeros(system.size)
    height = np.array([node.y - ground for node in system.frame.nodes.values()])
    if pattern == "uniform":
        shape[0 : 3 * height.size : 3] = 1.0
    elif pattern == "triangular":
        shape[0 : 3 * height.size : 3] = height
    else:
        first = modes(system, state, 1).shapes[:, 0]
        full = system.free @ first
        shape[0 : 3 * height.size : 3] = full[0 : 3 * height.size : 3]
    force = system.whole["mass"] @ shape
    force[1 : 3 * height.size : 3] = 0.0
    load = np.asarray(system.free.T @ force).ravel()
    total = float(force[0 : 3 * height.size : 3].sum())
    if total == 0.0:
        raise InputError(f"pattern {pattern!r} needs masses; allowed: a frame with mass, or {{floor: share}}")
    return load / total


def push(
    system: "System",
    state: "State | None" = None,
    pattern: str | Mapping[str, float] = "triangular",
    *,
    node: str | None = None,
    component: str = "ux",
    target: float | None = None,
    steps: int = 100,
    arc_length: float | None = None,
    most_steps: int = 2000,
    stop: Any = None,
    options: Options | None = None,
) -> Response:
    """Push with one load pattern, its factor unknown.

    With `target` (m or rad) the displacement of `node` is led there in equal `steps`; with `arc_length` the path is
    followed wherever it goes (snap-back too), for `most_steps` or until `stop(factor, q)` is true; the length is in the
    displacements' own norm (m, rad times the mean member length). `response.factor` is the load factor, past its peak
    as well. Raises `AnalysisError` with the partial curve.
    """
    begin = state or system.rest()
    load = lateral_pattern(system, pattern, state)
    if not np.any(load):
        raise InputError(f"pattern {pattern!r} pushes nothing; allowed: forces on free freedoms")
    if target is not None:
        whole("steps", steps)
        finite("target", target, hint="m or rad")
        if node is None:
            raise InputError("push to a target needs the node that is led; allowed: node=…")
        row = system.row(node, component)
        if not np.any(row):
            raise InputError(f"{component} of node {node!r} is held by a support and cannot be pushed")
        begin_at = float(row @ begin.motion.q)
        targets = begin_at + np.linspace(0.0, target, steps + 1)
        return _lead(system, begin, load, row, targets, options or Options(), "push", _case(pattern))
    if arc_length is None:
        raise InputError("push needs a way to go; allowed: node and target, or arc_length")
    positive("arc_length", arc_length)
    whole("most_steps", most_steps, 1, 10_000_000)
    return _follow(system, begin, load, arc_length, most_steps, stop, options or Options(), _case(pattern))


def cyclic(
    system: "System",
    state: "State | None" = None,
    pattern: str | Mapping[str, float] = "triangular",
    *,
    node: str,
    component: str = "ux",
    history: np.ndarray,
    options: Options | None = None,
) -> Response:
    """Lead one displacement through `history` (m or rad, absolute; fine steps), the load factor following."""
    begin = state or system.rest()
    targets = series("history", history)
    row = system.row(node, component)
    begin_at = float(row @ begin.motion.q)
    if abs(targets[0] - begin_at) > 1e-12:
        targets = np.concatenate([[begin_at], targets])
    load = lateral_pattern(system, pattern, state)
    return _lead(system, begin, load, row, targets, options or Options(), "cyclic push", _case(pattern))


def _case(pattern: str | Mapping[str, float]) -> str | None:
    """The load case that is the pattern, if it is one."""
    return pattern if isinstance(pattern, str) and pattern not in PATTERNS else None


def _lead(
    system: "System",
    begin: "State",
    load: np.ndarray,
    row: np.ndarray,
    targets: np.ndarray,
    options: Options,
    kind: str,
    case: str | None,
) -> Response:
    lead = Lead(system, begin, load, row, options, np.ptp(targets))
    log = new_log(system, targets.size)
    log.put(0, lead.motion)
    factor = np.zeros(targets.size)
    done, outcome = 1, Outcome.COMPLETED
    bar = None
    if options.progress:
        from tqdm import tqdm

        bar = tqdm(total=targets.size - 1, unit="step", leave=False)
    try:
        for step in range(1, targets.size):
            if not lead.step(targets[step - 1], targets[step]):
                outcome = Outcome.NOT_CONVERGED
                break
            factor[step] = lead.factor
            log.put(step, lead.motion, lead.room)
            done = step + 1
            if bar is not None:
                bar.update(1)
    except KeyboardInterrupt:
        outcome = Outcome.INTERRUPTED
    finally:
        if bar is not None:
            bar.close()
    curve = _curve(begin, load, factor, done, case)
    curve["control"] = targets[:done]
    return finish(
        system, begin, lead.motion, lead.room, log, done, outcome, kind, np.arange(float(targets.size)),
        begin.load + lead.factor * load, np.tile(begin.supports, (targets.size, 1)), curve, system.plan,
    )  # fmt: skip


def _curve(
    begin: "State", load: np.ndarray, factors: np.ndarray, done: int, case: str | None
) -> dict[str, Any]:
    """What a response keeps of a push besides its histories."""
    return {
        "factor": factors[:done],
        "pattern": load,
        "patterns": load[None, :],
        "factors": factors[:done, None],
        "base": begin.load,
        "added": {case: factors} if case else {},
    }


class Lead:
    """Leads one displacement, row·q, under base + λ·load; holds the motion and the load factor reached so far."""

    def __init__(
        self,
        system: "System",
        begin: "State",
        load: np.ndarray,
        row: np.ndarray,
        options: Options,
        span: float,
    ) -> None:
        self.plan, self.room, self.motion = system.plan, new_room(system.plan), begin.copy_motion()
        prepare(self.plan, self.room, STATIC, 1.0)
        self.room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ begin.supports
        self.base = begin.load - system.support_coupling() @ begin.supports
        self.load, self.row, self.options = load, row, options
        self.factor = 0.0
        self.rounding = system.rounding
        self.scale = system.force_scale(np.abs(load))
        self.reference = max(
            system.force_scale(self.base), 1e-3 * self.scale * _stiff(system, row, load) * span
        )
        self.held = int(np.argmax(np.abs(row)))
        self.sigma = float(np.abs(system.tangent().diagonal()[self.held]))

    def step(self, first: float, last: float) -> bool:
        """Lead from `first` to `last`, in shorter steps where it must be; false where no equilibrium was found.

        The step is halved where it fails and doubled again as soon as the halves fit together.
        """
        self.room.counts[STEPS] += 1
        deepest = self.options.deepest_halving
        whole = 1 << deepest
        done, level = 0, 0
        while done < whole:
            piece = whole >> level
            at, goal = (first + (last - first) * part / whole for part in (done, done + piece))
            if self._reach(at, goal):
                done += piece
                if level > 0 and done % (2 * piece) == 0:
                    level -= 1
            elif level < deepest:
                level += 1
                self.room.counts[HALVINGS] += 1
            else:
                return False
        return True

    def _reach(self, at: float, goal: float) -> bool:
        """One step: Newton's iteration; where it does not settle, the same point by the load's own displacement."""
        self.room.q[:] = self.motion.q
        status, factor = self._iterate(self.row, goal, self.factor, self.options.most_iterations, False)
        if status != CONVERGED:
            status, factor = self._conjugate(at, goal)
        if status != CONVERGED:
            return False
        accept(self.plan, self.room, self.motion, self.base, self.load, self.factor, factor, STATIC)
        self.factor = float(factor)
        return True

    def _iterate(
        self, b: np.ndarray, target: float, factor: float, most: int, searching: bool
    ) -> tuple[int, float]:
        tolerance = max(
            self.options.tolerance * max(self.reference, abs(self.factor) * self.scale), self.rounding
        )
        found: tuple[int, float] = lead_to(
            self.plan, self.room, self.motion, self.base, self.load, b, target, factor, self.held, self.sigma,
            self.room.shift, tolerance, most, searching,
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
            status, factor = self._iterate(b, s, factor, 10 * self.options.most_iterations, True)
            if status != CONVERGED:
                return NOT_CONVERGED, factor
            gap = float(self.row @ self.room.q) - goal
            kept = self.room.q.copy()
            status, new = self._iterate(self.row, goal, factor, self.options.most_iterations, False)
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


def _follow(
    system: "System",
    begin: "State",
    load: np.ndarray,
    length: float,
    most: int,
    stop: Any,
    options: Options,
    case: str | None,
) -> Response:
    plan, room, motion = system.plan, new_room(system.plan), begin.copy_motion()
    prepare(plan, room, STATIC, 1.0)
    base = begin.load - system.support_coupling() @ begin.supports
    room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ begin.supports
    weigh = np.where(system.lead_kinds == "r", system.length**2, 1.0)
    log = new_log(system, most + 1)
    log.put(0, motion)
    factors = np.zeros(most + 1)
    scale = system.force_scale(np.abs(load))
    direction = np.empty(system.count)
    before = np.zeros(system.count)
    before_factor = 1.0
    lam, done, outcome, arc = 0.0, 1, Outcome.COMPLETED, length
    reference = max(system.force_scale(base), 0.0)
    while done <= most:
        if tangent_direction(plan, room, motion, load, room.shift, direction) < 0:
            outcome = Outcome.NOT_CONVERGED
            break
        size = float(np.sqrt(direction @ (weigh * direction)))
        change = arc / size
        forward = change * float(before @ (weigh * direction)) if done > 1 else before_factor
        if forward < 0.0:
            change = -change
        step = change * direction
        guess, target_factor = motion.q + step, lam + change
        b = weigh * step
        target = float(b @ guess)
        wanted = max(reference, scale * max(abs(lam), abs(target_factor), 1e-12))
        tolerance = max(options.tolerance * wanted, system.rounding)
        from_q = motion.q.copy()
        room.q[:] = guess
        status, new = lead_to(
            plan, room, motion, base, load, b, target, target_factor, -1, 0.0, room.shift, tolerance,
            options.most_iterations, False,
        )  # fmt: skip
        if status != CONVERGED:
            arc *= 0.5
            if arc < length * 0.5**options.deepest_halving:
                outcome = Outcome.NOT_CONVERGED
                break
            continue
        accept(plan, room, motion, base, load, lam, new, STATIC)
        before = motion.q - from_q
        lam = new
        factors[done] = lam
        reference = max(reference, scale * abs(lam) * 0.1)
        log.put(done, motion, room)
        done += 1
        arc = min(length, 1.5 * arc)
        if stop is not None and stop(lam, motion.q):
            break
    return finish(
        system, begin, motion, room, log, done, outcome, "push", np.arange(most + 1.0), begin.load + lam * load,
        np.tile(begin.supports, (most + 1, 1)), _curve(begin, load, factors, done, case), plan,
    )  # fmt: skip
