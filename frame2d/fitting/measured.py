"""What a fit can be made to: cyclic tests and vibration tests, each with its simulation, target and scales."""

import hashlib

import numpy as np

from frame2d.component_tests import CyclicTest
from frame2d.fitting.oscillator import OscillatorTest
from frame2d.fitting.problem import Simulation
from frame2d.fitting.scales import Scales, Side, scales_of
from frame2d.fitting.scores import Target
from frame2d.fitting.simulate import Driven

AnyTest = CyclicTest | OscillatorTest


def simulation_of(test: AnyTest) -> Simulation:
    """What computes the measured history for a law."""
    return test if isinstance(test, OscillatorTest) else Driven(test)


def target_of(test: AnyTest) -> Target:
    """The measured history and what its errors are divided by."""
    if isinstance(test, OscillatorTest):
        return Target(test.name, None, test.displacement, "m", "displacement")
    return Target(test.name, test.deformation, test.force, test.units[1])


def common_scales(tests: tuple[AnyTest, ...]) -> Scales:
    """Scales of the cyclic tests; of vibration tests alone, stiffness from the resonance (own rule)."""
    cyclic = [test for test in tests if isinstance(test, CyclicTest)]
    if cyclic:
        return scales_of(cyclic)
    vibration = next(test for test in tests if isinstance(test, OscillatorTest))
    omega = 2.0 * np.pi * vibration.resonance
    U = float(np.max(np.abs(vibration.displacement)))
    K = vibration.mass * omega**2
    side = Side(K, 0.5 * K * U, U)
    return Scales(side, side, omega * U)


def checksum(test: AnyTest) -> str:
    """SHA-256 of the histories as they were fitted: little-endian doubles, one history after the other."""
    if isinstance(test, OscillatorTest):
        histories = [test.excitation, test.displacement]
    else:
        histories = [test.deformation, test.force] + ([] if test.time is None else [test.time])
    digest = hashlib.sha256()
    for values in histories:
        digest.update(np.ascontiguousarray(values, dtype="<f8").tobytes())
    return digest.hexdigest()
