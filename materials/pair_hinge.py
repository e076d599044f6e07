"""What a hinge of two deformations and two forces is, and the registry of such hinges."""

from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np

from frame2d.errors import InputError, known
from frame2d.kernels import Kernel
from frame2d.materials.yield_surface import YieldSurface, build_surface


@dataclass(frozen=True)
class PairHinge:
    """A hinge of elongation (m) and rotation (rad) with axial force (N) and moment (N·m) at the end of a beam-column.

    To add one, derive a frozen dataclass from `PairHinge`, decorate it with `register_hinge`, and give it:

    1. Fields: the parameters, in SI units, validated once in ``__post_init__``; numbers, names or yield surfaces.
    2. ``kernel``: ``status = kernel(p, m0, d, out, m1)`` decorated with `frame2d.materials.pair.pair_kernel`; what it
       writes stands there. The tangent must be symmetric.
    3. `parameters` and `initial_memory`: the arrays that the kernel indexes; the second at least one number long.
    4. ``recoverable``: one sentence that defines the recoverable part of the internal work.
    5. `example`: a typical instance, by which the property tests find the hinge.
    """

    kernel: ClassVar[Kernel]
    recoverable: ClassVar[str] = "the work returned on elastic unloading"

    def parameters(self) -> np.ndarray:
        """Numbers that the kernel reads, in its own order."""
        return np.array([float(getattr(self, field.name)) for field in fields(self)])

    def initial_memory(self) -> np.ndarray:
        """Memory of the virgin hinge."""
        return np.zeros(1)

    @classmethod
    def example(cls) -> "PairHinge":
        """A typical instance, used by the tests."""
        raise NotImplementedError

    def describe(self) -> dict[str, Any]:
        """Name and parameters as plain data, from which `build_hinge` makes the hinge again."""
        described: dict[str, Any] = {"hinge": type(self).__name__}
        for field in fields(self):
            value = getattr(self, field.name)
            described[field.name] = value.describe() if isinstance(value, YieldSurface) else value
        return described


_registry: dict[str, type[PairHinge]] = {}


def register_hinge(hinge: type[PairHinge]) -> type[PairHinge]:
    """Add a hinge class to the registry (usable as a decorator); frames with it can then be saved and loaded."""
    _registry[hinge.__name__] = hinge
    return hinge


def registered_hinges() -> dict[str, type[PairHinge]]:
    """Every hinge of two deformations by name."""
    return dict(_registry)


def build_hinge(description: dict[str, Any]) -> PairHinge:
    """Make a hinge of what `PairHinge.describe` returned; raises `InputError` for unknown names and parameters."""
    values = dict(description)
    name = known("hinge", values.pop("hinge", None), _registry)
    try:
        for key, value in values.items():
            if isinstance(value, dict) and "surface" in value:
                values[key] = build_surface(value)
        return _registry[name](**values)
    except TypeError as error:
        raise InputError(f"hinge {name} does not take these parameters: {error}") from None


__all__ = ["PairHinge", "build_hinge", "register_hinge", "registered_hinges"]
