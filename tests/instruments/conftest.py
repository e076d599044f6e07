"""One invented portal, its instruments and one virtual test, shared by the tests of this room."""

import numpy as np
import pytest

from examples.strain_gauges import CLOCKS, SAME, instruments, portal, virtual_test
from frame2d.instruments import reduce, synchronise, virtual_recordings


@pytest.fixture(scope="session")
def frame():
    return portal()


@pytest.fixture(scope="session")
def sensors(frame):
    return instruments(frame)


@pytest.fixture(scope="session")
def response():
    return virtual_test()


@pytest.fixture(scope="session")
def clock(response):
    """Time of each step, s."""
    return 0.1 * np.arange(response.time.size)


@pytest.fixture(scope="session")
def recordings(sensors, response, clock):
    return virtual_recordings(sensors, response, 1, CLOCKS, time=clock)


@pytest.fixture(scope="session")
def readings(sensors, recordings):
    return synchronise(sensors, recordings, same=SAME)


@pytest.fixture(scope="session")
def quantities(sensors, readings):
    return reduce(sensors, readings)
