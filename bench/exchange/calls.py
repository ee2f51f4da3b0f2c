"""One sample of one vehicle: set the inputs, do a step, get the outputs. In compiled code.

All of an instance is a block of int64, the *slot*: addresses, counts, and groups of variables that
are set or got by one call. Measured: tests/speed/fmi.py. Everything that
`serve` compiles stands in this file, whose date its kept code follows.

======  ============================================================================
word    holds
======  ============================================================================
0       address of the vehicle's memory, by which its instance is found again
1       the instance
2       calls so far
3       axles
4       2 or 3: version of the interface
5       address of its step function
6       steps a call
7       length of such a step [s], the bits of a double
8, 9    groups of inputs and outputs
10      address of four words the step function of 3.0 writes into
11..13  what went wrong: kind, status, number of the variable
14...   groups, `GROUP` words each: function, kind of number, variables, their references, values,
        where those lie, entries, conversions, how they are exchanged (`EACH` and so on)
======  ============================================================================
"""

from __future__ import annotations

import math
from typing import Any

import numba

from slipbench.compiling.cache import compiled_here
from slipbench.compiling.helper import helper
from slipbench.compiling.pointers import caller, memory
from slipbench.contract import (
    DEMAND_FACTOR,
    DYNAMIC_FACTOR,
    FILL,
    HOLD,
    OBSERVED,
    SIGNALS,
    VALVE,
    VENT,
)

(MEMORY, INSTANCE, CALLS, AXLES, VERSION, STEP, N_STEPS, STEP_LENGTH, N_IN, N_OUT, SCRATCH,
 TROUBLE, STATUS, ITEM, HEAD) = range(15)  # fmt: skip
GROUP = 9

KINDS = ("float64", "int32", "float32", "int64", "uint64", "uint8", "int8", "int16", "uint16",
         "uint32")  # fmt: skip
"""How numbers travel; a group's word is the place in here."""

OF_VALVE, OF_HOLD, OF_VENT, OF_FACTOR, OF_SIGNAL, OF_NOTHING, OF_DYNAMIC = range(7)
"""What an output is for."""

EACH, DOUBLES, FACTORS, VALVES = range(4)
"""How the numbers of a group are exchanged: one by one whatever they are; or, quicker, doubles that
need no conversion; such that are all demand factors; int32 that are all valve positions."""

LAST, N_SLOTS, CODES, BEGIN, N_PARAMETERS, N_COMMAND, SLOTS = range(7)
"""Words of a unit, see `_serve`."""

N_OBSERVED, N_SIGNALS = len(OBSERVED), len(SIGNALS)

(FINE, NOT_SET, NOT_STEPPED, NOT_GOT, NOT_FINITE, NO_POSITION) = range(6)
"""What went wrong."""

REFUSED = -2e301
"""The demand factor of a call that failed; what it was stands in the slot."""

_i32, _i64, _f64 = numba.int32, numba.int64, numba.float64
_exchange_2 = caller(_i32(_i64, _i64, _i64, _i64))
_exchange_3 = caller(_i32(_i64, _i64, _i64, _i64, _i64))
_step_2 = caller(_i32(_i64, _f64, _f64, _i32))
_step_3 = caller(_i32(_i64, _f64, _f64, _i32, _i64, _i64, _i64, _i64))
_begin_call = caller(_i64(_i64, _i64, _i64, _i64, _i64))

read_word, write_word = memory(_i64)
_read_double, _write_double = memory(_f64)
_read_f32, _write_f32 = memory(numba.float32)
_read_i32, _write_i32 = memory(_i32)
_read_u64, _write_u64 = memory(numba.uint64)
_read_u8, _write_u8 = memory(numba.uint8)
_read_i8, _write_i8 = memory(numba.int8)
_read_i16, _write_i16 = memory(numba.int16)
_read_u16, _write_u16 = memory(numba.uint16)
_read_u32, _write_u32 = memory(numba.uint32)


@helper
def _put(kind: int, place: int, value: float) -> None:
    """Write one number that is no double; whole ones are rounded."""
    whole = math.floor(value + 0.5)
    if kind == 1:
        _write_i32(place, _i32(whole))
    elif kind == 2:
        _write_f32(place, numba.float32(value))
    elif kind == 3:
        write_word(place, _i64(whole))
    elif kind == 4:
        _write_u64(place, numba.uint64(whole))
    elif kind == 5:
        _write_u8(place, numba.uint8(whole))
    elif kind == 6:
        _write_i8(place, numba.int8(whole))
    elif kind == 7:
        _write_i16(place, numba.int16(whole))
    elif kind == 8:
        _write_u16(place, numba.uint16(whole))
    else:
        _write_u32(place, numba.uint32(whole))


@helper
def _take(kind: int, place: int) -> float:
    """Read one number of a kind."""
    if kind == 0:
        return _read_double(place)
    if kind == 1:
        return float(_read_i32(place))
    if kind == 2:
        return float(_read_f32(place))
    if kind == 3:
        return float(read_word(place))
    if kind == 4:
        return float(_read_u64(place))
    if kind == 5:
        return float(_read_u8(place))
    if kind == 6:
        return float(_read_i8(place))
    if kind == 7:
        return float(_read_i16(place))
    if kind == 8:
        return float(_read_u16(place))
    return float(_read_u32(place))


@helper
def _width(kind: int) -> int:
    """Return the bytes of a number of a kind."""
    if kind in (0, 3, 4):
        return 8
    if kind in (5, 6):
        return 1
    return 2 if kind in (7, 8) else 4


@helper
def _failed(slot: int, trouble: int, status: int, item: int) -> int:
    write_word(slot + 8 * TROUBLE, trouble)
    write_word(slot + 8 * STATUS, status)
    write_word(slot + 8 * ITEM, item)
    return trouble


@helper
def _transfer(slot: int, group: int) -> int:
    """Set, or get, all variables of a group; return the status."""
    function, instance = read_word(group), read_word(slot + 8 * INSTANCE)
    n, references = read_word(group + 16), read_word(group + 24)
    n_values, values = read_word(group + 32), read_word(group + 40)
    if read_word(slot + 8 * VERSION) == 2:
        return _exchange_2(function, (instance, references, n, values))
    return _exchange_3(function, (instance, references, n, values, n_values))


@helper
def set_inputs(slot: int, observation: int, n_observed: int) -> int:
    """Set the inputs from an observation; return FINE or what went wrong.

    An entry is column and axle of a value, a column below zero for one that stays as it is.
    """
    group = slot + 8 * HEAD
    for i_group in range(read_word(slot + 8 * N_IN)):
        kind, n, place = read_word(group + 8), read_word(group + 32), read_word(group + 40)
        entries, conversions = read_word(group + 48), read_word(group + 56)
        width = _width(kind)
        if read_word(group + 64) == DOUBLES:
            for i in range(n):
                column, axle = read_word(entries + 16 * i), read_word(entries + 16 * i + 8)
                if column >= 0:
                    value = _read_double(observation + 8 * (axle * n_observed + column))
                    _write_double(place + 8 * i, value)
            n = 0
        for _ in range(n):
            column, axle = read_word(entries), read_word(entries + 8)
            if column >= 0:
                value = _read_double(observation + 8 * (axle * n_observed + column))
                value -= _read_double(conversions + 8)
                value /= _read_double(conversions)
                if kind == 0:
                    _write_double(place, value)
                else:
                    _put(kind, place, value)
            place += width
            entries += 16
            conversions += 16
        status = _transfer(slot, group)
        if status > 1:
            return _failed(slot, NOT_SET, status, i_group)
        group += 8 * GROUP
    return FINE


def _begin_inputs(slot: int, observation: int, n_observed: int) -> int:
    return set_inputs(slot, observation, n_observed)


@helper
def _do_steps(slot: int) -> int:
    """Do the steps of one call; times are whole multiples of the step."""
    n, calls = read_word(slot + 8 * N_STEPS), read_word(slot + 8 * CALLS)
    length = _read_double(slot + 8 * STEP_LENGTH)
    function, instance = read_word(slot + 8 * STEP), read_word(slot + 8 * INSTANCE)
    for i in range(n):
        time = float(calls * n + i) * length
        if read_word(slot + 8 * VERSION) == 2:
            status = _step_2(function, (instance, time, length, 1))
        else:
            into = read_word(slot + 8 * SCRATCH)
            status = _step_3(
                function, (instance, time, length, 1, into, into + 8, into + 16, into + 24)
            )
        if status > 1:
            return _failed(slot, NOT_STEPPED, status, i)
    write_word(slot + 8 * CALLS, calls + 1)
    return FINE


@helper
def _accept(
    destination: int, axle: int, value: float, codes: int, command: int, n_command: int, out: int
) -> bool:
    """Write one output where it belongs; False for a valve position that is none."""
    own = command + 8 * n_command * axle
    valve = own + 8 * VALVE
    if destination == OF_VALVE:
        for k in range(3):
            if value == _read_double(codes + 8 * k):
                _write_double(valve, float(k))
                return True
        return False
    if destination == OF_HOLD:
        if value != 0.0 and _read_double(valve) == FILL:
            _write_double(valve, float(HOLD))
    elif destination == OF_VENT:
        if value != 0.0:
            _write_double(valve, float(VENT))
    elif destination == OF_FACTOR:
        _write_double(own + 8 * DEMAND_FACTOR, value)
    elif destination == OF_DYNAMIC:
        _write_double(own + 8 * DYNAMIC_FACTOR, value)
    elif destination == OF_SIGNAL:
        _write_double(out + 8 * axle, value)
    return True


@helper
def _take_alike(
    how: int, n: int, place: int, entries: int, codes: int, command: int, n_command: int
) -> int:
    """Take a group of demand factors, or of valve positions; return the one that is wrong, or -1.

    `_accept` without its choices: one number a time is what a call of a unit spends its time on.
    """
    fill, hold, vent = _read_double(codes), _read_double(codes + 8), _read_double(codes + 16)
    for i in range(n):
        own = command + 8 * n_command * read_word(entries + 16 * i + 8)
        if how == FACTORS:
            value = _read_double(place + 8 * i)
            if not math.isfinite(value):
                return i
            _write_double(own + 8 * DEMAND_FACTOR, value)
            continue
        value = float(_read_i32(place + 4 * i))
        if value == fill:
            _write_double(own + 8 * VALVE, float(FILL))
        elif value == hold:
            _write_double(own + 8 * VALVE, float(HOLD))
        elif value == vent:
            _write_double(own + 8 * VALVE, float(VENT))
        else:
            return i
    return -1


@helper
def _get_outputs(
    slot: int,
    codes: int,
    command: int,
    n_axles: int,
    n_command: int,
    signals: int,
) -> int:
    """Get the outputs into command and signals; return FINE or what went wrong.

    An entry is what it is for and the axle (or signal).
    """
    for i in range(n_axles):
        _write_double(command + 8 * n_command * i, float(FILL))
        for k in range(1, n_command):
            _write_double(command + 8 * (n_command * i + k), 1.0)
    for i in range(N_SIGNALS):
        _write_double(signals + 8 * i, 0.0)
    group = slot + 8 * (HEAD + GROUP * read_word(slot + 8 * N_IN))
    for i_group in range(read_word(slot + 8 * N_OUT)):
        kind, n, place = read_word(group + 8), read_word(group + 32), read_word(group + 40)
        entries, conversions = read_word(group + 48), read_word(group + 56)
        status = _transfer(slot, group)
        if status > 1:
            return _failed(slot, NOT_GOT, status, i_group)
        width, how = _width(kind), read_word(group + 64)
        if how >= FACTORS:
            item = _take_alike(how, n, place, entries, codes, command, n_command)
            if item >= 0:
                return _failed(slot, NOT_FINITE if how == FACTORS else NO_POSITION, item, i_group)
            n = 0
        for i in range(n):
            destination, axle = read_word(entries + 16 * i), read_word(entries + 16 * i + 8)
            if destination == OF_NOTHING:
                continue
            value = _take(kind, place + width * i) * _read_double(conversions + 16 * i)
            value += _read_double(conversions + 16 * i + 8)
            if not math.isfinite(value):
                return _failed(slot, NOT_FINITE, i, i_group)
            if not _accept(destination, axle, value, codes, command, n_command, signals):
                return _failed(slot, NO_POSITION, i, i_group)
        group += 8 * GROUP
    return FINE


@helper
def _find_slot(unit: int, address: int, calls: int, n_axles: int) -> int:
    """Return the slot of the memory at an address, 0 if none has come as far.

    A memory that was copied elsewhere since the last call of all is found again too; a slot whose
    memory's place has been given to another is not taken for it.
    """
    for i in range(read_word(unit + 8 * N_SLOTS)):
        slot = read_word(unit + 8 * (SLOTS + i))
        if read_word(slot + 8 * MEMORY) == address:
            if read_word(slot + 8 * CALLS) == calls:
                return slot
            write_word(slot + 8 * MEMORY, 0)
    slot = read_word(unit + 8 * LAST)
    if slot == 0 or read_word(slot + 8 * CALLS) != calls:
        return 0
    if read_word(slot + 8 * AXLES) != n_axles:
        return 0
    write_word(slot + 8 * MEMORY, address)
    return slot


def _serve(
    unit: int, observation: int, n_axles: int, memory: int, command: int, signals: int,
    parameters: int,
) -> int:  # fmt: skip
    """Do one call of a strategy by the addresses of its arrays.

    Where it fails every valve is NaN and every factor `REFUSED`. Seven arguments: of more, compiled
    code reads several from the stack at once, and waits (measured: an eighth of a call).

    Parameters
    ----------
    unit : int   address of the unit's words: slot used last, number of slots, address of the
                 valve's codes, address of a C function that makes an instance for a vehicle
                 (memory, axles, parameters, their number, observation) and returns its slot, 0
                 where it cannot; number of parameters, columns of the command; then the slots
    """
    count = memory + 8 * n_axles  # one number an axle, then the vehicle's own
    n_command = read_word(unit + 8 * N_COMMAND)
    calls, slot, came_to = _read_double(count), 0, 1
    if calls == 0.0:
        begin = read_word(unit + 8 * BEGIN)
        n_parameters = read_word(unit + 8 * N_PARAMETERS)
        slot = _begin_call(begin, (memory, n_axles, parameters, n_parameters, observation))
    else:
        slot = _find_slot(unit, memory, int(calls), n_axles)
    if slot != 0:
        write_word(unit + 8 * LAST, slot)
        codes = read_word(unit + 8 * CODES)
        came_to = set_inputs(slot, observation, N_OBSERVED)
        if came_to == FINE:
            came_to = _do_steps(slot)
        if came_to == FINE:
            came_to = _get_outputs(slot, codes, command, n_axles, n_command, signals)
    _write_double(count, calls + 1.0)
    if came_to != FINE:
        for i in range(n_axles):
            _write_double(command + 8 * (n_command * i + VALVE), math.nan)
            _write_double(command + 8 * (n_command * i + DEMAND_FACTOR), REFUSED)
    return came_to


_SERVES = _i64(*(7 * (_i64,)))
_call_serve = caller(_SERVES)
_c_function: Any = numba.cfunc  # its type stub does not know all options

with compiled_here():
    serve: Any = _c_function(_SERVES, cache=True, error_model="numpy")(_serve)
    """`_serve` as a C function: compiled once for all units, and kept on disk."""

    begin_inputs: Any = _c_function(_i64(_i64, _i64, _i64), cache=True, error_model="numpy")(
        _begin_inputs
    )
    """Set the inputs alone, as initialisation does."""


def update_of(unit: int) -> Any:
    """Return the update function of a unit, in the contract's form, to be compiled.

    Parameters
    ----------
    unit : int   address of the unit's words, see `_serve`
    """
    address = int(serve.address)

    def update(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> None:
        _call_serve(
            address,
            (
                unit,
                observation.ctypes.data,
                observation.shape[0],
                memory.ctypes.data,
                command.ctypes.data,
                signals.ctypes.data,
                parameters.ctypes.data,
            ),
        )

    return update
