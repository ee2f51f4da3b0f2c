"""How the kernel's functions are compiled; `slipbench.compiling.mode` chooses between two ways."""

from typing import Any

from slipbench.compiling.cache import kernel_folder
from slipbench.compiling.mode import QUICK, wanted_way, way_that_works

_way: Any = way_that_works(kernel_folder() if wanted_way() == QUICK else None)

inner = _way.inner
"""Compile a function that only compiled code calls."""

part = _way.part
"""Compile a function that Python may call as well, in tests for one."""

folded = _way.folded
"""Compile like `part`, and fold the machine code into the callers."""

apart = _way.apart
"""Compile like `part`, and keep it out of line: it is rare."""

inlined = _way.inlined
"""Compile a function of the whole `World` into its callers."""

entry = _way.entry
"""Compile, at import and for the cache on disk, a function that Python calls with a `World`."""

compile_strategy = _way.compile_strategy
"""Compile a strategy, kept on disk or not."""


def way_name() -> str:
    """Return which way compiles: `private` or `public`."""
    return str(_way.__name__).rpartition(".")[2]
