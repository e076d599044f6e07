"""A specimen led through measured displacements: what its members and devices went through, as a `Response`.

The led displacements become supports that move; everything else finds its equilibrium. The rig has no inertia: statics.
"""

from collections.abc import Mapping
from copy import copy
from typing import Any

import numpy as np

from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import Options, finish, run_steps
from frame2d.analysis.static import STATIC, static
from frame2d.engine.plan import new_room
from frame2d.errors import InputError, known
from frame2d.model.frame import COMPONENTS, Frame


def follow(
    frame: Frame,
    motion: Mapping[tuple[str, str], Any],
    *,
    standing: tuple[str, ...] = (),
    options: Options | None = None,
) -> Response:
    """Lead displacements {(node, component): m or rad, one a step} of `frame` from rest, after the load cases `standing`.

    The first row must be where the led freedoms are under `standing` loads with nothing moved: 0, or the histories'
    own first values, which are then reached in one step. Time counts steps. Raises `InputError` for histories that do
    not fit, and `AnalysisError` with the partial response.
    """
    if not motion:
        raise InputError("motion is empty; allowed: at least one displacement to lead")
    histories = {key: np.asarray(values, dtype=float) for key, values in motion.items()}
    sizes = {values.shape for values in histories.values()}
    if len(sizes) != 1 or len(next(iter(sizes))) != 1 or next(iter(sizes))[0] < 2:
        raise InputError(
            f"histories have shapes {sorted(sizes)}; allowed: one length, two steps or more, for all"
        )
    led = copy(frame)
    led.supports = dict(frame.supports)
    for (node, component), values in histories.items():
        known("node", node, frame.nodes)
        known("component", component, COMPONENTS)
        if not np.all(np.isfinite(values)):
            raise InputError(
                f"the motion of {component} of {node!r} is not finite. Likely mistake: gaps in the data"
            )
        held = led.supports.get(node, ())
        if component in held:
            raise InputError(
                f"{component} of node {node!r} is a support already; allowed: a free displacement"
            )
        led.supports[node] = (*held, component)
    system = led.compile()
    first = {key: float(values[0]) for key, values in histories.items()}
    begin = system.rest()
    if standing or any(first.values()):
        begin = static(system, begin, dict.fromkeys(standing, 1.0), settlements=first).state
    rows = next(iter(sizes))[0]
    history = np.tile(begin.supports, (rows, 1))
    for (node, component), values in histories.items():
        history[:, system.support_number(node, component)] = values
    linear = system.support_coupling()
    base = begin.load.copy()
    log, room, moving = new_log(system, rows), new_room(system.plan), begin.copy_motion()
    reference = system.force_scale(np.abs(base) + np.abs(linear) @ np.abs(history).max(axis=0))
    done, outcome, *_ = run_steps(
        system, system.plan, room, moving, base, -linear.T, history, history, 1.0, rows - 1, STATIC,
        options or Options(), reference, log, None, start=begin,
    )  # fmt: skip
    return finish(
        system, begin, moving, room, log, done, outcome, "led", np.arange(rows, dtype=float), base, history,
        {}, system.plan,
    )  # fmt: skip
