"""Arrays without a reference count, and functions merged into their caller, for the loops at the controller's rate.

A tuple of thirty arrays costs an atomic count at every access, several hundred nanoseconds a controller step. The
outermost function keeps the arrays alive; inside it works on borrowed ones.
"""

from typing import Any

import numpy as np
from numba import njit, types
from numba.core import cgutils
from numba.extending import intrinsic

from frame2d.kernels import FAST, PLAIN

if PLAIN:

    def borrowed(array: np.ndarray) -> np.ndarray:
        """`array` itself: compilation is switched off."""
        return array

    def merged(function: Any) -> Any:
        """`function` itself: compilation is switched off."""
        return function

else:

    @intrinsic
    def borrowed(typingctx, array):  # type: ignore[no-untyped-def]
        """`array` as a view that is not counted; valid while the caller holds the array."""

        def generate(context, builder, sig, arguments):  # type: ignore[no-untyped-def]
            source = cgutils.create_struct_proxy(sig.args[0])(context, builder, value=arguments[0])
            source.meminfo = cgutils.get_null_value(source.meminfo.type)
            source.parent = cgutils.get_null_value(source.parent.type)
            return source._getvalue()

        return types.Array(array.dtype, array.ndim, array.layout)(array), generate

    def merged(function: Any) -> Any:
        """Compile `function` with the engine's options, merged into its caller."""
        return njit(cache=True, nogil=True, fastmath=FAST, error_model="numpy", forceinline=True)(function)
