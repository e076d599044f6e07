"""Laws side by side: the same deformation, forces added."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from frame2d.errors import InputError
from frame2d.kernels import OK, at, call_law, law_kernel
from frame2d.materials.law import Law

#: Entries of the memory that hold what the inner kernels return.
_SCRATCH = 4


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Call each law by its address and add what it returns."""
    out[0] = out[1] = out[2] = out[3] = 0.0
    for i in range(int(p[0])):
        address, own, memory = p[1 + 3 * i], p[2 + 3 * i], p[3 + 3 * i]
        status = call_law(address, at(p, own), at(m0, memory), u, v, dt, at(m1, 0), at(m1, memory))
        if status != OK:
            return status
        for j in range(4):
            out[j] += m1[j]
    return OK


@dataclass(frozen=True)
class Parallel(Law):
    """Any number of `laws`, nested as deeply as you like, that share one deformation."""

    laws: tuple[Law, ...]

    kernel = kernel
    recoverable = "the sum over the laws"

    def __post_init__(self) -> None:
        object.__setattr__(self, "laws", laws_of("Parallel.laws", self.laws, 1))

    def parameters(self) -> np.ndarray:
        """Number of laws; address, offset of parameters and of memory of each; their parameters."""
        return self._table([law.parameters() for law in self.laws])

    def lean_parameters(self) -> np.ndarray:
        return self._table([law.lean_parameters() for law in self.laws])

    def _table(self, own: list[np.ndarray]) -> np.ndarray:
        table = [float(len(self.laws))]
        start, memory = 1 + 3 * len(self.laws), _SCRATCH
        for law, numbers in zip(self.laws, own, strict=True):
            table += [float(law.kernel.address), float(start), float(memory)]
            start += numbers.size
            memory += law.initial_memory().size
        return np.concatenate([table, *own])

    def initial_memory(self) -> np.ndarray:
        """Scratch, then the memory of each law."""
        return np.concatenate([np.zeros(_SCRATCH), *[law.initial_memory() for law in self.laws]])

    def memories(self, memory: np.ndarray) -> tuple[np.ndarray, ...]:
        """Views of the memory of each law in the memory of the whole."""
        ends = _SCRATCH + np.cumsum([0, *[law.initial_memory().size for law in self.laws]])
        return tuple(memory[a:b] for a, b in pairwise(ends))

    @property
    def stiffness(self) -> float:
        return sum(law.stiffness for law in self.laws)

    @classmethod
    def example(cls) -> "Parallel":
        from frame2d.materials.bilinear import Bilinear
        from frame2d.materials.viscous_damper import ViscousDamper

        return cls(laws=(Bilinear(k=1e7, Fy=1e5, b=0.05), ViscousDamper(c=2e5)))


def laws_of(thing: str, laws: Any, least: int) -> tuple[Law, ...]:
    """Return `laws` as a tuple of at least `least` laws, or raise `InputError` naming `thing`."""
    try:
        listed = tuple(laws)
    except TypeError:
        listed = (laws,)
    if len(listed) < least or not all(isinstance(law, Law) for law in listed):
        raise InputError(
            f"{thing} is {laws!r}; allowed: a sequence of at least {least} laws."
            " Likely mistake: numbers in place of a law"
        )
    return listed
