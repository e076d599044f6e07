"""A specimen led through measured displacements: what its members and devices went through, as a `Response`.

The led displacements are supports that move; everything else finds its equilibrium. No inertia and no effects of rate, as
in a slow test.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import Options, finish, run_steps
from frame2d.analysis.static import STATIC, static
from frame2d.engine.plan import new_room
from frame2d.errors import InputError, known
from frame2d.hybrid.frame_specimen import FrameSpecimen, held_at
from frame2d.model.frame import COMPONENTS, Frame
from frame2d.model.state import State
from frame2d.model.system import System


def follow(
    frame: Frame,
    motion: Mapping[tuple[str, str], Any],
    *,
    standing: tuple[str, ...] = (),
    options: Options | None = None,
) -> Response:
    """Lead displacements {(node, component): m or rad, one a step} of `frame`, from rest under the load cases `standing`.

    The led freedoms are held while those loads come on; their first values are reached in one step. Time counts steps.
    Raises `InputError` for histories that do not fit, and `AnalysisError` with the partial response.
    """
    if not motion:
        raise InputError("motion is empty; allowed: at least one displacement to lead")
    histories = {key: np.asarray(values, dtype=float) for key, values in motion.items()}
    sizes = {values.shape for values in histories.values()}
    if len(sizes) != 1 or len(next(iter(sizes))) != 1 or next(iter(sizes))[0] < 2:
        raise InputError(
            f"histories have shapes {sorted(sizes)}; allowed: one length, two steps or more, for all"
        )
    for (node, component), values in histories.items():
        known("node", node, frame.nodes)
        known("component", component, COMPONENTS)
        if not np.all(np.isfinite(values)):
            raise InputError(
                f"the motion of {component} of {node!r} is not finite. Likely mistake: gaps in the data"
            )
    system = held_at(frame, list(histories)).compile()
    first = {key: float(values[0]) for key, values in histories.items()}
    begin = system.rest()
    if standing or any(first.values()):
        begin = static(system, begin, dict.fromkeys(standing, 1.0), settlements=first).state
    history = np.tile(begin.supports, (next(iter(sizes))[0], 1))
    for (node, component), values in histories.items():
        history[:, system.support_number(node, component)] = values
    return _lead(system, begin, history, options)


def follow_specimen(
    specimen: FrameSpecimen, displacement: np.ndarray, options: Options | None = None
) -> Response:
    """Lead the tested frame of a hybrid test through its measured interface displacements (steps, freedoms), from where
    the specimen began: with zeros in front, as the channels were zeroed there."""
    moved = np.asarray(displacement, dtype=float)
    moved = moved.reshape(moved.shape[0], -1)
    if moved.shape[1] != specimen.freedoms or not np.all(np.isfinite(moved)):
        raise InputError(
            f"displacement has shape {moved.shape}; allowed: (steps, {specimen.freedoms}) finite numbers"
        )
    moved = np.vstack([np.zeros((1, specimen.freedoms)), moved])
    history = specimen.begin.supports + moved @ specimen.moves.T
    return _lead(specimen.system, specimen.begin, history, options)


def _lead(system: System, begin: State, history: np.ndarray, options: Options | None) -> Response:
    """Statics through all rows of support displacements, from a state that stands at the first."""
    rows = len(history)
    linear = system.support_coupling()
    base = begin.load.copy()
    log, room, motion = new_log(system, rows), new_room(system.plan), begin.copy_motion()
    reference = system.force_scale(np.abs(base) + np.abs(linear) @ np.abs(history).max(axis=0))
    done, outcome, *_ = run_steps(
        system, system.plan, room, motion, base, -linear.T, history, history, 1.0, rows - 1, STATIC,
        options or Options(), reference, log, None, start=begin,
    )  # fmt: skip
    return finish(
        system, begin, motion, room, log, done, outcome, "led", np.arange(rows, dtype=float), base, history, {},
        system.plan,
    )  # fmt: skip
