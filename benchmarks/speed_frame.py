"""The speed frame: 6 storeys × 3.5 m, 2 bays × 6 m, P-Delta columns, a Bouc-Wen hinge at each beam end.

Any number of storeys and bays on request. The motion is seeded white noise, band-passed 0.3-8 Hz (2nd-order Butterworth,
both in scipy.signal), under a trapezoidal envelope (2 s rise, 5 s decay), peak 0.5 g; 20 s at 0.005 s.
"""

import hashlib
from typing import NamedTuple

import numpy as np
from scipy.signal import butter, sosfilt

from frame2d import BeamColumn, Frame
from frame2d.materials import BoucWen

E = 210e9
G = 9.81
STOREY, BAY, NODE_MASS = 3.5, 6.0, 40e3


class Motion(NamedTuple):
    """Ground acceleration (m/s²) and its step (s)."""

    acceleration: np.ndarray
    dt: float
    name: str = "seeded noise"


def motion(seed: int = 20, dt: float = 0.005, duration: float = 20.0, peak: float = 0.5 * G) -> Motion:
    """The seeded motion of the recipe above."""
    count = round(duration / dt) + 1
    noise = np.random.default_rng(seed).normal(size=count)
    filtered = sosfilt(butter(2, [0.3, 8.0], "band", fs=1.0 / dt, output="sos"), noise)
    time = dt * np.arange(count)
    shaped = filtered * np.clip(np.minimum(time / 2.0, (duration - time) / 5.0), 0.0, 1.0)
    return Motion(peak * shaped / np.abs(shaped).max(), dt)


def checksum(record: Motion) -> str:
    """First 16 digits of the SHA-256 of the motion rounded to 1e-9 m/s² (stable between machines)."""
    return hashlib.sha256(np.round(record.acceleration, 9).astype("<f8").tobytes()).hexdigest()[:16]


def frame(storeys: int = 6, bays: int = 2) -> Frame:
    """The frame with its masses and weights."""
    built = Frame(f"speed frame {storeys} x {bays}")
    column = BeamColumn(E, A=0.0149, I=2.517e-4, geometry="p-delta")
    hinge = BoucWen(k=50.0 * 6.0 * E * 2.313e-4 / BAY, Fy=450e3, a=0.0006, n=2.0, beta=0.5)
    beam = BeamColumn(E, A=0.00848, I=2.313e-4, start=hinge, end=hinge)
    for level in range(storeys + 1):
        for axis in range(bays + 1):
            name = f"{level}.{axis}"
            built.node(name, BAY * axis, STOREY * level, "fixed" if level == 0 else None)
            if level:
                built.mass(name, NODE_MASS)
                built.load(name, fy=-NODE_MASS * G)
                built.member(f"column {name}", f"{level - 1}.{axis}", name, column)
        if level:
            for axis in range(bays):
                built.member(f"beam {level}.{axis}", f"{level}.{axis}", f"{level}.{axis + 1}", beam)
            built.floor(f"floor {level}", [f"{level}.{axis}" for axis in range(bays + 1)], tied=False)
    return built
