"""The instances of one unit in this process: one a vehicle, made afresh as each stop begins."""

from __future__ import annotations

import ctypes
import math
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from slipbench.contract import OBSERVED, SAMPLE_TIME, Floats
from slipbench.exchange import calls
from slipbench.exchange.binary import FATAL, STATUS, Binary, copied_library
from slipbench.exchange.convert import Conversion
from slipbench.exchange.description import Description
from slipbench.exchange.mapping import UnitMap
from slipbench.exchange.slots import Group, Slot, groups_of, starts_of
from slipbench.ground.errors import InputError
from slipbench.ground.telling import quoted

MOST_SLOTS = 512
"""Instances at once; past them the one begun first is let go."""

NEAR = 1e-9
"""A sample time this near to a whole number of the unit's steps is one. [-]"""

_BEGIN = ctypes.CFUNCTYPE(
    ctypes.c_int64, ctypes.c_int64, ctypes.c_int64, ctypes.c_int64, ctypes.c_int64, ctypes.c_int64
)


def steps_for(
    sample_time: float, description: Description, found: UnitMap, where: str
) -> tuple[int, float]:
    """Return how many steps of the unit a sample takes, and how long each is. [s]

    Raises
    ------
    InputError   where the sample time is no whole number of the unit's own step
    """
    own = found.step or description.own_step
    is_bound = found.step is not None or description.has_fixed_step
    is_bound = is_bound or not description.can_vary_step
    if own is None or not is_bound:
        return 1, sample_time
    n = round(sample_time / own)
    if n < 1 or abs(n * own - sample_time) > NEAR * sample_time:
        raise InputError(
            f"{where}: it steps by {1e3 * own:g} ms, and the sample time of {1e3 * sample_time:g} "
            "ms is no whole number of that; set slip_control.sample_time_ms to a multiple, or "
            "export the unit with another step"
        )
    is_one = description.has_fixed_step and found.step is None  # it divides the step by itself
    return (1, sample_time) if n == 1 or is_one else (n, own)


class _Rested(NamedTuple):
    """An instance of a stop that is over, and the state it was made in."""

    binary: Binary
    instance: int
    as_made: int


class Instances:
    """All instances of one unit, and what compiled code needs to find them.

    Parameters
    ----------
    library : Path          of the unit, unpacked
    folder : Path           of the unit, unpacked
    parameters : mapping    variable and conversion of each of the strategy's parameters, by order
    """

    def __init__(
        self,
        library: Path,
        folder: Path,
        description: Description,
        found: UnitMap,
        parameters: Mapping[str, Conversion],
        where: str,
    ) -> None:
        self.library, self.folder, self.where = library, folder, where
        self.description, self.found, self.parameters = description, found, parameters
        self.slots: list[Slot] = []  # in the order they were begun
        self.problem, self.is_dead = "", False
        self.words = np.zeros(calls.SLOTS + MOST_SLOTS, dtype=np.int64)
        valve = found.outputs.get("valve")
        codes = valve.codes if valve else {"fill": 0.0, "hold": 1.0, "vent": 2.0}
        self.codes = np.array([codes[name] for name in ("fill", "hold", "vent")])
        self.callback = _BEGIN(self._begin)
        self.words[calls.N_PARAMETERS] = len(parameters)
        self.words[calls.N_COMMAND] = 3 if "dynamic_factor" in found.outputs else 2
        self.words[calls.CODES] = self.codes.ctypes.data
        self.words[calls.BEGIN] = ctypes.cast(self.callback, ctypes.c_void_p).value or 0
        self._binary: Binary | None = None
        self._n_copies = 0
        self._spare: dict[tuple[int, int], list[Slot]] = {}  # to be filled anew
        self._idle: list[Binary] = []  # copies whose instance was freed
        self._rested: list[_Rested] = []  # instances of a unit that can be put back as made

    @property
    def address(self) -> int:
        """Of the words of the unit, for `calls.serve`."""
        return int(self.words.ctypes.data)

    def serve(
        self, observation: Floats, parameters: Floats, memory: Floats, command: Floats,
        signals: Floats,
    ) -> None:  # fmt: skip
        """Do one call of the strategy, from Python."""
        calls.serve.ctypes(
            self.address,
            observation.ctypes.data,
            len(observation),
            memory.ctypes.data,
            command.ctypes.data,
            signals.ctypes.data,
            parameters.ctypes.data,
        )

    def _begin(
        self, memory: int, n_axles: int, parameters: int, n_parameters: int, observation: int
    ) -> int:
        """Make an instance for the vehicle whose memory this is; return its slot, 0 if it fails."""
        try:
            self.problem = ""
            seen = _array(observation, (n_axles, len(OBSERVED)))
            tuned = _array(parameters, (n_parameters,))
            return self._start(memory, seen, tuned).address
        except InputError as problem:
            self.problem = str(problem)
        except Exception as problem:  # nothing may leave a call from compiled code
            self.problem = f"{self.where}: {type(problem).__name__}: {quoted(str(problem))}"
        return 0

    def _start(self, memory: int, seen: Floats, tuned: Floats) -> Slot:
        if self.is_dead:
            raise InputError(f"{self.where}: said 'fatal error' before; nothing more is called")
        for slot in [s for s in self.slots if s.words[calls.MEMORY] == memory]:
            self._drop(slot)
        if len(self.slots) >= MOST_SLOTS:
            self._drop(self.slots[0])
        n_axles, found = len(seen), self.found
        if n_axles > found.axles or (n_axles != found.axles and not found.axle_count):
            raise InputError(
                f"{self.where}: is made for {found.axles} axles; {found.scope} here has {n_axles}"
            )
        steps = steps_for(float(seen[0, SAMPLE_TIME]), self.description, found, self.where)
        binary, instance, as_made = self._instance()
        try:
            slot = self._initialise(binary, instance, memory, seen, tuned, steps)
        except InputError:
            if not self.is_dead:
                binary.free(instance)
            raise
        slot.as_made = as_made
        self.slots.append(slot)
        self._write_table()
        return slot

    def _instance(self) -> tuple[Binary, int, int | None]:
        """Return an instance as it is made: a new one, or a rested one put back into that state.

        With it the handle of that state, where the unit can get and set states.
        """
        while self._rested:
            rested = self._rested.pop()
            if rested.binary.take_up(rested.instance, rested.as_made):
                return rested
            rested.binary.free(rested.instance)
        binary = self._loaded()
        instance = binary.instantiate("slip control", self.folder)
        if not instance:
            raise InputError(f"{self.where}: gives no instance{_said(binary)}")
        as_made = binary.kept_state(instance) if self.description.can_keep_state else None
        return binary, instance, as_made

    def _initialise(
        self, binary: Binary, instance: int, memory: int, seen: Floats, tuned: Floats,
        steps: tuple[int, float],
    ) -> Slot:  # fmt: skip
        n_axles, description = len(seen), self.description
        self._size(binary, instance, n_axles)
        for kind, (references, converted) in self._tuned(tuned).items():
            status = binary.set_numbers(instance, kind, references, converted)
            self._need(status, "as its parameters were set", binary)
        for variable, value in starts_of(self.found.values, description):
            values = description.size_of(variable) * [value]
            status = binary.set_numbers(instance, variable.kind, [variable.reference], values)
            self._need(status, f"as {variable.name} was set", binary)
        self._need(binary.enter_initialization(instance), "as it was to be initialised", binary)
        spare = self._spare.get((id(binary), n_axles))
        slot = spare.pop() if spare else Slot(binary, n_axles, self._groups(n_axles))
        slot.begin(instance, memory, steps)
        came_to = calls.begin_inputs.ctypes(slot.address, seen.ctypes.data, seen.shape[1])
        if came_to != calls.FINE:
            self._need(int(slot.words[calls.STATUS]), "as its inputs were set", binary)
        status = binary.simple("ExitInitializationMode", instance)
        self._need(status, "at the end of its initialisation", binary)
        return slot

    @lru_cache(maxsize=64)  # noqa: B019  (as long-lived as the process)
    def _groups(self, n_axles: int) -> tuple[list[Group], list[Group]]:
        return groups_of(self.found, self.description, n_axles, self.where)

    def _tuned(self, tuned: Floats) -> dict[str, tuple[list[int], list[float]]]:
        """Return the parameters by kind: their references, and their values in their own units."""
        found: dict[str, tuple[list[int], list[float]]] = {}
        for (name, how), value in zip(self.parameters.items(), tuned.tolist(), strict=True):
            variable = self.description.by_name[name]
            references, values = found.setdefault(variable.kind, ([], []))
            references.append(variable.reference)
            values.append((value - how.offset) / how.factor)
        return found

    def _size(self, binary: Binary, instance: int, n_axles: int) -> None:
        """Tell the unit how many axles there are, before anything else."""
        if not self.found.axle_count:
            return
        variable = self.description.by_name[self.found.axle_count]
        is_structural = variable.causality == "structuralParameter"
        if is_structural:
            status = binary.simple("EnterConfigurationMode", instance)
            self._need(status, "as it was to be configured", binary)
        status = binary.set_numbers(instance, variable.kind, [variable.reference], [n_axles])
        self._need(status, f"as its {variable.name} was set", binary)
        if is_structural:
            status = binary.simple("ExitConfigurationMode", instance)
            self._need(status, "as it was configured", binary)

    def _need(self, status: int, when: str, binary: Binary) -> None:
        if status == FATAL:
            self.is_dead = True
        if status > 1:
            told = STATUS[status] if status < len(STATUS) else str(status)
            raise InputError(f"{self.where}: said '{told}' {when}{_said(binary)}")

    def _loaded(self) -> Binary:
        """Return the loaded library; a copy of its own where it takes one instance a process."""
        if not self.description.only_once:
            if self._binary is None:
                self._binary = Binary(self.library, self.description, self.where)
            return self._binary
        if self._idle:
            return self._idle.pop()
        self._n_copies += 1
        copy = copied_library(self.library, self._n_copies)
        return Binary(copy, self.description, self.where)

    def _drop(self, slot: Slot) -> None:
        """End an instance: freed, or kept for the next stop where its state can be put back."""
        self.slots.remove(slot)
        rests = False
        if not self.is_dead:
            if slot.as_made is not None and not slot.words[calls.TROUBLE]:
                self._rested.append(_Rested(slot.binary, slot.instance, slot.as_made))
                rests = True
            else:
                self._free(slot)
            self._spare.setdefault((id(slot.binary), slot.n_axles), []).append(slot)
        if self.description.only_once and not rests:
            self._idle.append(slot.binary)
        self._write_table()

    def _free(self, slot: Slot) -> None:
        if slot.as_made is not None:
            slot.binary.free_state(slot.instance, slot.as_made)
        if not slot.words[calls.TROUBLE]:
            slot.binary.simple("Terminate", slot.instance)
        slot.binary.free(slot.instance)

    def _write_table(self) -> None:
        self.words[: calls.CODES] = 0
        addresses = [slot.address for slot in self.slots]
        self.words[calls.SLOTS : calls.SLOTS + len(addresses)] = addresses
        self.words[calls.N_SLOTS] = len(addresses)

    def release(self, memory: Floats) -> None:
        """Let the instances of a stop go.

        Parameters
        ----------
        memory : (n_axles + n_groups, n_memory)   of the whole train
        """
        first = int(memory.ctypes.data)
        last = first + memory.nbytes
        for slot in [s for s in self.slots if first <= s.words[calls.MEMORY] < last]:
            self._drop(slot)

    def complaint(self) -> str:
        """Return in words why the last call that failed did; empty if none is known."""
        if self.problem:
            return self.problem
        for slot in reversed(self.slots):
            if slot.words[calls.TROUBLE]:
                if int(slot.words[calls.STATUS]) == FATAL:
                    self.is_dead = True
                return f"{self.where}: {slot.trouble()}{_said(slot.binary)}"
        return f"{self.where}: was shown a memory that is not of its last call"


def _said(binary: Binary) -> str:
    return f"; it says: {quoted(binary.said)}" if binary.said else ""


def _array(address: int, shape: tuple[int, ...]) -> Any:
    if not math.prod(shape):
        return np.zeros(shape)
    pointer = ctypes.cast(address, ctypes.POINTER(ctypes.c_double))
    return np.ctypeslib.as_array(pointer, shape)
