"""Which time scale λ a test can be run at: the fastest at which the rig can follow and the loop stays stable.

Three things are asked of a time scale: what falls with it (velocity, oil flow, tracking error, energy error) stays within
the gate in virtual tests at that very scale; the loop's linear model, with the stiffest credible specimen and the worst of
the lags, is stable; and it keeps a share of the damping that it has without lag. The gate is common practice (80 to 85 %,
no source), the share of damping our own rule.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from frame2d.errors import InputError
from frame2d.hybrid.frame_solver import FrameSolver
from frame2d.hybrid.margin import Margin

#: Share of a capacity that a test may use.
GATE = 0.8
#: Share of the loop's least damping ratio without lag that must be left with the worst lag.
LEFT = 0.5
#: Time scales from which one is recommended: the trade slows tests 1 to 200 times.
TIME_SCALES = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0)
#: Capacities of which a slower test needs less.
FALLING = ("velocity", "oil flow", "tracking error", "energy error")


class Stability(NamedTuple):
    """Predicted margin of the loop at one time scale."""

    time_scale: float
    #: The worst of the lags that were looked at, laboratory s, and the margin with it.
    lag: float
    margin: Margin
    #: The margin of a rig without lag.
    ideal: Margin

    @property
    def least_allowed(self) -> float:
        """Least damping ratio that must be left; 0 where there is none without lag."""
        return LEFT * max(self.ideal.least, 0.0)

    @property
    def enough(self) -> bool:
        """Whether the loop is stable and keeps its share of damping."""
        return self.margin.stable and not self.margin.least < self.least_allowed - 1e-9

    def __str__(self) -> str:
        return (
            f"with the worst lag of {1e3 * self.lag:.3g} ms the loop is {self.margin} (without lag {self.ideal.least:.3%}, "
            f"at least {self.least_allowed:.3%} wanted)"
        )


def stability(
    solver: FrameSolver, tested: np.ndarray, lags: Sequence[float], weights: np.ndarray | None = None
) -> Stability:
    """Worst margin of the solver's loop over `lags` (laboratory s) around a specimen of stiffness `tested` (f, f).

    `weights`: fixed delay compensation. A lead counts as no lag.
    """
    ideal = solver.predicted(tested, 0.0)
    found = [(max(float(lag), 0.0), solver.predicted(tested, max(float(lag), 0.0), weights)) for lag in lags]
    lag, margin = min(found, key=lambda entry: (entry[1].stable, entry[1].least, -entry[1].radius))
    return Stability(solver.time_scale, lag, margin, ideal)


class Choice(NamedTuple):
    """The recommended time scale (None: none of `TIME_SCALES` will do), its margin, and why, in words."""

    time_scale: float | None
    stability: Stability | None
    words: tuple[str, ...]


def recommended_time_scale(
    rehearsed: float,
    share: float,
    share_at: Callable[[float], float],
    stability_at: Callable[[float], Stability] | None = None,
    scales: Sequence[float] = TIME_SCALES,
) -> Choice:
    """The fastest of `scales` that keeps both gate and stability.

    `share`: largest used share of what falls with λ in the rehearsal at λ = `rehearsed`; ``share_at(λ)`` the same in trial
    runs at another one (infinite if a run breaks down). ``stability_at(λ)``: the loop's margin; without it stability is not
    asked, and the words say so.
    """
    refused: list[str] = []
    for scale in sorted({*scales, rehearsed}):
        try:
            margin = None if stability_at is None else stability_at(scale)
        except InputError as error:  # a lag of too many steps has no compensation
            refused.append(f"λ = {scale:g}: {error}")
            continue
        if margin is not None and not margin.enough:
            what = "damping falls too low" if margin.margin.stable else "the loop is not stable"
            refused.append(f"λ = {scale:g} {what}: {margin}")
            continue
        if scale < rehearsed and share > GATE:
            # What is too much already is no less in a faster test.
            refused.append(f"λ = {scale:g}: more than the {share:.0%} of its limit used at λ = {rehearsed:g}")
            continue
        used = share if scale == rehearsed else share_at(scale)
        if used > GATE:
            told = f"{used:.0%} of a limit used" if np.isfinite(used) else "a run breaks down"
            refused.append(f"λ = {scale:g}: {told} by velocity, oil flow, tracking or energy error")
            continue
        told = "stability was not asked" if margin is None else str(margin)
        words = [
            f"recommended time scale: {scale:g} (rehearsed at {rehearsed:g}): velocity, oil flow, tracking and energy error "
            f"use at most {used:.0%}, gate {GATE:.0%}; {told}"
        ]
        return Choice(scale, margin, (*words, *_faster(refused)))
    first = f"recommended time scale: none of those up to {max(*scales, rehearsed):g} will do"
    return Choice(None, None, (first, *_faster(refused)))


def _faster(refused: list[str]) -> tuple[str, ...]:
    """Why the last one that was refused was: the faster ones are no better."""
    return (f"not faster, for at {refused[-1]}",) if refused else ()


__all__ = ["FALLING", "GATE", "TIME_SCALES", "Choice", "Stability", "recommended_time_scale", "stability"]
