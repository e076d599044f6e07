"""Pinched law on an unsymmetric two-point backbone, without deterioration.

Elastic to the yield point, then straight through the second point and on. Unloading at the elastic stiffness
of the side being left. From the deformation ur at zero force the path goes to the break point ((1 − kd)·ur,
kf·F*), then to the target (u*, F*), the largest excursion so far on the side entered or its yield point, then
along the backbone. No part is steeper than the elastic stiffness of its side; without break point if ur lies
on the side entered.

Source: after the pinching rule of Ibarra, Medina & Krawinkler 2005 (from memory); kernel of
`frame2d.materials.deterioration`.
"""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import InputError, finite, within
from frame2d.materials.deterioration import _MEMORY, _MSIDE, _PATH, _PINCHING, NEVER, kernel, side_memory
from frame2d.materials.law import Law


@dataclass(frozen=True)
class Pinched(Law):
    """Backbone points ((u, F), (u, F)) on either side, break point by `kf` and `kd` in [0, 1].

    The negative points are written with their signs; the second slope is at least 0 and less than the first.
    """

    positive: tuple[tuple[float, float], tuple[float, float]]
    negative: tuple[tuple[float, float], tuple[float, float]]
    kf: float = 0.3
    kd: float = 0.4

    kernel = kernel
    recoverable = "F²/(2k), k the elastic stiffness of the side of F"

    def __post_init__(self) -> None:
        for side, sign in (("positive", 1.0), ("negative", -1.0)):
            thing = f"Pinched.{side}"
            try:
                points = tuple((finite(thing, u), finite(thing, F)) for u, F in getattr(self, side))
                (u1, F1), (u2, F2) = points
            except (TypeError, ValueError) as error:
                if isinstance(error, InputError):
                    raise
                raise InputError(
                    f"{thing} is {getattr(self, side)!r}; allowed: two points ((u, F), (u, F))"
                ) from None
            good = (
                0.0 < sign * u1 < sign * u2
                and 0.0 < sign * F1 <= sign * F2
                and (F2 - F1) / (u2 - u1) < F1 / u1
            )
            if not good:
                raise InputError(
                    f"{thing} is {points!r}; allowed: two points away from 0, second slope in [0, first)."
                    " Likely mistake: a lost minus sign, or the points in the wrong order"
                )
            object.__setattr__(self, side, points)
        within("Pinched.kf", self.kf, 0.0, 1.0, hint="it is a share of the force at the target")
        within("Pinched.kd", self.kd, 0.0, 1.0, hint="it is a share of the residual deformation")

    def _blocks(self) -> tuple[list[float], list[float]]:
        blocks = []
        for (u1, F1), (u2, F2) in (self.positive, self.negative):
            blocks.append([F1 / u1, abs(F1), (F2 - F1) / (u2 - u1), NEVER, 0.0, 0.0, NEVER, 0.0])
        return blocks[0], blocks[1]

    def parameters(self) -> np.ndarray:
        """Those of the deteriorating pinching law with every mode switched off."""
        plus, minus = self._blocks()
        return np.array([_PINCHING, self.kf, self.kd, 1.0, 0.0, 0.0, 0.0, 0.0, *plus, *minus])

    def initial_memory(self) -> np.ndarray:
        """Virgin sides, no path."""
        plus, minus = self._blocks()
        memory = np.zeros(_MEMORY)
        memory[5] = 1.0
        memory[_MSIDE:_PATH] = [*side_memory(plus), *side_memory(minus)]
        return memory

    @property
    def stiffness(self) -> float:
        return max(self._blocks()[0][0], self._blocks()[1][0])

    @classmethod
    def example(cls) -> "Pinched":
        return cls(positive=((0.01, 100e3), (0.04, 130e3)), negative=((-0.015, -90e3), (-0.05, -110e3)))
