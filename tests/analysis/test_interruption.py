"""Ctrl-C during analyses: what was computed is kept, and the state belongs to the last row."""

import os
import signal
import sys
import threading
import time
from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, Outcome, gravity, push, time_history
from frame2d.analysis import cyclic, newmark
from frame2d.analysis.interruption import Interruption
from frame2d.analysis.response import Log, new_log
from frame2d.materials import BoucWen

DT = 0.005


def tower(storeys: int = 12):  # type: ignore[no-untyped-def]
    """A tower with yielding beam ends under its weight; invented numbers."""
    frame = Frame("tower")
    for level in range(storeys + 1):
        for side, x in (("a", 0.0), ("b", 6.0)):
            support = None if level else "fixed"
            frame.node(f"{side}{level}", x, 3.0 * level, support=support, mass=2e4 if level else 0.0)
    hinge = BoucWen(k=1e8, Fy=2e5)
    for level in range(1, storeys + 1):
        for side in "ab":
            frame.member(
                f"{side}c{level}", f"{side}{level - 1}", f"{side}{level}", BeamColumn(2.1e11, 0.03, 1e-3)
            )
        beam = BeamColumn(2.1e11, 1e-2, 2e-4, start=hinge, end=hinge)
        frame.member(f"g{level}", f"a{level}", f"b{level}", beam)
        frame.load(f"a{level}", fy=-1e5)
    system = frame.compile()
    return system, gravity(system).state


def record(steps: int):  # type: ignore[no-untyped-def]
    return SimpleNamespace(acceleration=3.0 * np.sin(9.0 * DT * np.arange(steps)), dt=DT, name="wave")


def interrupt_after(monkeypatch, rows: int, times: int = 1):  # type: ignore[no-untyped-def]
    """The process gets Ctrl-C from another thread as soon as the log has grown past `rows`."""

    def watched(system, size):  # type: ignore[no-untyped-def]
        log: Log = new_log(system, size)

        def watch() -> None:
            while not np.any(log.q[rows]):
                time.sleep(0.001)
            for _ in range(times):
                os.kill(os.getpid(), signal.SIGINT)
                time.sleep(0.001)

        threading.Thread(target=watch, daemon=True).start()
        return log

    # The package has functions of these modules' names.
    for module in ("history", "push"):
        monkeypatch.setattr(sys.modules[f"frame2d.analysis.{module}"], "new_log", watched)


def agrees(response) -> bool:  # type: ignore[no-untyped-def]
    """Whether the state is the motion of the last row, under the last row's time."""
    motion, log = response.state.motion, response.log
    return (
        np.array_equal(motion.q, log.q[-1])
        and np.array_equal(motion.work, log.work[-1])
        and np.array_equal(motion.account, log.account[-1])
    )


def test_an_interrupted_history_can_be_gone_on_with(monkeypatch):
    """After Ctrl-C the state is the last row's, and the run that goes on from it meets the run without interruption."""
    system, state = tower()
    steps = 40_000
    interrupt_after(monkeypatch, 3000)
    # Newmark's acceleration is the one that balances each row, with which a run begins.
    first = time_history(system, record(steps), state, scheme=newmark())
    monkeypatch.undo()
    rows = first.time.size
    assert first.outcome is Outcome.INTERRUPTED and "stopped" in first.criterion
    assert 3000 < rows < steps and agrees(first)
    assert first.state.time == first.time[-1]
    assert first.state.motion.account[3] == pytest.approx(DT * (rows - 1), rel=1e-9)
    wave = record(steps)
    longer = SimpleNamespace(acceleration=wave.acceleration[: rows + 50], dt=DT, name="longer")
    whole = time_history(system, longer, state, scheme=newmark())
    assert np.array_equal(whole.log.q[:rows], first.log.q)
    rest = SimpleNamespace(acceleration=wave.acceleration[rows - 1 : rows + 50], dt=DT, name="rest")
    second = time_history(system, rest, first.state, scheme=newmark())
    assert np.allclose(second.log.q, whole.log.q[rows - 1 :], rtol=0, atol=1e-9)


def test_an_interrupted_push_keeps_its_curve(monkeypatch):
    """Ctrl-C in a displacement push, a cyclic push and an arc-length push leaves the curve and the state at its end."""
    system, state = tower(4)
    ways = (
        lambda: push(system, state, node="a4", target=0.8, steps=200_000),
        lambda: cyclic(system, state, node="a4", history=0.2 * np.sin(1e-4 * np.arange(200_000))),
        lambda: push(system, state, arc_length=1e-6, most_steps=200_000),
    )
    for way in ways:
        interrupt_after(monkeypatch, 20)
        response = way()
        monkeypatch.undo()
        assert response.outcome is Outcome.INTERRUPTED
        assert 20 < response.time.size < 200_000 and agrees(response)
        assert response.factor.size == response.time.size and response.factor[-1] != 0.0
        last = response.state.load - state.load
        assert np.allclose(last, response.factor[-1] * response.extra["pattern"], rtol=0, atol=1e-9)


def test_a_second_interruption_is_obeyed_at_once():
    """The first Ctrl-C is noted, the second raised; afterwards the handler is the one that was there before."""
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt), Interruption() as interruption:
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.01)
        assert interruption.asked
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.01)
    assert signal.getsignal(signal.SIGINT) is before is signal.default_int_handler


def test_a_script_with_its_own_handler_keeps_it():
    """Where Ctrl-C means something else, analyses leave it alone."""
    seen: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, frame: seen.append(number))
    try:
        with Interruption() as interruption:
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.01)
        assert seen and not interruption.asked
    finally:
        signal.signal(signal.SIGINT, before)


def test_pushes_show_how_far_they_are(capsys):
    """With progress asked for, a bar counts the steps of every kind of push and of a history."""
    from frame2d.analysis.runner import Options

    system, state = tower(2)
    told = Options(progress=True)
    ways = (
        lambda: time_history(system, record(50), state, options=told),
        lambda: push(system, state, node="a2", target=0.02, steps=10, options=told),
        lambda: push(system, state, arc_length=1e-3, most_steps=10, options=told),
        lambda: cyclic(system, state, node="a2", history=np.linspace(0.0, 0.01, 5), options=told),
    )
    for way in ways:
        assert way().outcome is Outcome.COMPLETED
        assert "step" in capsys.readouterr().err
