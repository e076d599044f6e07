"""Compiled kernels that are handed around by address, so that the engine compiles once for every law and member.

A *kernel* is a pure scalar function that reads and writes memory through pointers and returns a status. It is
compiled to a C callback on first use, cached on disk beside its source, and reaches the engine as an integer
address, which `call_law` and `call_member` follow. With ``NUMBA_DISABLE_JIT=1`` an address is the number of a plain
Python function instead and pointers are array views: the same code then runs in a debugger.

How long a first run compiles is decided by four things, found by measuring every function's share:

* Arrays travel as a `frame2d.bundle`: passed by value they were half of it.
* Every compiled function is optimised once by itself and once more in each function above it that calls it, so layers
  are few: what has one caller and does little besides calling is `inlined`, all else is a call.
* A function has one signature: optional arguments and arrays of another layout compile it again.
* `inner` is for functions that only compiled code calls.
"""

import ctypes
import inspect
from collections.abc import Callable
from functools import cached_property
from typing import Any

import numba
import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.core import cgutils
from numba.extending import intrinsic

PLAIN = bool(numba.config.DISABLE_JIT)  # type: ignore[attr-defined]

#: Contraction, reassociation and reciprocals are allowed; NaN and infinity keep their meaning.
FAST = {"contract", "reassoc", "nsz", "arcp"}

OK = 0
#: The kernel's own iteration did not converge: the engine shortens the step.
NOT_CONVERGED = 1
#: The deformation lies where the kernel has no answer (for example a member folded to zero length).
OUT_OF_RANGE = 2

_double_pointer = types.CPointer(types.float64)

#: status = law(p, m0, u, v, dt, out, m1)
LAW = types.int64(
    _double_pointer,
    _double_pointer,
    types.float64,
    types.float64,
    types.float64,
    _double_pointer,
    _double_pointer,
)
#: status = member(p, m0, d, w, dt, c, scratch, f, k, e, m1)
MEMBER = types.int64(
    _double_pointer,
    _double_pointer,
    _double_pointer,
    _double_pointer,
    types.float64,
    types.float64,
    _double_pointer,
    _double_pointer,
    _double_pointer,
    _double_pointer,
    _double_pointer,
)
_index_pointer, _long_pointer = types.CPointer(types.uint32), types.CPointer(types.int64)
#: negative = solver(n, start, row, values, turned, row, column, first, second, weight, share, k, b, x)
SOLVER = types.int64(
    types.int64,
    _index_pointer,
    _index_pointer,
    _double_pointer,
    types.int64,
    _long_pointer,
    _long_pointer,
    _long_pointer,
    _long_pointer,
    _double_pointer,
    types.float64,
    _double_pointer,
    _double_pointer,
    _double_pointer,
)

_plain_kernels: list[Callable[..., int]] = []


class Kernel:
    """A scalar kernel with its source and, on demand, its compiled address."""

    def __init__(self, function: Callable[..., int], signature: Any) -> None:
        self.function = function
        self.signature = signature
        self.__doc__ = function.__doc__
        self.__name__ = function.__name__

    @cached_property
    def _compiled(self) -> Any:
        options: dict[str, Any] = {"nopython": True, "fastmath": FAST, "error_model": "numpy"}
        file = inspect.getsourcefile(self.function)
        cached = (
            file is not None and not file.startswith("<") and "<locals>" not in self.function.__qualname__
        )
        try:
            return numba.cfunc(self.signature, cache=cached, **options)(self.function)
        except ImportError:
            # The cache beside a script was written when the script went by another name.
            return numba.cfunc(self.signature, cache=False, **options)(self.function)

    @cached_property
    def address(self) -> int:
        """Integer address of the compiled callback (compiled on first use)."""
        if PLAIN:
            _plain_kernels.append(self.function)
            return len(_plain_kernels) - 1
        return int(self._compiled.address)

    def __call__(self, *arguments: Any) -> int:
        """Run the kernel as plain Python on arrays: slow, for tests and debugging."""
        return self.function(*arguments)

    def __reduce__(self) -> tuple[Any, ...]:
        return _find_kernel, (self.function.__module__, self.function.__qualname__)


def _find_kernel(module: str, name: str) -> Kernel:
    from importlib import import_module

    found: Kernel = getattr(import_module(module), name)
    return found


def law_kernel(function: Callable[..., int]) -> Kernel:
    """Make a law's kernel of ``function(p, m0, u, v, dt, out, m1) -> status``; see `frame2d.materials.law.Law`."""
    return Kernel(function, LAW)


def member_kernel(function: Callable[..., int]) -> Kernel:
    """Make a member's kernel of ``function(p, m0, d, w, dt, c, scratch, f, k, e, m1) -> status``."""
    return Kernel(function, MEMBER)


def solver_kernel(function: Callable[..., int]) -> Kernel:
    """Make a kernel of ``function`` that solves where the fixed-pattern factor fails; see `frame2d.engine.pivoted`."""
    return Kernel(function, SOLVER)


class Later:
    """Address at which compiled code finds the address of a kernel that is compiled when it is first asked for."""

    def __init__(self, kernel: Kernel) -> None:
        self._entry = ctypes.CFUNCTYPE(ctypes.c_int64)(lambda: kernel.address)
        self.address = kernel.address if PLAIN else int(ctypes.cast(self._entry, ctypes.c_void_p).value or 0)


if PLAIN:

    def at(memory: Any, index: int) -> Any:
        """View of `memory` from `index` on."""
        return memory[int(index) :]

    def view(memory: Any, size: int) -> Any:
        """First `size` entries of `memory`."""
        return memory[:size]

    def ask(address: float) -> int:
        """Address of the kernel of the `Later` at `address`."""
        return int(address)

    def call_law(address: float, p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
        """Call the law kernel at `address`."""
        return _plain_kernels[int(address)](p, m0, u, v, dt, out, m1)

    def call_member(
        address: float,
        p: Any,
        m0: Any,
        d: Any,
        w: Any,
        dt: float,
        c: float,
        scratch: Any,
        f: Any,
        k: Any,
        e: Any,
        m1: Any,
    ) -> int:
        """Call the member kernel at `address`."""
        return _plain_kernels[int(address)](p, m0, d, w, dt, c, scratch, f, k, e, m1)

    def call_solver(address: float, *arguments: Any) -> int:
        """Call the solver kernel at `address`."""
        return _plain_kernels[int(address)](*arguments)

    def compiled(function: Any) -> Any:
        """Leave `function` as it is: compilation is switched off."""
        return function

    uncounted = inner = inlined = compiled

else:

    @intrinsic
    def at(typingctx, memory, index):  # type: ignore[no-untyped-def]
        """Pointer to entry `index` of an array or pointer."""
        from_array = isinstance(memory, types.Array)
        signature = types.CPointer(memory.dtype)(
            memory, types.int64 if isinstance(index, types.Integer) else types.float64
        )

        def generate(context, builder, sig, arguments):  # type: ignore[no-untyped-def]
            memory_value, index_value = arguments
            if from_array:
                pointer = cgutils.create_struct_proxy(sig.args[0])(context, builder, value=memory_value).data
            else:
                pointer = memory_value
            if sig.args[1] is types.float64:
                index_value = builder.fptosi(index_value, ir.IntType(64))
            return builder.gep(pointer, [index_value])

        return signature, generate

    def _calling(signature):  # type: ignore[no-untyped-def]
        def typed(typingctx, address, *arguments):  # type: ignore[no-untyped-def]
            address_type = types.int64 if isinstance(address, types.Integer) else types.float64

            def generate(context, builder, sig, values):  # type: ignore[no-untyped-def]
                address_value = values[0]
                if address_type is types.float64:
                    address_value = builder.fptosi(address_value, ir.IntType(64))
                kinds = [context.get_value_type(kind) for kind in signature.args]
                pointer = ir.FunctionType(ir.IntType(64), kinds).as_pointer()
                return builder.call(builder.inttoptr(address_value, pointer), values[1:])

            return types.int64(address_type, *signature.args), generate

        return typed

    _call_law, _call_member, _call_solver = _calling(LAW), _calling(MEMBER), _calling(SOLVER)
    _ask = _calling(types.int64())
    #: The first so many entries of a pointer, as an array.
    view = numba.carray  # type: ignore[assignment]

    @intrinsic
    def ask(typingctx, address):  # type: ignore[no-untyped-def]
        """Address of the kernel of the `Later` at `address`, compiled now if it was not."""
        return _ask(typingctx, address)

    @intrinsic
    def call_law(typingctx, address, p, m0, u, v, dt, out, m1):  # type: ignore[no-untyped-def]
        """Call the law kernel at `address` (an integer, or a float that holds one)."""
        return _call_law(typingctx, address, p, m0, u, v, dt, out, m1)

    @intrinsic
    def call_member(typingctx, address, p, m0, d, w, dt, c, scratch, f, k, e, m1):  # type: ignore[no-untyped-def]
        """Call the member kernel at `address` (an integer, or a float that holds one)."""
        return _call_member(typingctx, address, p, m0, d, w, dt, c, scratch, f, k, e, m1)

    @intrinsic
    def call_solver(
        typingctx, address, n, start, row, values, turned, i, j, first, second, weight, share, k, b, x
    ):  # type: ignore[no-untyped-def]
        """Call the solver kernel at `address`."""
        return _call_solver(
            typingctx, address, n, start, row, values, turned, i, j, first, second, weight, share, k, b, x
        )

    def compiled(function: Any) -> Any:
        """Compile `function` with the engine's options: cached, lock released, NaN respected."""
        return _jit(function, _nrt=True)

    def uncounted(function: Any) -> Any:
        """As `compiled`, for a function that makes no arrays: it counts no references to those it is given.

        A count is an atomic operation for every array at every call.
        """
        return _jit(function, _nrt=False)

    def inner(function: Any) -> Any:
        """As `uncounted`, for compiled callers alone; a call from Python would end the process."""
        return _jit(function, _nrt=False, no_cpython_wrapper=True)

    def inlined(function: Any) -> Any:
        """As `uncounted`, copied into its callers before compilation, and compiled alone only where Python calls it.

        For small functions and thin layers with one caller: copying a long function takes longer than optimising it
        again.
        """
        return _jit(function, _nrt=False, inline="always")

    def _jit(function: Any, **options: Any) -> Any:
        return njit(  # type: ignore[call-overload]
            cache=True, nogil=True, fastmath=FAST, error_model="numpy", no_cfunc_wrapper=True, **options
        )(function)


def doubles(*values: float) -> np.ndarray:
    """One float64 array of the given values."""
    return np.array(values, dtype=np.float64)
