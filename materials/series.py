"""Laws in a row: the same force, deformations added.

For two laws the deformation x of the first solves r(x) = F₁(x) − F₂(u − x) = 0 by Newton's iteration inside a
bracket. Rates are split by the trapezoidal rule, v₁ = 2·Δx/Δt − v₁⁰ and v₂ = v − v₁, which makes the row of a
spring and a damper second-order accurate. With Aᵢ = kᵢ + 2cᵢ/Δt the tangents are dF/du = A₁k₂/(A₁ + A₂),
dF/dv = A₁c₂/(A₁ + A₂). Three or more laws are a row of the first and the row of the rest.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.kernels import NOT_CONVERGED, OK, at, call_law, law_kernel
from frame2d.materials.law import Law
from frame2d.materials.parallel import laws_of

#: Memory before the inner memories: x, v₁, and what the two inner kernels return.
_HEAD = 10


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Find the share of the first law."""
    first, first_own, second, second_own, second_memory, scale = p[0], p[1], p[2], p[3], p[4], p[5]
    x0 = m0[0]
    a, b = at(m1, 2), at(m1, 6)
    doubled = 2.0 / dt if dt > 0.0 else 0.0
    x = x0
    v1 = 0.0
    low = high = reach = width = 0.0
    has_low = has_high = False
    for i in range(200):
        v1 = doubled * (x - x0) - m0[1] if dt > 0.0 else 0.0
        status = call_law(first, at(p, first_own), at(m0, _HEAD), x, v1, dt, a, at(m1, _HEAD))
        if status != OK:
            return status
        rest = v - v1 if dt > 0.0 else 0.0
        status = call_law(
            second, at(p, second_own), at(m0, second_memory), u - x, rest, dt, b, at(m1, second_memory)
        )
        if status != OK:
            return status
        residual = a[0] - b[0]
        slope = a[1] + b[1] + doubled * (a[2] + b[2])
        rounding = 2e-15 * max(scale, slope) * (abs(x) + abs(u)) + 1e-300 * scale
        if abs(residual) <= 1e-13 * (abs(a[0]) + abs(b[0])) + rounding:
            break
        if residual > 0.0:
            high, has_high = x, True
        else:
            low, has_low = x, True
        step = -residual / slope if slope > 0.0 else -residual / scale
        if has_low and has_high:
            if abs(high - low) <= 4e-16 * (abs(low) + abs(high)):
                break
            # Newton alone may creep along one side of a kink, therefore every third step halves the bracket.
            inside = min(low, high) < x + step < max(low, high)
            if not inside or (i % 3 == 0 and abs(high - low) > 0.5 * width):
                x = 0.5 * (low + high)
            else:
                x += step
            if i % 3 == 0:
                width = abs(high - low)
        else:
            reach = max(2.0 * reach, 2.0 * abs(residual) / scale, 1e-12 * (abs(x) + abs(u)))
            x += max(-reach, min(reach, step))
    else:
        return NOT_CONVERGED
    m1[0], m1[1] = x, v1
    A1 = a[1] + doubled * a[2]
    total = A1 + b[1] + doubled * b[2]
    share = A1 / total if total != 0.0 else 0.0
    out[0] = a[0]
    out[1] = share * b[1]
    out[2] = share * b[2]
    out[3] = a[3] + b[3]
    return OK


@dataclass(frozen=True)
class Series(Law):
    """Two or more `laws`, nested as deeply as you like, that carry one force.

    Where a softening law loses force faster than its neighbours can follow, no continuous answer exists: the
    kernel then finds another point of equilibrium or reports that it has none.
    """

    laws: tuple[Law, ...]

    kernel = kernel
    recoverable = "the sum over the laws"

    def __post_init__(self) -> None:
        object.__setattr__(self, "laws", laws_of("Series.laws", self.laws, 2))

    def _pair(self) -> tuple[Law, Law]:
        first, *rest = self.laws
        return first, rest[0] if len(rest) == 1 else Series(tuple(rest))

    def parameters(self) -> np.ndarray:
        """Address and offset of the first, these and memory of the second, a stiffness, their parameters."""
        first, second = self._pair()
        return self._table(first.parameters(), second.parameters())

    def lean_parameters(self) -> np.ndarray:
        first, second = self._pair()
        return self._table(first.lean_parameters(), second.lean_parameters())

    def _table(self, one: np.ndarray, two: np.ndarray) -> np.ndarray:
        first, second = self._pair()
        memory = _HEAD + first.initial_memory().size
        scale = first.stiffness + second.stiffness
        head = [
            first.kernel.address,
            6,
            second.kernel.address,
            6 + one.size,
            memory,
            scale if scale > 0.0 else 1.0,
        ]
        return np.concatenate([np.array(head, dtype=np.float64), one, two])

    def initial_memory(self) -> np.ndarray:
        """Share and rate of the first law, scratch, then the memories of both."""
        first, second = self._pair()
        return np.concatenate([np.zeros(_HEAD), first.initial_memory(), second.initial_memory()])

    def memories(self, memory: np.ndarray) -> tuple[np.ndarray, ...]:
        """Views of the memory of each law in the memory of the whole."""
        first, second = self._pair()
        middle = _HEAD + first.initial_memory().size
        rest = memory[middle:]
        return memory[_HEAD:middle], *(second.memories(rest) if len(self.laws) > 2 else (rest,))  # type: ignore[attr-defined]

    @property
    def stiffness(self) -> float:
        # A damper alone in the row leaves no stiffness at rest; the softest spring is then what a fast step
        # meets.
        springs = [law.stiffness for law in self.laws if law.stiffness > 0.0]
        return 1.0 / sum(1.0 / k for k in springs) if springs else 0.0

    @classmethod
    def example(cls) -> "Series":
        from frame2d.materials.bilinear import Bilinear
        from frame2d.materials.elastic import Elastic

        return cls(laws=(Elastic(k=3e7), Bilinear(k=1e7, Fy=1e5, b=0.05)))
