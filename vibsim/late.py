"""Functions of kernels that are compiled when a kernel first calls them, apart from the kernels.

What few cases need would otherwise be compiled with every kernel that can reach it, at every level of calls.
A late function is called through its address, which a slot of memory holds; the kernel knows the slot by name, so the
kernels cached on disk stay good from process to process. `prepare` fills the slots; a kernel that finds its slot empty
has the function compiled first, which takes the interpreter's lock: kernels hold it, unless a caller gave it up.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from typing import Any

from llvmlite import binding, ir
from numba import cfunc, config, types
from numba.core import cgutils
from numba.core.errors import TypingError
from numba.extending import intrinsic

from vibsim.jit import _OPTIONS

_WAITING: list[Callable[[], None]] = []
_KEPT: list[Any] = []  # slots, callbacks and compiled functions live as long as the process
_CALLED_FROM_C = {name: value for name, value in _OPTIONS.items() if name != "no_cfunc_wrapper"}


def _plain_python() -> bool:
    return bool(getattr(config, "DISABLE_JIT", False))


def late(signature: Any) -> Callable[[Callable], Callable]:
    """Decorator: a function returning nothing, with a numba signature of its arguments."""

    def wrap(function: Callable) -> Callable:
        if _plain_python():
            return function
        slot = ctypes.c_int64(0)
        name = f"{function.__module__}.{function.__qualname__}".replace(".", "_")

        def compile_now() -> None:
            if slot.value:
                return
            compiled = cfunc(signature, **_CALLED_FROM_C)(function)
            _KEPT.append(compiled)
            slot.value = int(compiled.address or 0)

        callback = ctypes.CFUNCTYPE(None)(compile_now)
        _WAITING.append(compile_now)
        _KEPT.extend((slot, callback))
        binding.add_symbol(f"{name}_slot", ctypes.addressof(slot))
        compiler = ctypes.c_int64(ctypes.cast(callback, ctypes.c_void_p).value or 0)
        _KEPT.append(compiler)
        binding.add_symbol(f"{name}_compiler", ctypes.addressof(compiler))
        return _through_slot(signature, name)

    return wrap


def prepare() -> None:
    """Compile all late functions now, where a failure or an interruption can still be told."""
    while _WAITING:
        _WAITING[-1]()
        _WAITING.pop()


def _through_slot(signature: Any, name: str) -> Callable:
    """A function for kernels that calls what the slot of a name points to."""

    def codegen(context, builder, _, packed):
        arguments = cgutils.unpack_tuple(builder, packed[0], len(signature.args))
        number = ir.IntType(64)
        slot = context.get_c_value(builder, number, f"{name}_slot", dllimport=False)
        empty = builder.icmp_unsigned("==", builder.load(slot), number(0))
        with builder.if_then(empty, likely=False):
            compiler = context.get_c_value(builder, number, f"{name}_compiler", dllimport=False)
            kind = ir.FunctionType(ir.VoidType(), [])
            builder.call(builder.inttoptr(builder.load(compiler), kind.as_pointer()), [])
        kind = ir.FunctionType(ir.VoidType(), [argument.type for argument in arguments])
        builder.call(builder.inttoptr(builder.load(slot), kind.as_pointer()), arguments)
        return context.get_dummy_value()

    @intrinsic
    def call(typing, *arguments):
        if tuple(types.unliteral(argument) for argument in arguments) != signature.args:
            raise TypingError(f"{name} takes {signature.args}, is called with {arguments}")
        return types.void(types.StarArgTuple.from_types(arguments)), codegen

    return call
