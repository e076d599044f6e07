"""A core that stays awake: a thread of the lowest rank spins on it, with the interpreter's lock released.

A core that halts between two steps wakes with cold caches and a clock that has to be set anew: measured on a virtual
machine, a step took 78 µs after a halt and 65 µs on a core that never halted, and half as long at the 99th percentile.
Whatever else wants the core, the test's own thread first, takes it from the spinning thread at once.
"""

import contextlib
import os
import threading
import time
from collections.abc import Iterator

import numpy as np
from numba import types
from numba.extending import intrinsic

from frame2d.kernels import PLAIN, compiled

#: Places of the array that both threads see: the spin is over; the spin has begun.
OVER, BEGUN = range(2)


@intrinsic
def _seen(typingctx, array):  # type: ignore[no-untyped-def]
    """First number of `array`, read from memory each time it is asked for."""

    def generate(context, builder, sig, arguments):  # type: ignore[no-untyped-def]
        made = context.make_array(sig.args[0])(context, builder, arguments[0])
        return builder.load_atomic(made.data, "monotonic", 8)

    return types.int64(array), generate


@compiled
def _spin(shared):  # type: ignore[no-untyped-def]
    shared[BEGUN] = 1
    while _seen(shared) == 0:
        pass


@contextlib.contextmanager
def awake() -> Iterator[None]:
    """Keep the core awake that this thread is bound to.

    It needs a system with a rank below all others (Linux), and compiled code; elsewhere nothing happens.
    """
    if PLAIN or not hasattr(os, "SCHED_IDLE"):
        yield
        return
    shared = np.array([1, 0], dtype=np.int64)
    _spin(shared)  # compiled before it counts
    shared[:] = 0
    spinner = threading.Thread(target=_lowest, args=(shared,), name="awake", daemon=True)
    spinner.start()
    try:
        while shared[BEGUN] == 0 and spinner.is_alive():
            time.sleep(1e-4)  # until then the spinning thread may hold the interpreter, at the lowest rank
        yield
    finally:
        shared[OVER] = 1
        spinner.join()


def _lowest(shared: np.ndarray) -> None:
    with contextlib.suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_IDLE, os.sched_param(0))
        _spin(shared)


__all__ = ["awake"]
