"""The call into a library: copies between guards, checked after every call.

`guarded` returns one function, which runs as Python and compiled alike.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from slipbench.contract import Floats, Update

GUARDED = ("observation", "parameters", "memory", "command", "signals")
"""The arrays handed over, in their order between the guards."""

GUARD = 64
"""Doubles in front of and behind each array."""

PATTERN = 0x7FF5A5A5DEADBEEF
"""Bits of a guard: a NaN, so that what is read there shows in the command."""

STRAY = -1e301
"""Times an array's number from 1: the demand factor that tells a guard was overwritten."""


def guarded(function: Any) -> Update:
    """Return an update function that calls a library between guards.

    Parameters
    ----------
    function : ctypes function   with the argument types of `slipbench_update`

    Returns
    -------
    function   of the contract; where the library wrote outside its arrays, or into its observation
               or parameters, every valve is NaN and every factor `STRAY` times the array's number
    """

    def update(
        observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
    ) -> None:
        n_axles, n_observed = observation.shape
        n_memory, n_command = memory.shape[1], command.shape[1]
        seen = GUARD
        tuned = seen + n_axles * n_observed + 2 * GUARD
        own = tuned + parameters.size + 2 * GUARD
        wanted = own + memory.size + 2 * GUARD
        told = wanted + command.size + 2 * GUARD
        end = told + signals.size + GUARD
        bits = np.empty(end, dtype=np.int64)
        for i in range(end):
            bits[i] = PATTERN
        whole = bits.view(np.float64)
        for i in range(n_axles):
            for j in range(n_observed):
                whole[seen + i * n_observed + j] = observation[i, j]
            for j in range(n_command):
                whole[wanted + i * n_command + j] = command[i, j]
        for i in range(n_axles + 1):
            for j in range(n_memory):
                whole[own + i * n_memory + j] = memory[i, j]
        for i in range(parameters.size):
            whole[tuned + i] = parameters[i]
        for i in range(signals.size):
            whole[told + i] = signals[i]
        given = bits.copy()
        function(
            whole[seen:].ctypes,
            n_axles,
            n_observed,
            whole[tuned:].ctypes,
            parameters.size,
            whole[own:].ctypes,
            n_memory,
            whole[wanted:].ctypes,
            whole[told:].ctypes,
            signals.size,
        )
        for i in range(n_axles + 1):
            for j in range(n_memory):
                memory[i, j] = whole[own + i * n_memory + j]
        for i in range(n_axles):
            for j in range(n_command):
                command[i, j] = whole[wanted + i * n_command + j]
        for i in range(signals.size):
            signals[i] = whole[told + i]
        strayed = 0
        for i in range(end - 1, -1, -1):
            if bits[i] == given[i] or own <= i < own + memory.size:
                continue
            if wanted <= i < wanted + command.size or told <= i < told + signals.size:
                continue
            strayed = 1  # the array whose block, guards and all, holds i
            for start in (tuned, own, wanted, told):
                if i >= start - GUARD:
                    strayed += 1
        if strayed > 0:
            for i in range(n_axles):
                command[i, 0] = np.nan
                command[i, 1] = STRAY * strayed

    return update
