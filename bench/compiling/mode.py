"""Which way compiles: the quicker one by private parts of numba, or public `njit` alone.

The quicker way is taken where numba is a version it was tried with, all it leans on is there, and a
small trial compiles and computes as it should; `SLIPBENCH_COMPILING=public` forces the other one.
Both compile the same sources to the same bits. The process that holds a GPU (`slipbench.device`)
compiles the same sources again, as functions of the GPU.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from types import ModuleType

import numba

from slipbench.ground.errors import InputError

SWITCH = "SLIPBENCH_COMPILING"
"""Environment variable that forces a way."""

QUICK, PUBLIC, DEVICE = "quick", "public", "cuda"

DEVICE_PROCESS = "SLIPBENCH_DEVICE_PROCESS"
"""Environment variable by which this package tells a process it starts that it holds a GPU."""

TESTED = ((0, 61), (0, 68))
"""Oldest and newest numba (major, minor) that the quicker way was tried with."""

MARK = "quick-way-tried"
"""File in the cache folder that says the trial succeeded, so that it is not repeated."""


def wanted_way(environment: str | None = None, version: str = numba.__version__) -> str:
    """Return the way to begin with, by the switch and numba's version alone.

    Parameters
    ----------
    environment : str or None   the switch; None: as it is set, and where
    version : str               of numba

    Raises
    ------
    InputError   if the switch says something else than `quick` or `public`
    """
    if environment is None and os.environ.get(DEVICE_PROCESS):
        return DEVICE
    said = os.environ.get(SWITCH, "") if environment is None else environment
    if said not in ("", QUICK, PUBLIC):
        raise InputError(f"{SWITCH} = {said[:80]!r}; allowed: {QUICK} or {PUBLIC}")
    if said:
        return said
    numbers = re.match(r"(\d+)\.(\d+)", version)
    here = (int(numbers[1]), int(numbers[2])) if numbers else (0, 0)
    return QUICK if TESTED[0] <= here <= TESTED[1] else PUBLIC


def way_that_works(folder: Path | None) -> ModuleType:
    """Return the module that compiles: the quicker way if it works here, else the public one.

    Parameters
    ----------
    folder : Path or None   of compiled code, where a success is noted; None: the public way
    """
    if wanted_way() == DEVICE:
        from slipbench.compiling import device

        return device
    from slipbench.compiling import public

    if folder is None:
        return public
    try:
        from slipbench.compiling import private

        if not (folder / MARK).exists():
            _try(private)
            (folder / MARK).touch()
    except Exception:  # whatever another numba may raise: there is a way that needs none of it
        return public
    return private


def _try(way: ModuleType) -> None:
    """Compile a function, one that calls it, and an entry for both; raise if anything is off."""

    @way.folded
    def half(value):  # type: ignore[no-untyped-def]
        return 0.5 * value

    @way.apart
    def third(value):  # type: ignore[no-untyped-def]
        return value / 3.0

    @way.inner
    def both(value):  # type: ignore[no-untyped-def]
        return half(value) + third(value)

    def whole(value):  # type: ignore[no-untyped-def]
        return both(value) + half(value)

    compiled = way.entry(numba.float64(numba.float64), is_kept=False)(whole)
    if compiled(3.0) != 4.0 or half(3.0) != 1.5:
        raise ArithmeticError("the trial computes something else")
