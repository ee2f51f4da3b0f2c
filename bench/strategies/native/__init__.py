"""The C door: a strategy in a shared library, on the same rails as any other.

`slipbench.h` beside this file documents the ABI; `examples/slip_band.c` is the shipped `slip_band`
in C, equal to it to the last bit. Native code runs with the rights of whoever starts it.
"""

from slipbench.strategies.native.library import (
    SUFFIXES,
    NativeUpdate,
    is_library,
    load_library,
    native_folder,
    stray_text,
)

__all__ = [
    "SUFFIXES",
    "NativeUpdate",
    "is_library",
    "load_library",
    "native_folder",
    "stray_text",
]
