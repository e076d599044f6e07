"""Whole virtual tests in compiled code: computed part, simulated rig at its controller's rate, many in parallel.

A frame is stepped by the very functions of `FrameSolver`. With matrices the scheme's step is linear in state, measured
force and load; its matrices are found by stepping unit vectors. Either way the compiled loop and `HybridTest` compute
the same. Each run keeps its histories and says where it would have hit the guard's limits; what `UNCOVERED` names is no
matter of the loop and cannot be rehearsed so. Probabilities carry the confidence interval of E. B. Wilson, 1927.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from frame2d.errors import Frame2dError, InputError, within
from frame2d.hybrid.computed import MatrixSolver
from frame2d.hybrid.frame_solver import STRAIN, WORK, FrameSolver, ahead, behind
from frame2d.hybrid.limits import Limits
from frame2d.hybrid.rig import Peaks, Rig, advance, read_out
from frame2d.hybrid.scheme import State
from frame2d.hybrid.specimen import Reading
from frame2d.kernels import OK, compiled, inner

#: Triggers of the guard that a virtual test says nothing about: they rest with machines, network and people.
UNCOVERED = ("deadline", "link", "silence", "unloading", "solver", "operator")


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


@inner
def _older(targets):  # type: ignore[no-untyped-def]
    """Make room for a new target before the older ones."""
    for w in range(targets.shape[0] - 1, 0, -1):
        for i in range(targets.shape[1]):
            targets[w, i] = targets[w - 1, i]


@inner
def _compensated(weights, targets, i):  # type: ignore[no-untyped-def]
    """Command of a freedom from its targets."""
    command = 0.0
    for w in range(weights.size):
        command += weights[w] * targets[w, i]
    return command


@inner
def _noted(out, step, targets, command, displacement, force, energy):  # type: ignore[no-untyped-def]
    """Write the step down; false if the loop has run away."""
    out[step, 4, 0] = energy
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
    """Fill `out` (steps, 5, freedoms): target, command, displacement, force, energy; returns the steps done.

    Energy is `MatrixSolver.energies`, input and strain together, as the guard knows it when the command leaves.
    """
    size, freedoms = y.size, T.shape[0]
    n = load.shape[1]
    work, strain = 0.0, 0.0
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
        energy = abs(work) + strain
        stored = 0.0
        for i in range(n):  # y = (u, v, a, r, p)
            work += 0.5 * (new[4 * n + i] + y[4 * n + i]) * (new[i] - y[i])
            stored += 0.5 * new[3 * n + i] * new[i]
        strain = max(strain, abs(stored))
        for i in range(size):
            y[i] = new[i]
        if not _noted(out, step, targets, command, displacement, force, energy):
            return step
    return steps


@compiled
def _run_frame(rig, net, rng, desk, dt, keep, weights, ticks, ramp, smooth, averaged, out):  # type: ignore[no-untyped-def]
    """The same around the frame solver's own step; returns the steps done."""
    link, freedoms, steps = desk.link, desk.link.at.size, desk.ground.size - 1
    targets = np.zeros((weights.size, freedoms))
    for w in range(weights.size):
        targets[w] = link.at
    command, displacement, force = np.zeros(freedoms), np.zeros(freedoms), np.zeros(freedoms)
    trace = np.zeros((0, 3))
    for step in range(steps):
        if ahead(desk, step, dt) != OK:
            return step
        _older(targets)
        for i in range(freedoms):
            targets[0, i] = link.target[i]
            command[i] = _compensated(weights, targets, i)
        if advance(rig, net, rng, command, ticks, ramp, smooth, averaged, trace) != OK:
            return step
        if read_out(rig, averaged, displacement, force) != OK:
            return step
        energy = abs(desk.tally[WORK]) + desk.tally[STRAIN]
        behind(desk, step, force, dt, keep)
        if not _noted(out, step, targets, command, displacement, force, energy):
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
    #: Energy error of the loop (HSEM) after each step, as the solver's guard computes it, (steps,).
    energy_error: np.ndarray


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
    out = np.zeros((solver.steps, 5, solver.freedoms))
    w = np.ones(1) if weights is None else np.asarray(weights, dtype=np.float64)
    arrays, net, rng = rig.arrays
    how = (w, ticks, ramp, rig.motion == "ramp-and-hold", averaged, out)
    if isinstance(solver, FrameSolver):
        start = Reading(solver.link.at.copy(), solver.link.zero.copy())
        done = _run_frame(arrays, net, rng, solver.desk, solver.dt, solver.keeps, *how)
        solver.step = done
    else:
        loop = loop_of(solver)
        start = Reading(solver.L @ solver.state.u, np.zeros(solver.freedoms))
        done = _run(arrays, net, rng, *loop[:4], loop.start.copy(), solver.load, *how)
    rig.ticks += done * ticks
    target, command, displacement, force, energy = (np.ascontiguousarray(out[:done, i]) for i in range(5))
    error = energy_error(target, displacement, force, energy[:, 0], start, limits)
    hit = _hits(target, command, displacement, force, error, start, limits, duration)
    return VirtualRun(
        rig.seed, done == solver.steps, target, command, displacement, force, rig.peaks, done * ticks, hit, error
    )  # fmt: skip


def energy_error(
    target: np.ndarray, displacement: np.ndarray, force: np.ndarray, energy: np.ndarray, start: Reading, limits: Limits
) -> np.ndarray:  # fmt: skip
    """`EnergyMonitor.ratio` after each step, (steps,), from histories (steps, freedoms) and the structure's `energy`."""
    mean = 0.5 * (force + np.vstack([start.force, force[:-1]]))
    moved, wanted = (
        np.diff(history, axis=0, prepend=start.displacement[None]) for history in (displacement, target)
    )
    error = np.cumsum((mean * (wanted - moved)).sum(axis=1))
    return np.asarray(error / np.maximum(energy, limits.bounds(force.shape[1]).floor))


def _hits(
    target: np.ndarray,
    command: np.ndarray,
    displacement: np.ndarray,
    force: np.ndarray,
    error: np.ndarray,
    start: Reading,
    limits: Limits,
    duration: float,
) -> dict[str, int]:
    bounds = limits.bounds(command.shape[1])
    moved = np.diff(command, axis=0, prepend=start.displacement[None])
    change = np.abs(moved)
    most, least = np.maximum(command, displacement), np.minimum(command, displacement)
    moving = change > bounds.flat_motion
    beyond = {
        "stroke": ((most > bounds.high) | (least < bounds.low)).any(axis=1),
        "force": (np.abs(force) > bounds.force).any(axis=1),
        "velocity": (change > bounds.velocity * duration).any(axis=1),
        "step": (change > bounds.step).any(axis=1),
        "tracking": (np.abs(displacement - target) > bounds.tracking).any(axis=1),
        "energy": np.abs(error) > limits.energy,
        "flat line": _flat(displacement, moving, limits.flat_displacement)
        | _flat(force, moving, limits.flat_force),
    }
    return {name: int(np.argmax(where)) + 1 if where.any() else -1 for name, where in beyond.items()}


def _flat(history: np.ndarray, moving: np.ndarray, limit: int) -> np.ndarray:
    """Steps (steps,) at which a channel has repeated its reading `limit` times while its command moved (0: none)."""
    flat = np.zeros(len(history), dtype=bool)
    for k in range(history.shape[1] if limit else 0):
        steps = 1 + np.flatnonzero(moving[1:, k])  # the first reading has none before it
        same = history[steps, k] == history[steps - 1, k]
        count = np.arange(1, steps.size + 1)
        flat[steps[count - np.maximum.accumulate(np.where(same, 0, count)) >= limit]] = True
    return flat


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
