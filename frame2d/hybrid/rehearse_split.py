"""Rehearsal of a divided frame in one call: from frame, record, rig and limits to chances, capacities and a time scale.

The tested part runs as laws inside the simulated rig, the computed part as `FrameSolver`; strength, delay, noise and seed
are scattered (`Spreads`). Delay compensation is made for the rig's lag at the stiffest credible specimen; stability is
asked for the smallest and the largest lag that the scatter and the stiffness of the specimen allow.
"""

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from frame2d.analysis import StiffnessMass, gravity, time_history
from frame2d.analysis.response import Response
from frame2d.errors import InputError, whole, within
from frame2d.hybrid.actuator import loop_lag
from frame2d.hybrid.compensation import Compensator, polynomial
from frame2d.hybrid.computed import Declared
from frame2d.hybrid.frame_solver import FrameSolver
from frame2d.hybrid.frame_specimen import FrameSpecimen, computed_state
from frame2d.hybrid.limits import Limits
from frame2d.hybrid.linearly_implicit import LinearlyImplicit
from frame2d.hybrid.part_state import balanced
from frame2d.hybrid.rehearsal import Rehearsal, Trial, rehearsal
from frame2d.hybrid.rig import Rig
from frame2d.hybrid.scatter import Spreads
from frame2d.hybrid.time_scale import Stability, stability
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.substructure import Split


def quadratic(lag: float, dt: float) -> Compensator:
    """Extrapolation by the last three targets."""
    return polynomial(2, lag, dt)


def lags_of(rig: Rig, declared: Declared, delays: tuple[float, float]) -> tuple[float, float, float]:
    """Smallest, expected and largest lag of the rig behind a slow command, s (negative: it leads).

    By `loop_lag`, over `delays` of the controller and specimens from none to the stiffest credible; expected is the mean of
    the actuators with the rig's own delay and the stiffest specimen.
    """
    stiffness = np.atleast_2d(np.asarray(declared.credible, dtype=np.float64))
    if rig.geometry is not None:
        across = np.linalg.inv(rig.geometry.jacobian(np.zeros(rig.freedoms)))
        stiffness = across.T @ stiffness @ across
    own = rig.controller.delay
    pairs = list(zip(rig.actuators, np.diag(stiffness).tolist(), strict=True))
    with_it = [loop_lag(actuator, rig.controller, k) for actuator, k in pairs]
    without = [loop_lag(actuator, rig.controller, 0.0) for actuator, _ in pairs]
    lags = [*with_it, *without]
    return min(lags) - own + delays[0], float(np.mean(with_it)), max(lags) - own + delays[1]


def rehearse_split(
    parts: Split,
    record: Any,
    rig: Rig,
    limits: Limits,
    *,
    along: Any = None,
    declared: Declared | None = None,
    scheme: Any = None,
    state: State | None = None,
    damping: Any = None,
    factor: float = 1.0,
    dt: float | None = None,
    time_scale: float = 50.0,
    compensate: Callable[[float, float], Compensator] | None = quadratic,
    spreads: Spreads | None = None,
    runs: int = 200,
    seed: int = 0,
    reference: Response | None = None,
    watch: Callable[[Response], np.ndarray] | None = None,
    threads: int = 2,
    progress: bool = False,
) -> Rehearsal:
    """Monte Carlo of the test of a split frame on simulated rigs like `rig`, whose specimen is the tested part.

    `rig` stands at the test's start, for instance ``Rig(condensed_network(FrameSpecimen.of(parts, state, along)), …)``.
    `along`: rows of the imposed motions, as for `FrameSolver`. `declared`: by default the tested part's own, operator a
    tenth stiffer. `damping`: `Rayleigh` or `StiffnessMass` of the whole. `scheme`: `LinearlyImplicit(0.8)` by default. `state`: of the whole frame (of the joined parts where the
    cut releases freedoms), under gravity by default. `compensate(lag, dt)` in seconds of the record, with fixed weights;
    None: no compensation. `spreads`: what is scattered, run number i by seed `seed` + i. `reference`: response of the model
    that the test should reproduce, by default the undivided frame's; `watch(response)` the history by which both are
    compared, by default the highest floor's displacement. Raises `InputError`.
    """
    number = whole("runs", runs, 1, 1_000_000)
    scatter = spreads or Spreads()
    imposed = len(parts.interface) if along is None else len(np.atleast_2d(np.asarray(along)))
    if rig.freedoms != imposed:
        raise InputError(
            f"the rig has {rig.freedoms} freedoms; allowed: {imposed}, as many as the split imposes. Likely mistake: "
            "`along` was given to the specimen, but not here"
        )
    source = parts.joined_system if parts.released else parts.whole_system
    standing = gravity(source).state if state is None else state
    drawn = of_both(damping, source, standing)
    tested = declared or FrameSpecimen.of(parts, None, along).declared(0.1, drawn)
    begin = (
        balanced(parts.computed_system, parts.share(standing, "joined")["computed"])
        if parts.released
        else computed_state(parts, standing)
    )
    if reference is None:
        plain = parts.released and state is None
        model, at = (parts.whole_system, gravity(parts.whole_system).state) if plain else (source, standing)
        reference = time_history(model, record, at, factor=factor, dt=dt, damping=drawn)
    seen = watch or highest_floor
    low, expected, high = lags_of(rig, tested, scatter.delays(rig.controller))

    @cache
    def solver_at(scale: float) -> FrameSolver:
        return FrameSolver(
            parts, along, tested, scheme or LinearlyImplicit(0.8), record, factor=factor, dt=dt, state=begin, damping=drawn,
            time_scale=scale,
        )  # fmt: skip

    step = solver_at(within("time scale", time_scale, 1.0, 1e6)).dt

    @cache
    def weights_at(scale: float) -> np.ndarray | None:
        return None if compensate is None else compensate(max(expected, 0.0) / scale, step).weights

    def make(one: int, scale: float) -> Trial:
        return Trial(solver_at(scale).fresh(), scatter.rig(rig, one), weights_at(scale))

    def margin(scale: float) -> Stability:
        return stability(
            solver_at(scale), np.atleast_2d(tested.credible), (low, expected, high), weights_at(scale)
        )

    return rehearsal(
        make, limits, range(seed, seed + number), time_scale, seen(reference), seen, stability=margin, threads=threads,
        progress=progress,
    )  # fmt: skip


def of_both(damping: Any, source: System, state: State) -> StiffnessMass | None:
    """Damping by mass and elastic stiffness with one pair of coefficients for both parts, those of the whole."""
    if damping is None:
        return None
    if not hasattr(damping, "coefficients"):
        raise InputError(
            f"damping is a {type(damping).__name__}, which has no share for each part; allowed: Rayleigh, StiffnessMass"
        )
    return StiffnessMass(*damping.coefficients(source, state))


def highest_floor(response: Response) -> np.ndarray:
    """Displacement of the highest floor, (steps + 1,)."""
    levels = response.system.frame.levels()
    if not levels:
        raise InputError("the frame has no floors to compare; allowed: watch=…, a function of the response")
    return response.floor(levels[-1][0])


__all__ = ["highest_floor", "lags_of", "rehearse_split"]
