"""Whether an explicit or splitting scheme has lost its stability: energy that comes from nowhere, by the account.

These schemes take a step whatever comes out. Where a tangent grows beyond the stiffness that their operator was built
with, or a mass is too light for the step, they answer with motion that grows from step to step; left alone it passes any
drift limit, and in the end the largest number. The account tells: a stable algorithm gives and takes a share of the
kinetic energy, an unstable one gives without end; in operator splitting the corrected forces of the parts do it, which
then return more work than they took and had. So a run has lost its stability where more than `CREATED` times the energy that the
frame was given (what it began with, and the largest input so far) has come from algorithm and parts, for `AHEAD` steps on
end: while a motion sets in from rest, a step or two of a stable scheme may stand above the little that was given by then.
A run that would end as collapsed is held to `DOUBTED` times, and is believed only if it stays below for `AHEAD` steps more.
What has lost its stability is not converged, and no collapse. Source: the criterion is our own; growing energy as the sign of instability,
Belytschko & Hughes 1983 (from memory).
"""

from typing import TYPE_CHECKING

import numpy as np

from frame2d.engine.plan import ALGORITHM, DAMPED

if TYPE_CHECKING:
    from frame2d.analysis.response import Log
    from frame2d.model.system import System

#: Energy created over energy given at which a run has lost its stability, at which a collapse is not believed, and steps.
CREATED, DOUBTED, AHEAD = 10.0, 1.0, 10


class Stability:
    """The account of a running log: `lost` is asked after every block of steps."""

    def __init__(self, system: "System", log: "Log", history: np.ndarray) -> None:
        self.system, self.log, self.history = system, log, history
        self.begin = self._terms(0, 1)[:, 0]
        self.given = float(np.abs(self.begin[[0, 1, 5]]).sum())
        self.since: int | None = None

    def lost(self, first: int, last: int, ends: bool = False, share: float = CREATED) -> int | None:
        """Row in `first` to before `last` from which on `share` times what was given has been created.

        That must last for `AHEAD` rows, or to the end where the run `ends` there, by failing or as collapsed.
        """
        with np.errstate(over="ignore", invalid="ignore"):
            terms = self._terms(first, last) - self.begin[:, None]
            given = np.maximum.accumulate(np.maximum(np.abs(terms[:5].sum(axis=0)), self.given))
            held = terms[2] + self.begin[5] - np.maximum(terms[5] + self.begin[5], 0.0)
            created = -np.minimum(terms[4], 0.0) - np.minimum(held, 0.0)
            bad = ~(created <= share * given)
        if not bad.size or not bad[-1]:
            self.since = None
            self.given = float(given[-1]) if given.size else self.given
            return None
        good = np.flatnonzero(~bad)
        if good.size or self.since is None:
            self.since = first + (int(good[-1]) + 1 if good.size else 0)
        if ends or last - self.since >= AHEAD:
            return max(self.since, first)
        return None

    def _terms(self, first: int, last: int) -> np.ndarray:
        """Kinetic, elastic, parts' work, damped, algorithmic (their change is the input) and stored in parts, by row."""
        system, log = self.system, self.log
        rows = slice(first, last)
        u = log.q[rows] @ system.free.T + self.history[rows] @ system.supported.T
        v = log.v[rows]
        return np.array(
            [
                0.5 * np.einsum("ti,ti->t", v, (system.mass @ v.T).T),
                0.5 * np.einsum("ti,ti->t", u, (system.whole["stiffness"] @ u.T).T),
                log.work[rows, :-1].sum(axis=1),
                log.account[rows, DAMPED],
                log.account[rows, ALGORITHM],
                log.stored[rows, :-1].sum(axis=1),
            ]
        )


def explained(scheme: str, step: int, time: float) -> str:
    """What the one error says."""
    return (
        f"{scheme} has lost its stability by step {step}, at {time:g} s: it has created more energy than the frame was "
        "given, so that its motion is no answer. This is no collapse. Likely cause: a tangent that grows beyond the stiffness "
        "the operator was built with (a law that hardens or closes a gap, members that stiffen in tension), or a step too "
        "long for the highest frequency; possible: a smaller dt, or an implicit scheme (chung_hulbert)"
    )
