"""A loading protocol: amplitudes and numbers of cycles, and the deformation history through them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from frame2d.errors import InputError, known, positive


class Step(NamedTuple):
    """`cycles` full cycles to `up` (positive side) and `down` (negative side), both magnitudes, m or rad."""

    up: float
    down: float
    cycles: int


class ProtocolHistory(NamedTuple):
    """Deformation (m or rad), time (s, None when made by steps), and the samples of the reversals."""

    deformation: np.ndarray
    time: np.ndarray | None
    turns: np.ndarray


@dataclass(frozen=True)
class Protocol:
    """Steps of full cycles, 0 → up → −down → 0; `source` says where the amplitudes come from."""

    name: str
    steps: tuple[Step, ...]
    source: str

    def __post_init__(self) -> None:
        if not self.steps:
            raise InputError(f"protocol {self.name} has no step; allowed: one or more")
        for number, step in enumerate(self.steps, 1):
            positive(f"protocol {self.name}: amplitude of step {number}", step.up)
            positive(
                f"protocol {self.name}: negative amplitude of step {number}",
                step.down,
                hint="give a magnitude",
            )
            if step.cycles < 1 or int(step.cycles) != step.cycles:
                raise InputError(
                    f"protocol {self.name}: step {number} has {step.cycles} cycles; allowed: 1, 2, 3 …"
                )

    @property
    def amplitudes(self) -> np.ndarray:
        """Positive amplitude of every cycle in order."""
        return np.array([step.up for step in self.steps for _ in range(step.cycles)])

    @property
    def cycles(self) -> int:
        """Number of full cycles."""
        return sum(step.cycles for step in self.steps)

    @property
    def travel(self) -> float:
        """Total path of the deformation, Σ 2(up + down) over the cycles."""
        return sum(2.0 * (step.up + step.down) * step.cycles for step in self.steps)

    @property
    def largest(self) -> float:
        """Largest amplitude on either side."""
        return max(max(step.up, step.down) for step in self.steps)

    def turning_points(self, first: int = 1) -> np.ndarray:
        """Deformation at start, reversals and end: 0, up, −down, up, … 0; `first` −1 starts down."""
        known("first", first, (1, -1))
        points = [0.0]
        for step in self.steps:
            points += [step.up, -step.down][::first] * step.cycles
        return np.array([*points, 0.0])

    def by_rate(self, rate: float, dt: float, *, first: int = 1) -> ProtocolHistory:
        """Straight legs sampled every `dt` (s), never faster than `rate` (m/s, rad/s); each reversal is hit.

        The rate is a little lower where a leg is no whole number of samples. Raises `InputError`.
        """
        positive("rate", rate)
        positive("dt", dt)
        points = self.turning_points(first)
        counts = np.maximum(1, np.ceil(np.abs(np.diff(points)) / (rate * dt) * (1.0 - 1e-12))).astype(
            np.int64
        )
        history, turns = _legs(points, counts, "straight")
        return ProtocolHistory(history, np.arange(history.size) * dt, turns)

    def by_steps(self, steps_per_cycle: int, *, shape: str = "straight", first: int = 1) -> ProtocolHistory:
        """Full cycles of `steps_per_cycle` steps (a multiple of 4), on "straight" or "sine" legs; no time.

        Raises `InputError`.
        """
        if steps_per_cycle < 4 or steps_per_cycle % 4:
            raise InputError(
                f"steps_per_cycle is {steps_per_cycle}; allowed: a multiple of 4, which reaches both peaks"
            )
        known("shape", shape, ("straight", "sine"))
        points = self.turning_points(first)
        counts = np.full(points.size - 1, steps_per_cycle // 2)
        counts[[0, -1]] = steps_per_cycle // 4
        history, turns = _legs(points, counts, shape)
        return ProtocolHistory(history, None, turns)

    def __str__(self) -> str:
        rows = [f"{self.name}: {self.cycles} cycles, travel {self.travel:.6g}. {self.source}"]
        rows += [f"  {s.cycles} × +{s.up:.6g} / −{s.down:.6g}" for s in self.steps]
        return "\n".join(rows)


def _legs(points: np.ndarray, counts: np.ndarray, shape: str) -> tuple[np.ndarray, np.ndarray]:
    """Join the points by legs of the given numbers of steps; history and samples of the points."""
    parts = [points[:1]]
    last = points.size - 2
    for i, count in enumerate(counts):
        s = np.arange(1, count + 1) / count
        if shape == "sine":  # quarter waves at both ends, half waves between reversals
            quarter = np.sin(0.5 * np.pi * s), 1.0 - np.cos(0.5 * np.pi * s)
            s = quarter[0] if i == 0 else quarter[1] if i == last else 0.5 * (1.0 - np.cos(np.pi * s))
        parts.append(points[i] + (points[i + 1] - points[i]) * s)
    return np.concatenate(parts), np.concatenate([[0], np.cumsum(counts)])


def steps_of(amplitudes: Sequence[float], cycles: Sequence[int]) -> tuple[Step, ...]:
    """Symmetric steps of matching amplitudes and numbers of cycles."""
    return tuple(Step(float(a), float(a), int(n)) for a, n in zip(amplitudes, cycles, strict=True))
