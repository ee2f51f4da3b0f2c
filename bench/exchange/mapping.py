"""How a unit's variables are bound to the contract's columns: a TOML file beside the unit.

`MODEL.map.toml` beside `MODEL.fmu`:

    axles = 4                                   # per call, or the most, with axle_count
    scope = "vehicle"                           # or "train"
    [inputs]                                    # column of the observation = variable
    measured_wheel_speed = { variable = "v_axle_{axle}", unit = "km/h" }
    [outputs]                                   # valve, or is_hold and is_vent; demand_factor ...
    valve = { variable = "valve_{axle}", fill = 0, hold = 1, vent = 2 }
    [values]                                    # inputs the bench has nothing for
    ambient = 20.0
    [parameters]                                # name here = variable, with bounds
    gain = { variable = "control.gain", low = 0.1, high = 4.0 }

A unit whose variables have the contract's own names (`measured_wheel_speed[1]` ...) needs no file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

from slipbench.contract import MEASURED, SIGNALS
from slipbench.exchange.description import Description, Variable
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place, regular_toml
from slipbench.ground.telling import nearest_text, shown

MOST_AXLES = 48

INPUTS = MEASURED
"""Columns of the observation that may be bound; a unit never sees the truth."""

OUTPUTS = ("valve", "is_hold", "is_vent", "demand_factor", "dynamic_factor", *SIGNALS)
"""What of a unit's outputs the bench takes."""

BY_AXLE = (
    *("measured_wheel_speed", "measured_pressure", "dynamic_force", "dynamic_demand"),
    *("valve", "is_hold", "is_vent", "demand_factor", "dynamic_factor"),
)
"""What must be there for each axle; of the others one variable may stand for all."""

CODES = {"fill": 0.0, "hold": 1.0, "vent": 2.0}

SUFFIX = ".map.toml"


@dataclass(frozen=True)
class Binding:
    """Variables of a unit that hold one quantity.

    Attributes
    ----------
    names : tuple of str     one array, one scalar for all axles, or one an axle from the front
    unit : str               of measurement, where the unit itself names none
    codes : mapping          of a valve's positions, `fill`, `hold`, `vent`
    """

    names: tuple[str, ...]
    unit: str = ""
    codes: Mapping[str, float] = field(default_factory=lambda: dict(CODES))


@dataclass(frozen=True)
class Tunable:
    """A parameter of a unit offered under a name of its own; bounds in the unit's own unit."""

    variable: str
    low: float | None = None
    high: float | None = None
    unit: str = ""
    source: str = ""


@dataclass(frozen=True)
class UnitMap:
    """A whole mapping, checked against the description it was read with."""

    axles: int
    axle_count: str = ""
    scope: str = "vehicle"
    inputs: Mapping[str, Binding] = field(default_factory=dict)
    outputs: Mapping[str, Binding] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)
    parameters: Mapping[str, Tunable] = field(default_factory=dict)
    step: float | None = None


def mapping_path(unit: Path) -> Path:
    """Return where the mapping of a unit stands."""
    return unit.with_suffix(SUFFIX)


class _File:
    """The content of a mapping file, key by key."""

    def __init__(self, path: Path, content: dict[str, Any]) -> None:
        self.path, self.content = path, content

    def refuse(self, what: str) -> NoReturn:
        raise InputError(f"{place(self.path)}: {what}")

    def table(self, name: str) -> dict[str, Any]:
        value = self.content.get(name, {})
        if not isinstance(value, dict):
            self.refuse(f"{name} = {shown(value)}; allowed: a table")
        return value

    def known(self, table: Mapping[str, Any], allowed: tuple[str, ...], where: str) -> None:
        for key in table:
            if key not in allowed:
                self.refuse(f"{where}{shown(key)}: unknown key; {nearest_text(key, allowed)}")

    def number(self, value: Any, where: str) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(f"{where} = {shown(value)}; allowed: a number")
        return float(value)

    def string(self, value: Any, where: str) -> str:
        if not isinstance(value, str) or not value:
            self.refuse(f"{where} = {shown(value)}; allowed: a text")
        return value


def read_mapping(path: Path, description: Description) -> UnitMap:
    """Return the mapping a file holds.

    Raises
    ------
    InputError   one line: file, key, value, what is allowed
    """
    file = _File(path, regular_toml(path, "a mapping is a TOML file"))
    allowed = ("axles", "axle_count", "scope", "step_s", "inputs", "outputs", "values",
               "parameters")  # fmt: skip
    file.known(file.content, allowed, "")
    axles = file.content.get("axles")
    if isinstance(axles, bool) or not isinstance(axles, int) or not 1 <= axles <= MOST_AXLES:
        file.refuse(f"axles = {shown(axles)}; allowed: 1 to {MOST_AXLES}, whole")
    scope = file.content.get("scope", "vehicle")
    if scope not in ("vehicle", "train"):
        file.refuse(f"scope = {shown(scope)}; allowed: vehicle or train")
    step = file.content.get("step_s")
    if step is not None and not 0.0 < (step := file.number(step, "step_s")) < 3600.0:
        file.refuse(f"step_s = {step:g}; allowed: above 0 [s]")
    values = {
        name: file.number(float(v) if isinstance(v, bool) else v, f"values.{name}")
        for name, v in file.table("values").items()
    }
    count = file.content.get("axle_count", "")
    found = UnitMap(
        axles=axles,
        axle_count=file.string(count, "axle_count") if count else "",
        scope=scope,
        inputs=_bindings(file, "inputs", INPUTS, axles, description),
        outputs=_bindings(file, "outputs", OUTPUTS, axles, description),
        values=values,
        parameters=_tunables(file),
        step=step,
    )
    return checked(found, description, place(path))


def _bindings(
    file: _File, table: str, allowed: tuple[str, ...], axles: int, description: Description
) -> dict[str, Binding]:
    entries = file.table(table)
    file.known(entries, allowed, f"{table}.")
    return {
        name: _binding(file, f"{table}.{name}", value, axles) for name, value in entries.items()
    }


def _binding(file: _File, where: str, value: Any, axles: int) -> Binding:
    codes = dict(CODES)
    unit, named = "", value
    if isinstance(value, dict):
        more = tuple(CODES) if where == "outputs.valve" else ()
        file.known(value, ("variable", "unit", *more), f"{where}.")
        named = value.get("variable")
        unit = file.string(value["unit"], f"{where}.unit") if "unit" in value else ""
        for name in more:
            if name in value:
                codes[name] = file.number(value[name], f"{where}.{name}")
        if len(set(codes.values())) != len(codes):
            file.refuse(f"{where}: two positions have one code; fill, hold and vent must differ")
    if isinstance(named, list):
        names = tuple(file.string(one, where) for one in named)
        if len(names) != axles:
            file.refuse(f"{where}: {len(names)} variables; {axles} axles need one each")
        return Binding(names, unit, codes)
    text = file.string(named, where)
    if "{axle}" in text:
        names = tuple(text.replace("{axle}", str(i + 1)) for i in range(axles))
        return Binding(names, unit, codes)
    return Binding((text,), unit, codes)


def _tunables(file: _File) -> dict[str, Tunable]:
    found: dict[str, Tunable] = {}
    for name, value in file.table("parameters").items():
        where = f"parameters.{name}"
        if isinstance(value, str):
            value = {"variable": value}
        if not isinstance(value, dict):
            file.refuse(f"{where} = {shown(value)}; allowed: a variable's name, or a table")
        file.known(value, ("variable", "low", "high", "unit", "source"), f"{where}.")
        found[name] = Tunable(
            variable=file.string(value.get("variable"), f"{where}.variable"),
            low=file.number(value["low"], f"{where}.low") if "low" in value else None,
            high=file.number(value["high"], f"{where}.high") if "high" in value else None,
            unit=file.string(value["unit"], f"{where}.unit") if "unit" in value else "",
            source=file.string(value["source"], f"{where}.source") if "source" in value else "",
        )
    return found


def checked(found: UnitMap, description: Description, where: str) -> UnitMap:
    """Return a mapping if all it names is there, of the right causality and size.

    Raises
    ------
    InputError   naming variable and what is wrong; also for an input nothing is bound to
    """
    check = _Check(found, description, where)
    check.all()
    return found


class _Check:
    def __init__(self, found: UnitMap, description: Description, where: str) -> None:
        self.found, self.description, self.where = found, description, where

    def refuse(self, what: str) -> NoReturn:
        raise InputError(f"{self.where}: {what}")

    def variable(self, name: str, key: str, *causalities: str) -> Variable:
        variable = self.description.by_name.get(name)
        if variable is None:
            near = nearest_text(name, [v.name for v in self.description.of(*causalities)] or ["-"])
            self.refuse(f"{key}: the unit has no variable {shown(name)}; {near}")
        if variable.causality not in causalities:
            self.refuse(
                f"{key}: {shown(name)} is {variable.causality}; allowed: {' or '.join(causalities)}"
            )
        if variable.kind in ("String", "Binary", "Clock"):
            self.refuse(f"{key}: {shown(name)} is a {variable.kind}; allowed: a number")
        return variable

    def all(self) -> None:
        found = self.found
        if not found.outputs:
            self.refuse("binds no outputs; a strategy gives valve, or is_hold and is_vent")
        if not {"valve", "is_vent", "demand_factor"} & set(found.outputs):
            self.refuse("binds neither valve nor is_vent nor demand_factor")
        if "valve" in found.outputs and {"is_hold", "is_vent"} & set(found.outputs):
            self.refuse("binds valve and is_hold or is_vent; give one or the other")
        for key, binding in found.inputs.items():
            self.binding(f"inputs.{key}", key, binding, "input")
        for key, binding in found.outputs.items():
            self.binding(f"outputs.{key}", key, binding, "output")
        for name in found.values:
            self.variable(name, f"values.{name}", "input", "parameter", "structuralParameter")
        tuned = [tunable.variable for tunable in found.parameters.values()]
        for key, tunable in found.parameters.items():
            if tuned.count(tunable.variable) > 1:
                self.refuse(f"parameters.{key}: {shown(tunable.variable)} is offered twice")
            variable = self.variable(tunable.variable, f"parameters.{key}", "parameter")
            if self.description.size_of(variable) != 1:
                self.refuse(f"parameters.{key}: {shown(tunable.variable)} is an array")
        if found.axle_count:
            kinds = ("parameter", "structuralParameter", "input")
            self.variable(found.axle_count, "axle_count", *kinds)
        self.unmapped()

    def binding(self, where: str, key: str, binding: Binding, causality: str) -> None:
        axles = self.found.axles
        variables = [self.variable(name, where, causality) for name in binding.names]
        sizes = [self.description.size_of(variable) for variable in variables]
        if len(variables) > 1 or sizes == [1]:
            if any(size != 1 for size in sizes):
                self.refuse(f"{where}: one of its variables is an array; name that one alone")
            if len(variables) == 1 and axles > 1 and key in BY_AXLE:
                self.refuse(
                    f"{where}: {shown(binding.names[0])} is one number, axles = {axles}; "
                    "give one an axle"
                )
        elif sizes[0] != axles and not self.has_own_size(variables[0]):
            self.refuse(
                f"{where}: {shown(binding.names[0])} has {sizes[0]} values; axles = {axles}"
            )

    def has_own_size(self, variable: Variable) -> bool:
        """Whether an array is sized by the parameter that counts the axles."""
        counts = self.description.by_name.get(self.found.axle_count)
        return counts is not None and ("variable", counts.reference) in variable.dimensions

    def unmapped(self) -> None:
        used = {name for binding in self.found.inputs.values() for name in binding.names}
        used |= {*self.found.values, self.found.axle_count}
        for variable in self.description.of("input"):
            if variable.name not in used and variable.kind not in ("Clock",):
                self.refuse(
                    f"input {shown(variable.name)} of the unit is bound to nothing; bind it under "
                    "[inputs], or give it a value under [values]"
                )
