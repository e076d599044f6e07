"""How an analysis ended, and the one error that says where and when it stopped."""

from enum import Enum
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.errors import Frame2dError

if TYPE_CHECKING:
    from frame2d.analysis.response import Response
    from frame2d.engine.plan import Room
    from frame2d.model.system import System


class Outcome(Enum):
    """End of an analysis; the value is what a report prints.

    Collapsed is a physical statement, and `Response.criterion` says which: a storey drift ratio passed the user's
    limit, or gravity equilibrium was lost (`frame2d.analysis.collapse`). A step that fails numerically is neither.
    """

    COMPLETED = "completed"
    COLLAPSED = "collapsed: a stated physical criterion was met"
    NOT_CONVERGED = "not converged: no equilibrium was found, which is not a collapse"
    INTERRUPTED = "interrupted: stopped by the user, results kept"


class AnalysisError(Frame2dError):
    """No equilibrium was found. `response` holds everything computed before."""

    def __init__(self, message: str, response: "Response") -> None:
        super().__init__(message)
        self.response = response


def describe_failure(system: "System", room: "Room", motion: Any, when: str) -> str:
    """Where, how the last iterations went, and the likely mistake."""
    size = np.abs(room.r) * system.plan.scale
    if np.all(np.isfinite(size)) and np.any(size > 0.0):
        lead = int(np.argmax(size))
        where = system.freedom_label(int(system.leads[lead]))
    else:
        lead, where = 0, "an unknown place"
    if room.note[2] >= 0.0 and int(room.note[2]) < len(system.parts):
        part = system.parts[int(room.note[2])]
        where = f"member {part.member!r} ({part.part.role}), which has no answer at its deformation"
    touched = [
        place
        for place in system.parts
        if place.part.law is not None and np.any(system.gather_rows(place)[:, lead] != 0.0)
    ]
    laws = ""
    if touched:
        place = touched[0]
        first = system.memory_at[place.number]
        memory = motion.m0[first : first + place.part.memory.size]
        shown = ", ".join(f"{value:.4g}" for value in memory[:8])
        kind = type(place.part.law).__name__
        laws = f"; there acts member {place.member!r} ({place.part.role}) by {kind}, memory [{shown}]"
    last = int(room.note[3])
    norms = ", ".join(f"{room.note[4 + k % 32]:.2e}" for k in range(max(0, last - 4), last + 1))
    return (
        f"no equilibrium {when}: the largest unbalanced force is at {where}{laws}. Last residuals: {norms}. "
        f"Negative pivots: {int(room.counts[5])}. Likely cause: loads above the capacity, a law that loses strength "
        "faster than the step can follow (take a smaller step), or a step too large for the record"
    )
