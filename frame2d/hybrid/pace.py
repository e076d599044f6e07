"""The beat of a paced test: waiting for the next step, and a thread that nothing disturbs while it steps.

What a system refuses (real-time scheduling needs the right to it) is left out, and the test runs as it is.
"""

import contextlib
import ctypes
import gc
import os
import sys
import time
from collections.abc import Iterator

from frame2d.hybrid.awake import awake

#: A sleep ends late by a fraction of a millisecond: the rest, s, is spent watching the clock.
WATCHED = 2e-4


def wait_until(due: float) -> None:
    """Return when `time.perf_counter` says `due`, never before."""
    left = due - time.perf_counter()
    if left > 1.5 * WATCHED:
        time.sleep(left - WATCHED)
    while time.perf_counter() < due:
        pass


@contextlib.contextmanager
def undisturbed(real_time: bool = True, helper: int | None = None) -> Iterator[None]:
    """Give this thread a core of its own that stays awake, the first place in its queue, and no garbage collection.

    `helper`: a process that works for the test, kept off that core. All is as before when it ends; nothing happens
    unless `real_time`.
    """
    if not real_time:
        yield
        return
    with _uncollected(), _own_core(helper), awake(), _first():
        yield


@contextlib.contextmanager
def _uncollected() -> Iterator[None]:
    interval, collecting = sys.getswitchinterval(), gc.isenabled()
    gc.collect()
    gc.freeze()
    gc.disable()
    # Another thread that holds the interpreter gives it back soon.
    sys.setswitchinterval(5e-5)
    try:
        yield
    finally:
        sys.setswitchinterval(interval)
        gc.unfreeze()
        if collecting:
            gc.enable()


@contextlib.contextmanager
def _own_core(helper: int | None) -> Iterator[None]:
    """This thread on one of its cores, `helper` on the others."""
    before = os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else set()
    if len(before) < 2:
        yield
        return
    # Where it runs already: the system has put a busy thread on a quick core.
    core = ctypes.CDLL(None).sched_getcpu()
    _bind(0, {core})
    _bind(helper, before - {core})
    try:
        yield
    finally:
        _bind(0, before)
        _bind(helper, before)


def _bind(process: int | None, cores: set[int]) -> None:
    with contextlib.suppress(OSError):
        if process is not None:
            os.sched_setaffinity(process, cores)


@contextlib.contextmanager
def _first() -> Iterator[None]:
    """Real-time scheduling of this thread."""
    try:
        before = os.sched_getscheduler(0), os.sched_getparam(0)
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(2))
    except (AttributeError, OSError):
        yield
        return
    try:
        yield
    finally:
        os.sched_setscheduler(0, *before)


__all__ = ["undisturbed", "wait_until"]
