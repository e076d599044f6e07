"""Whole virtual tests in compiled code: computed part, simulated rig at its controller's rate, many in parallel.

A frame is stepped by the very functions of `FrameSolver`. With matrices the scheme's step is linear in state, measured
force and load; its matrices are found by stepping unit vectors. Either way the compiled loop and `HybridTest` compute
the same. Each run keeps its histories and says where it would have
hit the guard's limits. Probabilities carry the confidence interval of E. B. Wilson, 1927.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from frame2d.errors import Frame2dError, InputError, within
from frame2d.hybrid.box import opened
from frame2d.hybrid.computed import MatrixSolver
from frame2d.hybrid.frame_solver import FrameSolver, ahead_at, behind_at
from frame2d.hybrid.limits import Limits
from frame2d.hybrid.rig import Peaks, Rig, advance, read_out
from frame2d.hybrid.scheme import State
from frame2d.kernels import OK, compiled


class Loop(NamedTuple):
    """Matrices of one step: target = T·y, y' = A·y + B·force + P·load, y = (u, v, a, r, p)."""

    T: np.ndarray
    A: np.ndarray
    B: np.ndarray
    P: np.ndarray
    start: np.ndarray


def loop_of(solver: MatrixSolver) -> Loop:
    """The solver's step as matrices; raises `InputError` if its computed part is not linear."""
    if solver.part.restoring is not None:
        raise InputError(
            "the computed part is not linear; allowed: restoring=None, or the test loop in Python"
        )
    n, f, stepper = len(solver.M), solver.freedoms, solver.stepper
    size = 5 * n + f + n
    unit = np.eye(size)
    y = [unit[i * n : (i + 1) * n] for i in range(5)]
    force, load = unit[5 * n : 5 * n + f], unit[5 * n + f :]
    state = State(*y)
    predicted = stepper.predict(state)
    restoring = np.atleast_2d(solver.part.K) @ predicted + solver.L.T @ force
    new = np.concatenate(stepper.correct(state, predicted, restoring, load))
    target = solver.L @ predicted
    first = np.concatenate(solver.state)
    return Loop(
        np.ascontiguousarray(target[:, : 5 * n]),
        np.ascontiguousarray(new[:, : 5 * n]),
        np.ascontiguousarray(new[:, 5 * n : 5 * n + f]),
        np.ascontiguousarray(new[:, 5 * n + f :]),
        first,
    )


@compiled
def _older(targets):  # type: ignore[no-untyped-def]
    """Make room for a new target before the older ones."""
    for w in range(targets.shape[0] - 1, 0, -1):
        for i in range(targets.shape[1]):
            targets[w, i] = targets[w - 1, i]


@compiled
def _compensated(weights, targets, i):  # type: ignore[no-untyped-def]
    """Command of a freedom from its targets."""
    command = 0.0
    for w in range(weights.size):
        command += weights[w] * targets[w, i]
    return command


@compiled
def _noted(out, step, targets, command, displacement, force):  # type: ignore[no-untyped-def]
    """Write the step down; false if the loop has run away."""
    for i in range(command.size):
        out[step, 0, i] = targets[0, i]
        out[step, 1, i] = command[i]
        out[step, 2, i] = displacement[i]
        out[step, 3, i] = force[i]
        if not np.abs(targets[0, i]) < 1e3:
            return False
    return True


@compiled
def _run(rig, net, rng, T, A, B, P, y, load, weights, ticks, ramp, smooth, averaged, out):  # type: ignore[no-untyped-def]
    """Fill `out` (steps, 4, freedoms): target, command, displacement, force; returns the steps done."""
    size, freedoms = y.size, T.shape[0]
    steps = load.shape[0] - 1
    targets = np.zeros((weights.size, freedoms))
    command, displacement, force = np.zeros(freedoms), np.zeros(freedoms), np.zeros(freedoms)
    new = np.zeros(size)
    trace = np.zeros((0, 3))
    for step in range(steps):
        _older(targets)
        for i in range(freedoms):
            value = 0.0
            for j in range(size):
                value += T[i, j] * y[j]
            targets[0, i] = value
            command[i] = _compensated(weights, targets, i)
        if advance(rig, net, rng, command, ticks, ramp, smooth, averaged, trace) != OK:
            return step
        if read_out(rig, averaged, displacement, force) != OK:
            return step
        for i in range(size):
            value = 0.0
            for j in range(size):
                value += A[i, j] * y[j]
            for j in range(freedoms):
                value += B[i, j] * force[j]
            for j in range(P.shape[1]):
                value += P[i, j] * load[step + 1, j]
            new[i] = value
        for i in range(size):
            y[i] = new[i]
        if not _noted(out, step, targets, command, displacement, force):
            return step
    return steps


@compiled
def _run_frame(rig, net, rng, box, dt, keep, weights, ticks, ramp, smooth, averaged, out):  # type: ignore[no-untyped-def]
    """The same around the frame solver's own step; returns the steps done."""
    desk = opened(box)
    link, freedoms, steps = desk.link, desk.link.at.size, desk.ground.size - 1
    targets = np.zeros((weights.size, freedoms))
    for w in range(weights.size):
        targets[w] = link.at
    command, displacement, force = np.zeros(freedoms), np.zeros(freedoms), np.zeros(freedoms)
    trace = np.zeros((0, 3))
    for step in range(steps):
        if ahead_at(desk, step, dt) != OK:
            return step
        _older(targets)
        for i in range(freedoms):
            targets[0, i] = link.target[i]
            command[i] = _compensated(weights, targets, i)
        if advance(rig, net, rng, command, ticks, ramp, smooth, averaged, trace) != OK:
            return step
        if read_out(rig, averaged, displacement, force) != OK:
            return step
        behind_at(desk, step, force, dt, keep)
        if not _noted(out, step, targets, command, displacement, force):
            return step
    return steps


class VirtualRun(NamedTuple):
    """One virtual test; histories (steps, freedoms)."""

    seed: int
    #: False if the rig or the loop broke down before the end.
    completed: bool
    target: np.ndarray
    command: np.ndarray
    displacement: np.ndarray
    force: np.ndarray
    peaks: Peaks
    #: Controller steps that were run.
    ticks: int
    #: First step at which each limit was hit, −1 if never.
    hit: dict[str, int]


def virtual_test(
    solver: MatrixSolver | FrameSolver,
    rig: Rig,
    limits: Limits,
    weights: np.ndarray | None = None,
    tare: np.ndarray | None = None,
) -> VirtualRun:
    """Run the whole test of `solver` on `rig`; limits are noted, not enforced, so that every one can be seen.

    `weights`: fixed delay compensation, newest target first.
    """
    duration = solver.time_scale * solver.dt
    ticks, ramp = rig.plan(duration)
    averaged = min(rig.averaged, ticks)
    out = np.zeros((solver.steps, 4, solver.freedoms))
    w = np.ones(1) if weights is None else np.asarray(weights, dtype=np.float64)
    arrays, net, rng = rig.arrays
    how = (w, ticks, ramp, rig.motion == "ramp-and-hold", averaged, out)
    if isinstance(solver, FrameSolver):
        done = _run_frame(arrays, net, rng, solver.desk, solver.dt, solver.keeps, *how)
        solver.step = done
    else:
        loop = loop_of(solver)
        done = _run(arrays, net, rng, *loop[:4], loop.start.copy(), solver.load, *how)
    rig.ticks += done * ticks
    target, command, displacement, force = (np.ascontiguousarray(out[:done, i]) for i in range(4))
    hit = _hits(target, command, displacement, force, limits, duration)
    return VirtualRun(
        rig.seed, done == solver.steps, target, command, displacement, force, rig.peaks, done * ticks, hit
    )


def _hits(
    target: np.ndarray,
    command: np.ndarray,
    displacement: np.ndarray,
    force: np.ndarray,
    limits: Limits,
    duration: float,
) -> dict[str, int]:
    bounds = limits.bounds(command.shape[1])
    change = np.abs(np.diff(command, axis=0, prepend=np.zeros((1, command.shape[1]))))
    most, least = np.maximum(command, displacement), np.minimum(command, displacement)
    beyond = {
        "stroke": ((most > bounds.high) | (least < bounds.low)).any(axis=1),
        "force": (np.abs(force) > bounds.force).any(axis=1),
        "velocity": (change > bounds.velocity * duration).any(axis=1),
        "step": (change > bounds.step).any(axis=1),
        "tracking": (np.abs(displacement - target) > bounds.tracking).any(axis=1),
    }
    mean = 0.5 * (force + np.vstack([np.zeros((1, force.shape[1])), force[:-1]]))
    moved = np.diff(displacement, axis=0, prepend=np.zeros((1, force.shape[1])))
    wanted = np.diff(target, axis=0, prepend=np.zeros((1, force.shape[1])))
    error = np.cumsum((mean * (wanted - moved)).sum(axis=1))
    work = np.cumsum(np.abs((mean * moved).sum(axis=1)))
    beyond["energy"] = np.abs(error) > limits.energy * np.maximum(work, bounds.floor)
    return {name: int(np.argmax(where)) + 1 if where.any() else -1 for name, where in beyond.items()}


def rehearse(
    make: Callable[[int], tuple[MatrixSolver | FrameSolver, Rig]],
    limits: Limits,
    seeds: Sequence[int],
    weights: np.ndarray | None = None,
    threads: int = 2,
) -> list[VirtualRun]:
    """Virtual tests of `make(seed)` for every seed, in `threads` (the compiled loop releases the lock)."""
    if not len(seeds):
        raise InputError("no seeds for the rehearsal; allowed: one or more")

    def one(seed: int) -> VirtualRun:
        solver, rig = make(seed)
        return virtual_test(solver, rig, limits, weights)

    with ThreadPoolExecutor(int(within("threads", threads, 1, 1024))) as pool:
        return list(pool.map(one, seeds))


class Chance(NamedTuple):
    """Estimated probability with its 95 % interval."""

    value: float
    low: float
    high: float


def chance(hits: int, runs: int, z: float = 1.959964) -> Chance:
    """Probability of which `hits` of `runs` are a sample, with the interval of Wilson 1927."""
    if runs < 1 or not 0 <= hits <= runs:
        raise Frame2dError(f"{hits} hits of {runs} runs make no probability")
    p, z2 = hits / runs, z * z / runs
    middle = (p + 0.5 * z2) / (1.0 + z2)
    half = z / (1.0 + z2) * np.sqrt(p * (1.0 - p) / runs + 0.25 * z2 / runs)
    return Chance(p, max(0.0, middle - half), min(1.0, middle + half))


def chances(runs: Sequence[VirtualRun]) -> dict[str, Chance]:
    """Probability that each limit is hit, and that the test does not complete."""
    names = runs[0].hit.keys()
    table = {name: chance(sum(run.hit[name] > 0 for run in runs), len(runs)) for name in names}
    table["breakdown"] = chance(sum(not run.completed for run in runs), len(runs))
    return table
