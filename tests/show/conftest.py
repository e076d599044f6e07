"""A small invented frame with hinges and a brace as devices, and what came out of it."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d.analysis import Rayleigh, gravity, modes, push, time_history
from frame2d.elements import BeamColumn, Brace
from frame2d.materials import Bilinear
from frame2d.model import Frame


def small_frame() -> Frame:
    """Two storeys, one bay: beams with hinges and a brace are devices."""
    frame = Frame("two storeys (invented)")
    column = BeamColumn(210e9, 0.0149, 2.517e-4)
    hinge = Bilinear(2e7, 50e3, 0.01)
    beam = BeamColumn(210e9, 0.00848, 2.313e-4, start=hinge, end=hinge, end_inset=0.5)
    for level in range(3):
        for axis in range(2):
            node = frame.node(f"{level}{axis}", 6.0 * axis, 3.5 * level, "fixed" if level == 0 else None)
            if level:
                frame.mass(node, 20e3)
                frame.load(node, fy=-20e3 * 9.81)
                frame.member(f"c{node}", f"{level - 1}{axis}", node, column)
        if level:
            frame.member(f"b{level}", f"{level}0", f"{level}1", beam, device=True)
            frame.floor(f"F{level}", [f"{level}0", f"{level}1"])
    frame.member("d1", "00", "11", Brace(Bilinear(2e7, 60e3, 0.02)), device=True)
    return frame


@pytest.fixture(scope="session")
def frame():
    return small_frame()


@pytest.fixture(scope="session")
def begin(frame):
    return gravity(frame.compile())


@pytest.fixture(scope="session")
def quake(begin):
    time = np.arange(0.0, 2.0, 0.01)
    ground = 6.0 * np.sin(2.0 * np.pi * 1.5 * time) * np.sin(np.pi * time / 2.0)
    record = SimpleNamespace(acceleration=ground, dt=0.01, name="invented sine")
    return time_history(begin.system, record, begin.state, damping=Rayleigh(0.03, (1, 2)))


@pytest.fixture(scope="session")
def pushed(begin):
    return push(begin.system, begin.state, "triangular", node="20", target=0.1, steps=20)


@pytest.fixture(scope="session")
def shapes(begin):
    return modes(begin.system, begin.state, 2)
