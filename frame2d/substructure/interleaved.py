"""Multipliers at every finest step, coarser parts seen on their way: Gravouil & Combescure, Pegon & Magonette."""

from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.substructure.frame_part import Snap
from frame2d.substructure.joint import solve_jointly
from frame2d.substructure.methods import PegonMagonette
from frame2d.substructure.multipliers import solve

if TYPE_CHECKING:
    from frame2d.substructure.coupling import Run


class Interleaved:
    """A run from finest step to finest step."""

    def __init__(self, run: "Run") -> None:
        self.all = run
        method = run.method
        self.ahead = [False] * len(run.parts)
        if isinstance(method, PegonMagonette):
            self.ahead = method.ahead_of(run.names, run.ratios)
        #: Of each part: own instant from which its present step starts; velocities at the ends of the step under the
        #: multipliers of its start, and these; compliance.
        self.origin = [0] * len(run.parts)
        self.seen = [(run.lam[0],) * 3] * len(run.parts)
        self.compliance: list[np.ndarray] = [np.zeros((0, 0))] * len(run.parts)

    def run(self) -> None:
        """All finest steps."""
        for step in range(self.all.total):
            for k, ratio in enumerate(self.all.ratios):
                if step % ratio == 0:
                    self.begin(k, step)
            self.advance(step)

    def begin(self, k: int, step: int) -> None:
        """Begin an own step of part `k`: where from, and what others see of it on the way."""
        run = self.all
        part, here = run.parts[k], step // run.ratios[k]
        self.origin[k] = here - 1 if self.ahead[k] and here else here
        if run.ratios[k] == 1:
            return
        lam = run.lam[step]

        def evaluate(trial: np.ndarray) -> tuple[np.ndarray, Any] | None:
            snap = self.try_step(k, here, trial)
            return None if snap is None else (part.velocity(snap), snap)

        found = evaluate(lam)
        if found is None:
            run.fail(step)
        length = here + 1 - self.origin[k]
        kept = run.slope((k, length), part.linear)
        if (kept.matrix is None or not part.linear) and not kept.measure(evaluate, lam, found[0]):
            run.fail(step)
        assert kept.matrix is not None
        self.compliance[k] = kept.matrix
        self.seen[k] = part.velocity(run.snaps[k][here]), found[0], lam

    def try_step(self, k: int, here: int, lam: np.ndarray) -> Any:
        """Own step of part `k` that ends at the own instant `here` + 1."""
        run, origin = self.all, self.origin[k]
        return run.parts[k].step(run.snaps[k][origin], origin, here + 1, run.lam[origin * run.ratios[k]], lam)

    def advance(self, step: int) -> None:
        """One finest step: multipliers that tie the parts that arrive to those that are on the way."""
        run = self.all
        arriving = [k for k, ratio in enumerate(run.ratios) if (step + 1) % ratio == 0]
        waiting = [k for k in range(len(run.parts)) if k not in arriving]
        around = run.lam[step]
        seen, compliance = np.zeros(run.lam.shape[1]), np.zeros((run.lam.shape[1],) * 2)
        for k in waiting:
            s = (step + 1) % run.ratios[k] / run.ratios[k]
            before, after, lam = self.seen[k]
            # (1 − s)·F₀ + s·F₁ + H·Λ about the present multipliers, so that nothing large cancels.
            seen += (1.0 - s) * before + s * after + self.compliance[k] @ (around - lam)
            compliance += self.compliance[k]

        def evaluate(lam: np.ndarray) -> tuple[np.ndarray, Any] | None:
            gap, reached = seen + compliance @ (lam - around), []
            for k in arriving:
                snap = self.try_step(k, step // run.ratios[k], lam)
                if snap is None:
                    return None
                gap = gap + run.parts[k].velocity(snap)
                reached.append(snap)
            return gap, reached

        if self.jointly(step, arriving, seen, compliance):
            return
        lengths = tuple(
            step // ratio + 1 - origin for ratio, origin in zip(run.ratios, self.origin, strict=True)
        )
        slope = run.slope((tuple(arriving), lengths), run.linear)
        found = solve(evaluate, run.guess(step, 1), slope, run.tolerance)
        if found is None:
            run.fail(step)
        run.lam[step + 1], reached, run.evaluations[step + 1] = found
        for k, snap in zip(arriving, reached, strict=True):
            run.put(k, snap, self.origin[k], 0.5 if self.ahead[k] else 1.0)

    def jointly(self, step: int, arriving: list[int], seen: np.ndarray, compliance: np.ndarray) -> bool:
        """The finest step by one iteration for all arriving parts; false where it cannot be."""
        run = self.all
        trials = []
        for k in arriving:
            origin, here = self.origin[k], step // run.ratios[k]
            lam0 = run.lam[origin * run.ratios[k]]
            trials.append(run.parts[k].open(run.snaps[k][origin], origin, here + 1, lam0))
        if any(trial is None for trial in trials):
            return False
        found = solve_jointly(
            trials, seen, compliance, run.lam[step], run.guess(step, 1), run.tolerance, run.most
        )
        if found is None:
            return False
        run.lam[step + 1], run.evaluations[step + 1] = found
        for k, trial in zip(arriving, trials, strict=True):
            run.put(k, Snap(*trial.close(run.lam[step + 1])), self.origin[k], 0.5 if self.ahead[k] else 1.0)
        return True
