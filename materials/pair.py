"""Kernels of two deformations and two forces, handed around by address as those of scalar laws are.

    status = pair(p, m0, d, out, m1)

`p` parameters, `m0` committed memory, `d` the two trial deformations; `out` receives the two forces, the
tangent k11, k12, k21, k22 and the recoverable energy (7 numbers), `m1` the trial memory. Rules as for the
kernel of a `Law`.
"""

from collections.abc import Callable
from typing import Any

from numba import types
from numba.extending import intrinsic

from frame2d import kernels
from frame2d.kernels import Kernel

_pointer = types.CPointer(types.float64)
#: status = pair(p, m0, d, out, m1)
PAIR = types.int64(_pointer, _pointer, _pointer, _pointer, _pointer)


def pair_kernel(function: Callable[..., int]) -> Kernel:
    """Make a kernel of ``function(p, m0, d, out, m1) -> status``."""
    return Kernel(function, PAIR)


if kernels.PLAIN:

    def call_pair(address: float, p: Any, m0: Any, d: Any, out: Any, m1: Any) -> int:
        """Call the pair kernel at `address`."""
        return kernels._plain_kernels[int(address)](p, m0, d, out, m1)

else:
    _call_pair = kernels._calling(PAIR)

    @intrinsic
    def call_pair(typingctx, address, p, m0, d, out, m1):  # type: ignore[no-untyped-def]
        """Call the pair kernel at `address` (an integer, or a float that holds one)."""
        return _call_pair(typingctx, address, p, m0, d, out, m1)
