"""Compile with every index checked."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numba


@contextmanager
def bounds_checked() -> Iterator[None]:
    """Let whatever is compiled in the `with` body raise `IndexError` for an index out of range.

    As `NUMBA_BOUNDSCHECK=1` in the environment does, for functions called as well.
    """
    settings: Any = numba.config
    before = settings.BOUNDSCHECK
    settings.BOUNDSCHECK = 1
    try:
        yield
    finally:
        settings.BOUNDSCHECK = before
