"""The beat of a paced test: waiting, and what is changed for it and given back."""

import gc
import os
import subprocess
import sys
import threading
import time

import numpy as np
import pytest

from frame2d.demo import laboratory
from frame2d.demo.motions import demo_record
from frame2d.hybrid import CHECKS, HybridTest, Unattended, polynomial
from frame2d.hybrid.deadline import empty_loop
from frame2d.hybrid.pace import undisturbed, wait_until
from frame2d.kernels import PLAIN

linux = pytest.mark.skipif(
    not hasattr(os, "sched_getaffinity"), reason="the system binds no thread to a core"
)


def test_no_wait_ends_early():
    """Waiting never returns before its time, also when that is past."""
    for seconds in (-1.0, 0.0, 1e-5, 1e-3, 4e-3):
        due = time.perf_counter() + seconds
        wait_until(due)
        assert time.perf_counter() >= due


@linux
def test_everything_is_as_before_afterwards():
    """Cores, scheduling, garbage collection and threads are given back, also after an error."""

    def now():
        policy = os.sched_getscheduler(0), os.sched_getparam(0).sched_priority
        return (
            os.sched_getaffinity(0),
            policy,
            gc.isenabled(),
            sys.getswitchinterval(),
            threading.active_count(),
        )

    before = now()
    with pytest.raises(ZeroDivisionError), undisturbed():
        assert not gc.isenabled()
        assert len(os.sched_getaffinity(0)) == 1
        assert PLAIN or "awake" in [thread.name for thread in threading.enumerate()]
        raise ZeroDivisionError
    assert now() == before
    with undisturbed(False):
        assert now() == before


@linux
def test_a_helper_is_kept_off_the_core():
    """The process that works for the test runs on the other cores, and anywhere again afterwards."""
    helper = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    try:
        free = os.sched_getaffinity(helper.pid)
        with undisturbed(True, helper.pid):
            mine = os.sched_getaffinity(0)
            assert len(free) < 2 or not mine & os.sched_getaffinity(helper.pid)
        assert os.sched_getaffinity(helper.pid) == free
    finally:
        helper.communicate(b"\n")
    with undisturbed(True, helper.pid):
        pass  # a helper that has ended is nobody's concern


def test_an_empty_loop_keeps_its_beat():
    """A loop of 200 steps at 1000 Hz takes no less than its time, and counts every step."""
    began = time.perf_counter()
    figures = empty_loop(1000.0, 0.2)
    assert time.perf_counter() - began >= 0.2
    assert figures.steps == sum(figures.histogram) == 200 and figures.late_most >= 0.0


def made(pace):
    """A test of 160 steps on a simulated rig, without a journal."""
    dt = 0.005
    motion = laboratory.small_motion(demo_record(), dt, 160)
    solver = laboratory.demo_solver(motion, dt=dt, time_scale=1.0, history=False)
    return HybridTest(
        solver.fresh, laboratory.real_time_rig(), laboratory.wide_limits(), Unattended(True), None, pace=pace,
        make_compensation=lambda: polynomial(2, 0.001, dt),
    )  # fmt: skip


def test_a_paced_test_and_its_twin_go_the_same_way():
    """A paced test gives the numbers of an unpaced one bit for bit, and its twin has taken the same steps by then."""
    paced, plain = made(0.005), made(None)
    outcome, expected = paced.run(CHECKS), plain.run(CHECKS)
    for name in ("target", "command", "displacement", "force", "energy_error"):
        assert np.array_equal(getattr(outcome, name), getattr(expected, name)), name
    twin = paced.twin
    assert plain.twin is None and not twin.failed and 0 < twin.steps < 160
    assert np.array_equal(twin.guard.command_now, outcome.command[twin.steps - 1])
    assert twin.steps + len(twin.heard) == outcome.step


def test_a_twin_that_fails_leaves_the_test_alone():
    """Whatever goes wrong with the twin, the test goes on without it."""
    test = made(0.005)
    make, count = test.make_solver, []

    def broken(scale):
        solver = make(scale)
        count.append(solver)
        if len(count) == 2:
            solver.predict = None
        return solver

    test.make_solver = broken
    assert test.run(CHECKS).ending == "completed" and test.twin.failed
