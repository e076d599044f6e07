"""Many arrays as one argument of compiled code.

A tuple of arrays is taken apart at every call from Python, 0.12 µs an array: for the 150 of a frame a fifth of a step's
time. A box holds the tuple on the compiled side; `opened` gives it back at the cost of a reference.
"""

from typing import Any

from frame2d.kernels import PLAIN, compiled

if PLAIN:

    def boxed(value: Any) -> Any:
        """`value` itself: compilation is switched off."""
        return value

    def opened(box: Any) -> Any:
        """What was boxed."""
        return box

else:
    from numba import types
    from numba.experimental import structref

    @structref.register
    class BoxType(types.StructRef):
        """Compiled type of a box."""

    class Box(structref.StructRefProxy):
        """Python's handle of a box."""

    structref.define_proxy(Box, BoxType, ["value"])

    @compiled
    def boxed(value):  # type: ignore[no-untyped-def]
        """A box around `value`."""
        return Box(value)

    @compiled
    def opened(box):  # type: ignore[no-untyped-def]
        """What was boxed."""
        return box.value


__all__ = ["boxed", "opened"]
