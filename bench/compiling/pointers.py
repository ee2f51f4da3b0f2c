"""Memory and C functions by their addresses, for compiled code that calls into foreign libraries.

An address is an int64, as numpy's `array.ctypes.data` gives it. Nothing is checked: whoever builds
the table of addresses keeps alive what they point to. (`numba.carray` would do for memory, but
counts references, which compiled strategies do without.)
"""

from __future__ import annotations

from typing import Any

import numba
from llvmlite import ir
from numba.core import cgutils
from numba.extending import intrinsic

_cgutils: Any = cgutils


def memory(kind: Any) -> tuple[Any, Any]:
    """Return what reads and what writes one number of a kind at an address, from compiled code.

    Parameters
    ----------
    kind : numba type   a number

    Returns
    -------
    (intrinsic, intrinsic)   `read(address)` and `write(address, number)`
    """

    @intrinsic
    def read(typing_context, address):  # type: ignore[no-untyped-def]
        def generate(context, builder, signature, values):  # type: ignore[no-untyped-def]
            there = context.get_data_type(kind).as_pointer()
            return builder.load(builder.inttoptr(values[0], there))

        return kind(numba.types.int64), generate

    @intrinsic
    def write(typing_context, address, number):  # type: ignore[no-untyped-def]
        def generate(context, builder, signature, values):  # type: ignore[no-untyped-def]
            there = context.get_data_type(kind).as_pointer()
            builder.store(values[1], builder.inttoptr(values[0], there))
            return context.get_dummy_value()

        return numba.types.none(numba.types.int64, kind), generate

    return read, write


def caller(signature: Any) -> Any:
    """Return what calls the C function at an address from compiled code.

    Parameters
    ----------
    signature : numba signature   of the C function; int32 and int64 arguments (pointers among the
                                  latter) and float64 ones, so that no argument is narrower than
                                  the register it travels in

    Returns
    -------
    intrinsic   `call(address, (argument, ...))`
    """
    takes: Any = numba.types.Tuple(signature.args)  # type: ignore[no-untyped-call]

    @intrinsic
    def call(typing_context, address, arguments):  # type: ignore[no-untyped-def]
        def generate(context, builder, given, values):  # type: ignore[no-untyped-def]
            kinds = [context.get_value_type(kind) for kind in signature.args]
            kind = ir.FunctionType(context.get_value_type(signature.return_type), kinds)
            function = builder.inttoptr(values[0], kind.as_pointer())
            return builder.call(function, _cgutils.unpack_tuple(builder, values[1]))

        return signature.return_type(numba.types.int64, takes), generate

    return call
