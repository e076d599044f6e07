"""Pushing: curves under displacement or arc-length control, and cyclic pushing by a displacement protocol."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.analysis.arc import Arc
from frame2d.analysis.interruption import Interruption
from frame2d.analysis.lead import Lead
from frame2d.analysis.modes import modes
from frame2d.analysis.outcome import Outcome
from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import STOPPED, Options, finish, progress
from frame2d.errors import InputError, finite, known, positive, series, whole
from frame2d.model.frame import COMPONENTS
from frame2d.model.state import begin_of

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
    begin = begin_of(system, state)
    load = lateral_pattern(system, pattern, state)
    if not np.any(load):
        raise InputError(f"pattern {pattern!r} pushes nothing; allowed: forces on free freedoms")
    if target is not None:
        whole("steps", steps)
        if node is None:
            raise InputError("push to a target needs the node that is led; allowed: node=…")
        _far(system, "target", component, finite("target", target, hint="m or rad"))
        row = _led(system, node, component)
        begin_at = float(row @ begin.motion.q)
        targets = begin_at + np.linspace(0.0, target, steps + 1)
        return _lead(system, begin, load, row, targets, options or Options(), "push", _case(pattern))
    if arc_length is None:
        raise InputError("push needs a way to go; allowed: node and target, or arc_length")
    positive("arc_length", arc_length)
    whole("most_steps", most_steps, 1, 10_000_000)
    tries = options or Options()
    arc = Arc(system, begin, load, arc_length, tries)
    return _trace(system, begin, arc, load, most_steps, tries, "push", _case(pattern), {}, stop)


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
    begin = begin_of(system, state)
    targets = series("history", history)
    _far(system, "history", component, float(np.abs(targets).max()))
    row = _led(system, node, component)
    begin_at = float(row @ begin.motion.q)
    if abs(targets[0] - begin_at) > 1e-12:
        targets = np.concatenate([[begin_at], targets])
    load = lateral_pattern(system, pattern, state)
    return _lead(system, begin, load, row, targets, options or Options(), "cyclic push", _case(pattern))


def _led(system: "System", node: str, component: str) -> np.ndarray:
    """Free freedoms of the displacement that is led."""
    row = system.row(node, component)
    if not np.any(row):
        raise InputError(f"{component} of node {node!r} is held by a support and cannot be pushed")
    return row


def _far(system: "System", what: str, component: str, value: float) -> None:
    """Refuse to lead a displacement farther than the frame is large, or round more than once."""
    known("component", component, COMPONENTS)
    points = np.array([[node.x, node.y] for node in system.frame.nodes.values()])
    extent = float(np.ptp(points, axis=0).max())
    most = 2.0 * np.pi if component == "rz" else extent if extent > 0.0 else math.inf
    if abs(value) > most:
        raise InputError(
            f"{what} reaches {value:g}; allowed: up to {most:.4g}, the size of the frame (m; rad: once round). Likely "
            "mistake: mm instead of m"
        )


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
    lead = Lead(system, begin, load, row, targets, options)
    return _trace(system, begin, lead, load, targets.size - 1, options, kind, case, {"control": targets})


def _trace(
    system: "System",
    begin: "State",
    path: Lead | Arc,
    load: np.ndarray,
    steps: int,
    options: Options,
    kind: str,
    case: str | None,
    by_step: dict[str, np.ndarray],
    stop: Any = None,
) -> Response:
    """Take all steps of a path, until `stop(factor, q)` is true; `by_step` is kept with the response, as far as it got."""
    log = new_log(system, steps + 1)
    log.put(0, path.motion)
    factor = np.zeros(steps + 1)
    done, outcome = 1, Outcome.COMPLETED
    with Interruption() as interruption, progress(steps, options) as show:
        while done <= steps and not interruption.asked:
            if not path.step():
                outcome = Outcome.NOT_CONVERGED
                break
            factor[done] = path.factor
            log.put(done, path.motion, path.room)
            done += 1
            show(1)
            if stop is not None and stop(path.factor, path.motion.q):
                break
    if interruption.asked and outcome is Outcome.COMPLETED:
        outcome = Outcome.INTERRUPTED
    extra = {
        "factor": factor[:done],
        "pattern": load,
        "patterns": load[None, :],
        "factors": factor[:done, None],
        "base": begin.load,
        "added": {case: factor} if case else {},
        "criterion": STOPPED if outcome is Outcome.INTERRUPTED else "",
        **{name: values[:done] for name, values in by_step.items()},
    }
    return finish(
        system, begin, path.motion, path.room, log, done, outcome, kind, np.arange(steps + 1.0),
        begin.load + path.factor * load, np.tile(begin.supports, (steps + 1, 1)), extra, system.plan,
    )  # fmt: skip
