"""The block of words that compiled code works on for one instance (see `calls`)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from slipbench.contract import COLUMN, SIGNALS
from slipbench.exchange import calls
from slipbench.exchange.binary import Binary, number_kind
from slipbench.exchange.convert import Conversion, conversion
from slipbench.exchange.description import Description, Variable
from slipbench.exchange.mapping import Binding, UnitMap

SI = {"measured_wheel_speed": "m/s", "measured_pressure": "Pa", "sample_time": "s",
      "dynamic_force": "N", "dynamic_demand": "N"}  # fmt: skip
"""Of what is exchanged; the rest are plain numbers."""

_DESTINATIONS = {
    "valve": calls.OF_VALVE,
    "is_hold": calls.OF_HOLD,
    "is_vent": calls.OF_VENT,
    "demand_factor": calls.OF_FACTOR,
    "dynamic_factor": calls.OF_DYNAMIC,
}


class Entry(NamedTuple):
    """One number of a group: where from or where to, the axle, how it converts, its start."""

    place: int
    axle: int
    conversion: Conversion
    start: float
    name: str


class Group(NamedTuple):
    """Variables that one call sets or gets."""

    kind: str
    variables: list[Variable]
    entries: list[Entry]


def groups_of(
    found: UnitMap, description: Description, n_axles: int, where: str
) -> tuple[list[Group], list[Group]]:
    """Return the groups of inputs and of outputs for a vehicle of so many axles."""
    inputs: dict[str, Group] = {}
    outputs: dict[str, Group] = {}
    for column, binding in found.inputs.items():
        for variable, entries in _entries(
            column, COLUMN[column], binding, found, description, n_axles, where
        ):
            _add(inputs, description, variable, entries)
    for name, value in found.values.items():
        variable = description.by_name[name]
        if variable.causality == "input":
            size = description.size_of(variable)
            _add(inputs, description, variable, size * [Entry(-1, 0, Conversion(), value, name)])
    for name, binding in found.outputs.items():
        place = _DESTINATIONS.get(name, calls.OF_SIGNAL)
        for variable, entries in _entries(name, place, binding, found, description, n_axles, where):
            if place == calls.OF_SIGNAL:
                entries = [entry._replace(axle=SIGNALS.index(name)) for entry in entries]
            _add(outputs, description, variable, entries)
    return list(inputs.values()), list(outputs.values())


def _add(
    groups: dict[str, Group], description: Description, variable: Variable, entries: list[Entry]
) -> None:
    name = number_kind(description.version, variable.kind)[0]
    group = groups.setdefault(name, Group(variable.kind, [], []))
    group.variables.append(variable)
    group.entries.extend(entries)


def _entries(
    name: str, place: int, binding: Binding, found: UnitMap, description: Description,
    n_axles: int, where: str,
) -> Iterator[tuple[Variable, list[Entry]]]:  # fmt: skip
    axle = 0
    for one in binding.names:
        if axle >= n_axles:
            return  # numbered variables of axles this vehicle has not: left as they start
        variable = description.by_name[one]
        unit = variable.unit or binding.unit
        how = conversion(unit, SI.get(name, "-"), description.units, f"{where}: {one}")
        size = n_axles if _is_sized(variable, found, description) else description.size_of(variable)
        entries = []
        for _ in range(size):
            is_there = axle < n_axles
            nothing = -1 if name in COLUMN else calls.OF_NOTHING
            start = (variable.start or (0.0,))[0]
            entries.append(Entry(place if is_there else nothing, axle, how, start, one))
            axle += 1
        yield variable, entries


def _is_sized(variable: Variable, found: UnitMap, description: Description) -> bool:
    count = description.by_name.get(found.axle_count)
    return count is not None and ("variable", count.reference) in variable.dimensions


class Slot:
    """The words of one instance, and all they point to, kept alive."""

    def __init__(
        self, binary: Binary, n_axles: int, groups: tuple[list[Group], list[Group]]
    ) -> None:
        inputs, outputs = groups
        n_groups = len(inputs) + len(outputs)
        self.binary, self.groups, self.n_axles, self.instance = binary, groups, n_axles, 0
        self.as_made: int | None = None  # state to put the instance back into
        n_words = calls.HEAD + calls.GROUP * n_groups + 4
        room = sum(_room(group) for group in inputs + outputs)
        # all of it in one block: a call reads few lines of a processor's cache then
        self._block = np.zeros(n_words + room, dtype=np.int64)
        self._n_kept = n_words
        self.words = self._block[:n_words]
        self.address = self.words.ctypes.data
        words = self.words
        words[calls.AXLES], words[calls.VERSION] = n_axles, int(binary.description.version[0])
        words[calls.STEP] = binary.address("DoStep")
        words[calls.N_IN], words[calls.N_OUT] = len(inputs), len(outputs)
        words[calls.SCRATCH] = self.address + 8 * (len(words) - 4)
        for i, group in enumerate(inputs + outputs):
            verb = "Set" if i < len(inputs) else "Get"
            first = calls.HEAD + i * calls.GROUP
            words[first : first + calls.GROUP] = self._group(group, verb)

    def begin(self, instance: int, memory: int, steps: tuple[int, float]) -> None:
        """Serve another instance: of the vehicle whose memory stands at an address."""
        words, self.instance = self.words, instance
        words[calls.MEMORY], words[calls.INSTANCE], words[calls.CALLS] = memory, instance, 0
        words[calls.N_STEPS] = steps[0]
        words.view(np.float64)[calls.STEP_LENGTH] = steps[1]
        words[calls.TROUBLE : calls.ITEM + 1] = 0

    def _keep(self, array: Any) -> int:
        """Copy an array into the block, at the next whole word; return its address there."""
        n = -(-array.nbytes // 8)
        place = self._block[self._n_kept : self._n_kept + n]
        place.view(np.uint8)[: array.nbytes] = array.reshape(-1).view(np.uint8)
        self._n_kept += n
        return int(place.ctypes.data)

    def _group(self, group: Group, verb: str) -> list[int]:
        name, number = number_kind(self.binary.description.version, group.kind)
        references = np.array([v.reference for v in group.variables], dtype=np.uint32)
        values = np.array([entry.start for entry in group.entries]).astype(number)
        entries = np.array([entry[:2] for entry in group.entries], dtype=np.int64)
        conversions = np.array([entry.conversion for entry in group.entries], dtype=np.float64)
        return [
            self.binary.address(f"{verb}{name}"),
            calls.KINDS.index(number),
            len(references),
            self._keep(references),
            len(values),
            self._keep(values),
            self._keep(entries),
            self._keep(conversions),
            _exchange(number, group, verb),
        ]

    def trouble(self) -> str:
        """Return in words what went wrong in the last call."""
        kind, status, item = (int(w) for w in self.words[calls.TROUBLE : calls.ITEM + 1])
        inputs, outputs = self.groups
        if kind == calls.NOT_SET:
            return f"said {_status(status)} as its inputs were set ({_names(inputs[item])})"
        if kind == calls.NOT_STEPPED:
            return f"said {_status(status)} in its step"
        if kind == calls.NOT_GOT:
            return f"said {_status(status)} as its outputs were asked for ({_names(outputs[item])})"
        variable = outputs[item].entries[status].name
        if kind == calls.NOT_FINITE:
            return f"output {variable} is not finite"
        return f"output {variable} is no valve position of its mapping"


def _room(group: Group) -> int:
    """Return how many words what belongs to a group takes at most."""
    return len(group.variables) + 5 * len(group.entries) + 4


def _exchange(number: str, group: Group, verb: str) -> int:
    """Return how a group's numbers are exchanged (`calls.EACH` and so on)."""
    places = {entry.place for entry in group.entries}
    if any(entry.conversion != Conversion() for entry in group.entries):
        return calls.EACH
    if verb == "Set":
        return calls.DOUBLES if number == "float64" else calls.EACH
    if number == "float64" and places == {calls.OF_FACTOR}:
        return calls.FACTORS
    return calls.VALVES if number == "int32" and places == {calls.OF_VALVE} else calls.EACH


def _status(number: int) -> str:
    from slipbench.exchange.binary import STATUS

    return f"'{STATUS[number]}'" if 0 <= number < len(STATUS) else f"status {number}"


def _names(group: Group) -> str:
    names = [variable.name for variable in group.variables]
    return names[0] if len(names) == 1 else f"{names[0]} ... {names[-1]}"


def starts_of(
    values: Mapping[str, float], description: Description
) -> Iterator[tuple[Variable, float]]:
    """Yield what of a mapping's fixed values are parameters, set before the start."""
    for name, value in values.items():
        variable = description.by_name[name]
        if variable.causality != "input":
            yield variable, value
