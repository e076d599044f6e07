"""Drive many sets of parameters of one law through one test: compiled, in threads, the lock released."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from itertools import pairwise

import numpy as np

from frame2d.component_tests import CyclicTest
from frame2d.kernels import Kernel, at, call_law, compiled
from frame2d.materials.law import Law

#: Force of a set of parameters for which the law has no answer.
NO_ANSWER = np.nan


@compiled
def _batch(address, P, M, u, v, dt, forces):  # type: ignore[no-untyped-def]
    """Forces of every row of P, with its own memory in M; a row without an answer stays NaN from there."""
    out = np.zeros(8)
    memory = np.zeros(M.shape[1])
    trial = np.zeros(M.shape[1])
    for row in range(P.shape[0]):
        for j in range(memory.size):
            memory[j] = trial[j] = M[row, j]
        p = P[row]
        for i in range(u.size):
            status = call_law(address, at(p, 0), at(memory, 0), u[i], v[i], dt[i], at(out, 0), at(trial, 0))
            if status != 0:
                break
            forces[row, i] = out[0]
            memory, trial = trial, memory
    return 0


@cache
def _threads() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(os.cpu_count() or 1, thread_name_prefix="fitting")


class Driven:
    """The deformations of one cyclic test, ready for the compiled driver."""

    def __init__(self, test: CyclicTest) -> None:
        self.deformation = np.ascontiguousarray(test.deformation)
        if test.time is None:
            self.rate = np.zeros_like(self.deformation)
            self.dt = np.zeros_like(self.deformation)
        else:
            self.rate = np.gradient(self.deformation, test.time)
            self.dt = np.concatenate([[0.0], np.diff(test.time)])

    def outputs(self, laws: Sequence[Law]) -> np.ndarray:
        """Forces (N or N·m), one row a law, all of one class; NaN from where a law has no answer."""
        address = _leanest(laws[0]).address
        P, M = padded([law.parameters() for law in laws]), padded([law.initial_memory() for law in laws])
        forces = np.full((len(laws), self.deformation.size), NO_ANSWER)
        work = (self.deformation, self.rate, self.dt)

        def run(rows: slice) -> None:
            _batch(address, P[rows], M[rows], *work, forces[rows])

        in_threads(run, len(laws))
        return forces


def _leanest(law: Law) -> Kernel:
    """The kernel of the force alone of the class that wrote the law's kernel, else that kernel."""
    owner = next(kind for kind in type(law).__mro__ if "kernel" in vars(kind))
    return vars(owner).get("force_kernel", law.kernel)


def in_threads(run: Callable[[slice], None], count: int) -> None:
    """Call `run` with slices that share `count` rows between the processors."""
    parts = min(os.cpu_count() or 1, count)
    if parts == 1:
        run(slice(0, count))
        return
    ends = np.linspace(0, count, parts + 1).astype(int)
    list(_threads().map(run, (slice(a, b) for a, b in pairwise(ends))))


def padded(rows: list[np.ndarray]) -> np.ndarray:
    """Rows as one matrix, shorter ones filled with zeros, never without a column."""
    width = max(1, *(row.size for row in rows))
    matrix = np.zeros((len(rows), width))
    for target, row in zip(matrix, rows, strict=True):
        target[: row.size] = row
    return matrix
