"""A strategy from a unit: its record, and its update function."""

from __future__ import annotations

import hashlib
import re
from functools import cached_property, lru_cache
from pathlib import Path
from typing import NamedTuple

from slipbench.contract import Controller, Floats, Parameter, Update
from slipbench.exchange import calls
from slipbench.exchange.archive import content_of, read_description, unpacked
from slipbench.exchange.binary import library_name
from slipbench.exchange.binding import mapping_of
from slipbench.exchange.convert import EXPONENTS, Conversion, conversion
from slipbench.exchange.description import Description, Variable, parse_description
from slipbench.exchange.instances import Instances
from slipbench.exchange.mapping import Tunable, UnitMap, mapping_path
from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_regular, is_there, place
from slipbench.ground.telling import shown
from slipbench.scenario.units import DIMENSIONS
from slipbench.strategies.foreign import ForeignUpdate
from slipbench.strategies.trials import try_out

TRIAL_TIME = 60.0
"""Longest the trial in a process of its own may take. [s]"""


class Unit(NamedTuple):
    """A unit as read, with its mapping; nothing of it has been run."""

    path: Path
    description: Description
    found: UnitMap

    @property
    def where(self) -> str:
        """How messages name it."""
        return f"unit {place(self.path)}"


def digest_of(path: Path) -> str:
    """Return a hash over a unit and the mapping beside it.

    Raises
    ------
    InputError   if it cannot be read
    """
    digest = hashlib.sha256(content_of(path))
    beside = mapping_beside(path)
    if beside is not None:
        digest.update(content_of(beside))
    return digest.hexdigest()


def mapping_name(name: str) -> str:
    """Return how the mapping of a unit of this file name is called."""
    return mapping_path(Path(name)).name


def mapping_beside(path: Path) -> Path | None:
    """Return the mapping that stands beside a unit, if one does."""
    beside = mapping_path(path)
    return beside if is_there(beside) else None


def read_description_of(path: Path) -> Description:
    """Return what a unit says of itself; nothing of it is run."""
    return parse_description(read_description(path), f"unit {place(path)}")


@lru_cache(maxsize=64)
def _read(path: Path, digest: str) -> Unit:
    if digest_of(path) != digest:
        raise InputError(f"unit {place(path)}: changed since it was named; start again")
    description = read_description_of(path)
    library_name(path, description)  # refused before anything else is looked at
    return Unit(path, description, mapping_of(path, description))


class UnitUpdate(ForeignUpdate):
    """The update function of a unit: one instance a vehicle, made as its memory is found zero.

    Another process finds it by path and refuses a file, or mapping, with another hash.
    """

    runs_apart = True

    def __init__(self, path: Path, digest: str) -> None:
        self.path, self.digest = path, digest
        self.__module__, self.__qualname__ = f"unit {path}", "DoStep"

    @property
    def files(self) -> tuple[Path, ...]:
        """The unit, and its mapping if one stands beside it."""
        beside = mapping_beside(self.path)
        return (self.path,) if beside is None else (self.path, beside)

    @property
    def kind(self) -> str:
        """What it is, in words."""
        return "FMI unit"

    @cached_property
    def instances(self) -> Instances:
        """Its instances in this process."""
        return _instances(self)

    @property
    def compiled(self) -> Update:
        """The exchange compiled for the kernel; it holds addresses, so it is not kept."""
        return _compiled(self)

    def __call__(
        self,
        observation: Floats,
        parameters: Floats,
        memory: Floats,
        command: Floats,
        signals: Floats,
    ) -> None:
        """Call it once; nothing need be compiled for that."""
        self.instances.serve(observation, parameters, memory, command, signals)

    def complaint(self, factor: float) -> str:
        """Return what went wrong in the call whose demand factor this is."""
        return self.instances.complaint() if factor == calls.REFUSED else ""

    def release(self, memory: Floats) -> None:
        """Let the instances of a stop go."""
        self.instances.release(memory)


@lru_cache(maxsize=64)
def _instances(update: UnitUpdate) -> Instances:
    unit = _read(update.path, update.digest)
    folder = unpacked(unit.path, hashlib.sha256(content_of(unit.path)).hexdigest())
    library = folder / library_name(unit.path, unit.description)
    return Instances(library, folder, unit.description, unit.found, _conversions(unit), unit.where)


@lru_cache(maxsize=64)
def _compiled(update: UnitUpdate) -> Update:
    from slipbench.compiling.jit import compile_strategy
    from slipbench.kernel.records import UPDATE_SIGNATURE

    function = calls.update_of(_instances(update).address)
    made: Update = compile_strategy(function, UPDATE_SIGNATURE, is_kept=False)
    return made


def load_unit(path: str | Path) -> Controller:
    """Return the strategy of a unit, after a trial in a process of its own.

    Raises
    ------
    InputError   when the file is missing or no unit, has no library for this platform, its mapping
                 does not fit, or the trial fails, crashes or does not end
    """
    at = Path(path).absolute()
    if not is_regular(at):
        problem = "is no regular file" if is_there(at) else "no such file"
        raise InputError(f"strategy {shown(str(path))}: {problem}; write the path of an FMI unit")
    digest = digest_of(at)
    controller = describe(at, digest)
    _try_out(at, digest)
    return controller


@lru_cache(maxsize=64)
def _try_out(path: Path, digest: str) -> None:
    unpacked(path, hashlib.sha256(content_of(path)).hexdigest())  # the trial finds it there
    module = "slipbench.strategies.units.trial"
    try_out(module, path, digest, f"unit {place(path)}", TRIAL_TIME)


def describe(path: Path, digest: str) -> Controller:
    """Return the strategy of a unit, untried.

    Raises
    ------
    InputError   as `load_unit`
    """
    unit = _read(path, digest)
    description, found = unit.description, unit.found
    name = re.sub(r"\W+", "_", description.name, flags=re.ASCII).strip("_")[:80] or "unit"
    title = " ".join((description.text or f"unit {description.name}").split())[:200]
    observes = tuple(dict.fromkeys([*found.inputs, "sample_time"]))  # the step's length
    return Controller(
        name=name,
        title=title if title.isprintable() else f"unit {name}",
        update=UnitUpdate(path, digest),
        parameters=tuple(
            _parameter(unit, own, tunable) for own, tunable in found.parameters.items()
        ),
        observes=observes,
        n_memory=1,
        commands_dynamic="dynamic_factor" in found.outputs,
        scope="train" if found.scope == "train" else "vehicle",
    )


def _unit_of(unit: Unit, variable: Variable, tunable: Tunable) -> tuple[str, Conversion]:
    """Return the SI unit of a parameter, and its conversion."""
    text = variable.unit or tunable.unit
    where = f"{unit.where}: {variable.name}"
    base = unit.description.units.get(text)
    if base is not None:
        for si_text, exponents in EXPONENTS.items():
            if dict(base.exponents) == exponents:
                return si_text, Conversion(base.factor, base.offset)
        return text, Conversion()
    if text in ("", "-", "1"):
        return "-", Conversion()
    for units in DIMENSIONS.values():
        for known in units:
            if text == known.text:
                si_text = units[0].text
                return si_text, conversion(text, si_text, unit.description.units, where)
    return text, Conversion()


def _conversions(unit: Unit) -> dict[str, Conversion]:
    """Return variable and conversion of each parameter."""
    by_name = unit.description.by_name
    return {
        tunable.variable: _unit_of(unit, by_name[tunable.variable], tunable)[1]
        for tunable in unit.found.parameters.values()
    }


def _parameter(unit: Unit, name: str, tunable: Tunable) -> Parameter:
    variable = unit.description.by_name[tunable.variable]
    si_text, how = _unit_of(unit, variable, tunable)
    if not variable.start:
        raise InputError(f"{unit.where}: parameter {shown(variable.name)} has no start value")
    start = variable.start[0]
    low = tunable.low if tunable.low is not None else variable.low
    high = tunable.high if tunable.high is not None else variable.high
    reach = abs(start) or 1.0
    mark = "" if low is not None and high is not None else "; bounds assumed: start plus, minus it"
    low = start - reach if low is None else low
    high = start + reach if high is None else high
    return Parameter(
        name=name,
        default=how.to_si(start),
        unit=si_text,
        low=how.to_si(low),
        high=how.to_si(high),
        source=tunable.source or f"as the unit starts it{mark}",
        doc=" ".join(variable.description.split())[:200],
    )


def mapping_text(path: Path, description: Description) -> str:
    """Return in words how a unit is bound, or why it cannot be used as it is."""
    try:
        library_name(path, description)
        found = mapping_of(path, description)
    except InputError as problem:
        return f"\n{problem}"
    beside = mapping_path(path)
    lines = ["", f"bound by {beside.name if is_there(beside) else 'the names of the contract'}"]
    for title, table in (("inputs", found.inputs), ("outputs", found.outputs)):
        for name, binding in table.items():
            names = binding.names
            told = names[0] if len(names) == 1 else f"{names[0]} ... {names[-1]}"
            lines.append(f"  {title[:-1]:6}  {name:22}  {told}")
    lines += [f"  value   {name:22}  {value:g}" for name, value in found.values.items()]
    for name, tunable in found.parameters.items():
        parameter = _parameter(Unit(path, description, found), name, tunable)
        reach = f"{parameter.low:g} to {parameter.high:g} {parameter.unit}"
        lines.append(f"  tunable {name:22}  {parameter.default:g}, {reach}")
    return "\n".join(lines)
