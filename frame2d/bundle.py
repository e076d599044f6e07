"""Many arrays handed to compiled code as one address.

A tuple of arrays is passed by value: the hundred of a frame and its scratch space are seven hundred arguments of every
call, which take longer to compile than the work itself, and 0.15 µs. A `bundle` is a named tuple that keeps a table of
its arrays in memory; compiled code gets the table's address and reads from it what it asks for, without counting
references: whoever calls from Python holds the arrays. The table is never written again, and compiled code is told so:
what it has read it may keep.

Fields are arrays, integers, floats, tuples of these, random generators, and other bundles. Compiled code cannot make a bundle.
"""

from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from frame2d.kernels import PLAIN

Class = TypeVar("Class", bound=type)

if PLAIN:

    def bundle(cls: Class) -> Class:
        """`cls` itself: compilation is switched off."""
        return cls

    def handle(value: Any) -> Any:
        """`value` itself: compilation is switched off."""
        return value

else:
    import ctypes
    from hashlib import sha256

    import numba
    from llvmlite import ir
    from numba import types
    from numba.core import cgutils
    from numba.core.datamodel import models
    from numba.core.imputils import lower_getattr_generic
    from numba.core.typing.templates import AttributeTemplate
    from numba.extending import NativeValue, infer_getattr, register_model, typeof_impl, unbox

    _WORD = ir.IntType(64)

    def bundle(cls: Class) -> Class:
        """Class decorator: compiled code takes instances of the named tuple `cls` as one address."""
        own = type(cls.__name__, (cls, _Table), {"__module__": cls.__module__, "__doc__": cls.__doc__})

        @typeof_impl.register(own)
        def typed(value: Any, context: Any) -> BundleType:
            return _type_of(value)

        return own  # type: ignore[return-value]

    def handle(value: Any) -> Any:
        """A named tuple with its type worked out once, 0.1 µs an array: for calls at every step."""
        return _Handle(value)

    class _Handle:
        def __init__(self, value: Any) -> None:
            self.value, self.table, self._numba_type_ = value, _table_of(value), _type_of(value)
            self._address = int(self.table.ctypes.data)

    class _Table:
        """What a bundle has besides its fields."""

        @cached_property
        def _table(self) -> np.ndarray:
            return _table_of(self)

        @cached_property
        def _address(self) -> int:
            return int(self._table.ctypes.data)

        def __reduce__(self) -> tuple[Any, ...]:
            return type(self), tuple(self)  # type: ignore[arg-type] # without its table

    def _type_of(value: Any) -> "BundleType":
        return BundleType(value._fields, tuple(numba.typeof(entry) for entry in value))

    def _table_of(value: Any) -> np.ndarray:
        return np.array(_words(value), dtype=np.int64)

    #: What of a generator compiled code calls, each a word.
    _DRAWS = ("next_uint64", "next_uint32", "next_double")

    def _words(value: Any) -> list[int]:
        """`value` as compiled code lays it out: arrays as numba's own structure without an owner, or a number."""
        if isinstance(value, np.ndarray):
            return [0, 0, value.size, value.itemsize, value.ctypes.data, *value.shape, *value.strides]
        if isinstance(value, tuple):
            return [word for entry in value for word in _words(entry)]
        if isinstance(value, np.random.Generator):
            bits = value.bit_generator.ctypes
            draws = [ctypes.cast(getattr(bits, name), ctypes.c_void_p).value or 0 for name in _DRAWS]
            return [int(bits.state_address), *draws]
        return [int(np.float64(value).view(np.int64)) if isinstance(value, float) else int(value)]

    def _size(kind: Any) -> int:
        """Words of a value of type `kind`."""
        if isinstance(kind, types.Array):
            return 5 + 2 * kind.ndim
        if isinstance(kind, _SEVERAL):
            return sum(_size(entry) for entry in kind)
        return 1 + len(_DRAWS) if isinstance(kind, types.NumPyRandomGeneratorType) else 1

    class BundleType(types.Type):
        """Compiled type of a bundle: names and types of its fields."""

        def __init__(self, names: tuple[str, ...], kinds: tuple[Any, ...]) -> None:
            self.names, self.kinds = names, kinds
            super().__init__(f"Bundle({', '.join(map(str, kinds))}; {', '.join(names)})")

        @property
        def mangling_args(self) -> tuple[str, tuple[str, ...]]:
            """Short name in compiled symbols."""
            return "Bundle", (sha256(self.name.encode()).hexdigest()[:16],)

        def __iter__(self) -> Any:
            return iter(self.kinds)

        def place(self, name: str) -> tuple[Any, int]:
            """Type of the field `name`, and the word of the table at which it begins."""
            k = self.names.index(name)
            return self.kinds[k], sum(_size(kind) for kind in self.kinds[:k])

    _SEVERAL: Any = (BundleType, types.BaseTuple)

    @register_model(BundleType)
    class _Model(models.PrimitiveModel):
        def __init__(self, manager: Any, kind: Any) -> None:
            super().__init__(manager, kind, _WORD.as_pointer())

    @unbox(BundleType)
    def _unbox(kind: Any, value: Any, c: Any) -> Any:
        number = c.pyapi.object_getattr_string(value, "_address")
        address = c.pyapi.long_as_longlong(number)
        c.pyapi.decref(number)
        return NativeValue(c.builder.inttoptr(address, _WORD.as_pointer()))

    @infer_getattr
    class _Fields(AttributeTemplate):
        key = BundleType

        def generic_resolve(self, kind: Any, name: str) -> Any:  # type: ignore[override]
            return kind.place(name)[0] if name in kind.names else None

    @lower_getattr_generic(BundleType)
    def _field(context: Any, builder: Any, kind: Any, table: Any, name: str) -> Any:
        found, place = kind.place(name)
        return _read(context, builder, found, table, place)

    def _read(context: Any, builder: Any, kind: Any, table: Any, place: int) -> Any:
        """Value of type `kind` that begins at word `place` of the table."""

        def word(k: int) -> Any:
            found = builder.load(builder.gep(table, [_WORD(place + k)]))
            found.set_metadata("invariant.load", builder.module.add_metadata([]))
            return found

        if isinstance(kind, BundleType):
            return builder.gep(table, [_WORD(place)])
        if isinstance(kind, types.BaseTuple):
            entries = []
            for entry in kind:  # type: ignore[attr-defined]
                entries.append(_read(context, builder, entry, table, place))
                place += _size(entry)
            return context.make_tuple(builder, kind, entries)
        if isinstance(kind, types.Array):
            array, n = context.make_array(kind)(context, builder), kind.ndim
            array.meminfo = cgutils.get_null_value(array.meminfo.type)
            array.parent = cgutils.get_null_value(array.parent.type)
            array.nitems, array.itemsize = word(2), word(3)
            array.data = builder.inttoptr(word(4), array.data.type)
            array.shape = cgutils.pack_array(builder, [word(5 + k) for k in range(n)], ty=_WORD)
            array.strides = cgutils.pack_array(builder, [word(5 + n + k) for k in range(n)], ty=_WORD)
            return array._getvalue()
        if isinstance(kind, types.NumPyRandomGeneratorType):
            bits = context.make_helper(builder, types.NumPyRandomBitGeneratorType("bit_generator"))
            bits.state_address = bits.state = word(0)
            for k, name in enumerate(_DRAWS):
                setattr(bits, f"fnptr_{name}", word(1 + k))
            generator = context.make_helper(builder, kind)
            generator.bit_generator = bits._getvalue()
            generator.meminfo = cgutils.get_null_value(generator.meminfo.type)
            return generator._getvalue()
        return builder.bitcast(word(0), context.get_value_type(kind))


__all__ = ["bundle", "handle"]
