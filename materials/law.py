"""What a law is: the duties of everything that turns one deformation into one force."""

from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np

from frame2d.errors import within
from frame2d.kernels import Kernel


@dataclass(frozen=True)
class Law:
    """A force-deformation law: a frozen dataclass of named, validated parameters and one compiled kernel.

    To add a law, derive a frozen dataclass from `Law` in a file of its own, list it in ``materials/__init__.py``
    (or call `register` from a script), and give it:

    1. Fields: the parameters, in SI units, validated once in ``__post_init__`` (errors of `frame2d.errors`).
    2. ``kernel``: a function ``status = kernel(p, m0, u, v, dt, out, m1)`` decorated with `law_kernel`, where
       ``p`` are the numbers of `parameters`, ``m0`` the committed memory, ``u`` the trial deformation, ``v`` its
       rate, ``dt`` the step (0 in static analyses). It writes ``out[0]`` force, ``out[1]`` tangent dF/du,
       ``out[2]`` dF/dv, ``out[3]`` recoverable energy, and the trial memory into all of ``m1``. It must be pure:
       no globals but numbers and other compiled functions, no allocation, no exceptions, ``m0`` never written.
       Return `OK`, or another status of `frame2d.kernels` when there is no answer.
    3. `parameters` and `initial_memory`: the arrays that the kernel indexes.
    4. `stiffness`: the largest elastic stiffness at the start, positive (0 for a pure damper).
    5. ``recoverable``: one sentence that defines the recoverable part of the internal work.
    6. `example`: a typical instance, by which the property tests find the law.
    7. For rate equations only: ``rate``, a second kernel ``status = rate(p, s, u, v, dt, out, sdot)`` in which ``s``
       are the law's ``states`` (the first entries of its memory). It writes ṡ = g(u, v, s), ``out[0]`` force,
       ``out[1]`` dF/du at fixed s, ``out[2]`` dF/dv, ``out[3]`` recoverable energy and ``out[4 + i]`` dF/ds_i.

    Every law that is listed passes the same property tests (``tests/materials/test_every_law.py``).
    """

    kernel: ClassVar[Kernel]
    recoverable: ClassVar[str] = "F²/(2k), the work returned on elastic unloading"
    #: Whether a closed cycle may only dissipate (false for nothing that is listed here).
    passive: ClassVar[bool] = True
    #: Rate form of a law that is a differential equation (duty 7); None for all others.
    rate: ClassVar[Kernel | None] = None
    #: Number of states of the rate form: they stand first in the memory.
    states: ClassVar[int] = 0

    def parameters(self) -> np.ndarray:
        """Numbers that the kernel reads, in its own order."""
        return np.array([float(getattr(self, field.name)) for field in fields(self)])

    def lean_parameters(self) -> np.ndarray:
        """The same for loops that never ask for the energy: where that saves time, ``out[3]`` may then be anything."""
        return self.parameters()

    def initial_memory(self) -> np.ndarray:
        """Memory of the virgin device."""
        return np.zeros(0)

    @property
    def stiffness(self) -> float:
        """Largest elastic stiffness at the start, N/m or N·m/rad."""
        raise NotImplementedError

    @classmethod
    def example(cls) -> "Law":
        """A typical instance, used by the tests and the manual."""
        raise NotImplementedError

    def describe(self) -> dict[str, Any]:
        """Name and parameters as plain data, from which `frame2d.materials.build` makes the law again."""
        described: dict[str, Any] = {"law": type(self).__name__}
        for field in fields(self):
            described[field.name] = _plain(getattr(self, field.name))
        return described


def stiffness_ratio(thing: str, value: float) -> float:
    """Return a post-yield ratio in [0, 1), or raise `InputError` naming `thing`."""
    hint = "it is a ratio of stiffnesses, not a stiffness"
    return within(thing, value, 0.0, 1.0, open_high=True, hint=hint)


def _plain(value: Any) -> Any:
    if isinstance(value, Law):
        return value.describe()
    if isinstance(value, tuple | list):
        return [_plain(entry) for entry in value]
    return value
