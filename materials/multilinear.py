"""Multilinear law: any concave backbone, different on either side, by parallel elastoplastic elements.

Element i has stiffness κᵢ, is elastic within [−yᵢ⁻, yᵢ⁺] of its own deformation and slips beyond:

    F = k∞·u + Σ κᵢ·eᵢ,    eᵢ = u − slipᵢ ∈ [−yᵢ⁻, yᵢ⁺]

Every drop of slope of the backbone is the κ of the elements that yield there. Which drop on one side belongs
to which on the other is decided in order: what yields first in tension yields first in compression (own rule;
for a symmetric backbone it is the only one). Both virgin branches are then exact, kinematic hardening
follows, and every closed cycle dissipates. Sources: Besseling, A theory of elastic, plastic, and creep
deformations of an initially isotropic material, 1958; Iwan, A distributed-element model for hysteresis and
its steady-state dynamic response, 1966 (from memory).

Elements in parallel cannot soften: slopes must not rise, nor fall below 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, finite, positive, within
from frame2d.kernels import OK, law_kernel
from frame2d.materials.law import Law

Points = Sequence[tuple[float, float]]


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Sum over the elements, each elastic or slipping."""
    count = int(p[0])
    F, tangent = p[1] * u, p[1]
    energy = 0.5 * p[1] * u * u
    for i in range(count):
        stiffness, upper, lower = p[2 + 3 * i], p[3 + 3 * i], -p[4 + 3 * i]
        slip = m0[i]
        e = u - slip
        if e > upper:
            e = upper
            slip = u - e
        elif e < lower:
            e = lower
            slip = u - e
        else:
            tangent += stiffness
        F += stiffness * e
        energy += 0.5 * stiffness * e * e
        m1[i] = slip
    out[0] = F
    out[1] = tangent
    out[2] = 0.0
    out[3] = energy
    return OK


@dataclass(frozen=True)
class Multilinear(Law):
    """Backbone through 2 to 10 points (deformation, force) a side, outwards; the last slope goes on.

    `negative` holds the points of the other side, with negative numbers; left out, the law is symmetric. Both
    sides start with the same slope. Raises `InputError`, also for backbones that stiffen or soften.
    """

    positive: tuple[tuple[float, float], ...]
    negative: tuple[tuple[float, float], ...] | None = None

    kernel = kernel
    recoverable = "½k∞u² + Σ½κᵢeᵢ², the energy of the springs of all elements"

    @classmethod
    def trilinear(cls, k: float, F1: float, F2: float, b1: float, b2: float = 0.0) -> "Multilinear":
        """Symmetric law of slope `k` to force `F1`, `b1`·k to `F2` and `b2`·k beyond."""
        positive("Multilinear.trilinear k", k)
        positive("Multilinear.trilinear F1", F1)
        within(
            "Multilinear.trilinear F2",
            F2,
            F1,
            np.inf,
            open_low=True,
            hint="F2 is the second, larger yield force",
        )
        within("Multilinear.trilinear b1", b1, 0.0, 1.0, open_low=True, hint="b1 is a ratio of stiffnesses")
        within("Multilinear.trilinear b2", b2, 0.0, b1, hint="slopes must not rise")
        u1 = F1 / k
        u2 = u1 + (F2 - F1) / (b1 * k)
        return cls(((u1, F1), (u2, F2), (2.0 * u2, F2 + b2 * k * u2)))

    def __post_init__(self) -> None:
        object.__setattr__(self, "positive", _points("Multilinear.positive", self.positive, 1.0))
        if self.negative is not None:
            object.__setattr__(self, "negative", _points("Multilinear.negative", self.negative, -1.0))
        up, down = self._slopes
        if abs(up[0] - down[0]) > 1e-9 * up[0]:
            raise InputError(
                f"Multilinear.negative starts with slope {down[0]:g}; allowed: {up[0]:g}, the slope on which "
                "Multilinear.positive starts. Likely mistake: points of another device, or wrong units"
            )

    @property
    def _sides(self) -> tuple[np.ndarray, np.ndarray]:
        up = np.array(self.positive)
        return up, up if self.negative is None else -np.array(self.negative)

    @property
    def _slopes(self) -> tuple[np.ndarray, np.ndarray]:
        up, down = (np.diff(side, axis=0, prepend=0.0) for side in self._sides)
        return up[:, 1] / up[:, 0], down[:, 1] / down[:, 0]

    @property
    def _elements(self) -> list[tuple[float, float, float]]:
        """κ, y⁺ and y⁻ of every element: the drops of slope of both sides, paired in order."""
        sides = zip(self._sides, self._slopes, strict=True)
        up, down = (
            [[-d, y] for d, y in zip(np.diff(slope), side[:, 0], strict=False)] for side, slope in sides
        )
        elements = []
        least = 1e-12 * self.stiffness
        while up or down:
            drop_up, yield_up = up[0] if up else (np.inf, np.inf)
            drop_down, yield_down = down[0] if down else (np.inf, np.inf)
            drop = min(drop_up, drop_down)
            if drop > least:
                elements.append((float(drop), min(float(yield_up), 1e300), min(float(yield_down), 1e300)))
            for drops in (up, down):
                if drops:
                    drops[0][0] -= drop
                    if drops[0][0] <= least:
                        drops.pop(0)
        return elements

    def parameters(self) -> np.ndarray:
        """Number of elements, k∞, then κ, y⁺ and y⁻ of each."""
        elements = self._elements
        rest = max(self.stiffness - sum(element[0] for element in elements), 0.0)
        return np.array([float(len(elements)), rest, *(number for element in elements for number in element)])

    def initial_memory(self) -> np.ndarray:
        """Slip of every element."""
        return np.zeros(len(self._elements))

    @property
    def stiffness(self) -> float:
        return float(self._slopes[0][0])

    @classmethod
    def example(cls) -> "Multilinear":
        tension = ((0.01, 1e5), (0.03, 1.6e5), (0.06, 1.9e5), (0.1, 2.0e5))
        return cls(tension, negative=((-0.008, -0.8e5), (-0.02, -1.1e5), (-0.05, -1.1e5)))


def _points(thing: str, points: Any, sign: float) -> tuple[tuple[float, float], ...]:
    """The points as floats, checked: `sign` is that of their side."""
    try:
        clean = tuple((finite(thing, u), finite(thing, F)) for u, F in points)
    except (TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{thing} is {points!r}; allowed: pairs (deformation, force)") from None
    if not 2 <= len(clean) <= 10:
        raise InputError(
            f"{thing} has {len(clean)} points; allowed: 2 to 10. Likely mistake: the origin was counted"
        )
    steps = sign * np.diff(np.array(clean), axis=0, prepend=0.0)
    if not np.all(steps[:, 0] > 0.0) or not steps[0, 1] > 0.0:
        raise InputError(
            f"{thing} is {clean!r}; allowed: points that lead away from the origin, on the side of this sign"
        )
    slopes = steps[:, 1] / steps[:, 0]
    falls = np.diff(slopes)
    if np.any(slopes < -1e-12 * slopes[0]):
        raise InputError(
            f"{thing} softens, with slopes {slopes}; allowed: slopes of 0 and above. Use a deteriorating law"
        )
    if np.any(falls > 1e-12 * slopes[0]):
        raise InputError(
            f"{thing} stiffens, with slopes {slopes}; allowed: slopes that do not rise. Use a law with a gap"
        )
    return clean
