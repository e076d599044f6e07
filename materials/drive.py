"""Drive a law through a history of deformations, as a component test does."""

from typing import NamedTuple

import numpy as np

from frame2d.errors import Frame2dError, InputError
from frame2d.kernels import at, call_law, compiled
from frame2d.materials.law import Law


class Loop(NamedTuple):
    """History of a driven law; every array has one entry a point."""

    deformation: np.ndarray
    force: np.ndarray
    tangent: np.ndarray
    #: ∫F du by the trapezoidal rule, J.
    work: np.ndarray
    #: Part of the work that elastic unloading would return, by the law's own definition, J.
    recoverable: np.ndarray
    #: Memory after the last point.
    memory: np.ndarray


@compiled
def _drive(address, p, u, v, dt, memory, out, force, tangent, recoverable):  # type: ignore[no-untyped-def]
    trial = memory.copy()
    for i in range(u.size):
        status = call_law(address, at(p, 0), at(memory, 0), u[i], v[i], dt, at(out, 0), at(trial, 0))
        if status != 0:
            return i
        force[i] = out[0]
        tangent[i] = out[1]
        recoverable[i] = out[3]
        for j in range(memory.size):  # a slice assignment costs as much as a law
            memory[j] = trial[j]
    return -1


def drive(law: Law, deformation: np.ndarray, dt: float = 0.0, memory: np.ndarray | None = None) -> Loop:
    """Force history of `law` under `deformation` (m or rad), each point committed.

    `dt` is the time between points (s); 0 means that rates are not considered. Raises `InputError` for a
    history that is empty or not finite, `Frame2dError` where the law has no answer.
    """
    u = np.ascontiguousarray(deformation, dtype=np.float64)
    if u.ndim != 1 or u.size == 0 or not np.all(np.isfinite(u)):
        raise InputError("deformation must be a non-empty one-dimensional history of finite numbers")
    v = np.gradient(u, dt) if dt > 0.0 and u.size > 1 else np.zeros_like(u)
    state = np.concatenate([law.initial_memory() if memory is None else memory, np.zeros(1)])
    force, tangent, recoverable = np.zeros_like(u), np.zeros_like(u), np.zeros_like(u)
    failed = _drive(
        law.kernel.address, law.parameters(), u, v, dt, state, np.zeros(8), force, tangent, recoverable
    )
    if failed >= 0:
        raise Frame2dError(f"{law} has no answer at point {failed}, deformation {u[failed]:g}")
    work = np.concatenate([[0.0], np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(u))])
    return Loop(u, force, tangent, work, recoverable, state[:-1])
