"""Static equilibrium under load cases, in one step or several, first or second order as the members say."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import Options, finish, run_steps
from frame2d.engine.implicit import prepare
from frame2d.engine.plan import Motion, Plan, Room, new_room
from frame2d.errors import InputError, finite, known, mapped, whole, within
from frame2d.model.state import begin_of

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System

STATIC = np.array([0.0, 0.0, 0.5, 0.25, 0.0])


def at_rest_under(system: "System", begin: "State") -> tuple[Plan, Room, Motion, np.ndarray]:
    """What a path of statics sets out with: plan, room, motion, and the load of `begin` less that of its supports."""
    plan, room = system.plan, new_room(system.plan)
    prepare(plan, room, STATIC, 1.0)
    room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ begin.supports
    return plan, room, begin.copy_motion(), begin.load - system.support_coupling() @ begin.supports


def static(
    system: "System",
    state: "State | None" = None,
    cases: Mapping[str, float] | str = "gravity",
    steps: int = 1,
    settlements: Mapping[tuple[str, str], float] | None = None,
    options: Options | None = None,
) -> Response:
    """Add load `cases` (factor by name) and support `settlements` ({(node, component): m}) to a state.

    The loads stay on in the state that is returned. Raises `AnalysisError` with the partial response where no
    equilibrium exists.
    """
    begin = begin_of(system, state)
    factors = {cases: 1.0} if isinstance(cases, str) else mapped("cases", cases, "load case")
    added = np.zeros(system.count)
    for case, factor in factors.items():
        added += finite(f"factor of load case {case!r}", factor) * system.load_vector(case)
    moved = np.zeros(system.held.size)
    for (node, component), value in mapped(
        "settlements", {} if settlements is None else settlements, "(node, component)"
    ).items():
        most = np.pi if component == "rz" else system.length
        moved[system.support_number(node, component)] += within(
            f"settlement of {node!r}",
            value,
            -most,
            most,
            hint="mm instead of m; the bound is the mean member length",
        )
    count = whole("steps", steps, 1, 1_000_000)
    shares = np.linspace(0.0, 1.0, count + 1)
    history = begin.supports + np.outer(shares, moved)
    linear = system.support_coupling()
    patterns = np.vstack([added, -linear.T]) if system.held.size else added[None, :]
    drive = np.column_stack([shares, history]) if system.held.size else shares[:, None]
    base = begin.load.copy()
    log = new_log(system, count + 1)
    room = new_room(system.plan)
    motion = begin.copy_motion()
    reference = system.force_scale(base + added - linear @ moved)
    done, outcome, criterion = run_steps(
        system, system.plan, room, motion, base, patterns, drive, history, 1.0, count, STATIC,
        options or Options(), reference, log, None, start=begin,
    )  # fmt: skip
    extra = {
        "added": {case: factor * shares for case, factor in factors.items()},
        "patterns": added[None, :],
        "factors": shares[:done, None],
        "base": base,
        "criterion": criterion,
    }
    return finish(
        system, begin, motion, room, log, done, outcome, "static", np.arange(count + 1.0),
        base + shares[done - 1] * added, history, extra, system.plan,
    )  # fmt: skip


def gravity(
    system: "System", state: "State | None" = None, case: str = "gravity", steps: int = 1
) -> Response:
    """Load the frame with its gravity case, which then stays on."""
    begin_of(system, state)
    names = {load.case for load in system.frame.node_loads} | {
        load.case for load in system.frame.member_loads
    }
    if not names:
        raise InputError(f"frame {system.frame.name!r} has no loads; allowed: at least one in case {case!r}")
    known("load case", case, sorted(names))
    return static(system, state, case, steps)
