"""The velocity pulse of near-fault motion by Mavroeidis & Papageorgiou (2003).

    v(t) = A/2·[1 + cos(2πf_p/γ·(t − t₀))]·cos(2πf_p(t − t₀) + ν),   |t − t₀| ≤ γ/(2f_p),  γ > 1

A mathematical representation of near-fault ground motions, Bull. Seism. Soc. Am. 93 (formula checked against
"VelPulseMP03.m", github.com, 2026; velocity and acceleration are continuous, which the tests check).
"""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import finite, positive, within


@dataclass(frozen=True)
class Pulse:
    """A velocity pulse: amplitude `velocity` (m/s), `period` (s), `time` of its middle (s), `cycles` γ, `phase` ν (rad).

    With `phase` 0 the pulse is symmetric, with ±π/2 antisymmetric and without permanent displacement.
    """

    velocity: float
    period: float
    time: float
    cycles: float = 2.0
    phase: float = np.pi / 2.0

    def __post_init__(self) -> None:
        positive("velocity of the pulse", self.velocity, hint="in m/s; turn it with phase")
        within("period of the pulse", self.period, 0.1, 20.0, hint="in s")
        finite("time of the pulse", self.time)
        within("cycles of the pulse", self.cycles, 1.0, 5.0, open_low=True)
        finite("phase of the pulse", self.phase)

    def acceleration(self, t: np.ndarray) -> np.ndarray:
        """Ground acceleration of the pulse at times `t`, m/s²."""
        w, g = 2.0 * np.pi / self.period, self.cycles
        s = np.asarray(t, dtype=float) - self.time
        hull, wave = w * s / g, w * s + self.phase
        a = -0.5 * self.velocity * w * (np.sin(hull) * np.cos(wave) / g + (1.0 + np.cos(hull)) * np.sin(wave))
        return np.where(np.abs(s) <= 0.5 * g * self.period, a, 0.0)
