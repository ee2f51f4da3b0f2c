"""A first mapping for a unit, by the names of its variables: to be read and corrected."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from slipbench.exchange.description import Description, Variable
from slipbench.exchange.mapping import (
    BY_AXLE,
    INPUTS,
    MOST_AXLES,
    OUTPUTS,
    Binding,
    Tunable,
    UnitMap,
)
from slipbench.ground.caution import CAUTION

_INDEXED = re.compile(r"(?P<head>.*?)[\[_. ]?(?P<number>\d{1,2})\]?(?P<tail>\D*)", re.ASCII)

_WORDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "measured_wheel_speed": (("wheel", "speed"), ("axle", "speed"), ("wheel", "v"), ("speed",)),
    "measured_pressure": (("pressure",), ("cyl",)),
    "brake_demand": (("demand",), ("brake", "request")),
    "sample_time": (("sample", "time"), ("step", "time"), ("dt",)),
    "is_hold": (("hold",),),
    "is_vent": (("vent",), ("release",), ("exhaust",)),
    "valve": (("valve",), ("command",)),
    "dynamic_factor": (("dynamic", "factor"), ("drive", "factor")),
    "dynamic_force": (("dynamic", "force"), ("drive", "force")),
    "dynamic_demand": (("dynamic", "demand"),),
    "demand_factor": (("demand", "factor"), ("factor",)),
    "slide": (("slide",), ("slid",)),
    "isolated": (("isolated",),),
}
"""Words in a variable's name that speak for a column, the best first."""

_BY_UNIT = {
    **dict.fromkeys(("m/s", "km/h", "mph", "m.s-1"), "measured_wheel_speed"),
    **dict.fromkeys(("pa", "kpa", "bar"), "measured_pressure"),
}

AXLE_COUNTS = ("n_axles", "axles", "number_of_axles", "axle_count")


def own_names(description: Description) -> UnitMap | None:
    """Return the mapping of a unit whose variables have the contract's own names, None for others.

    Its inputs are columns of the observation, its outputs the contract's; an axle's number stands
    in brackets, or the variable is an array. All its tunable parameters are offered.
    """
    inputs = _exact(description.of("input"), INPUTS)
    outputs = _exact(description.of("output"), OUTPUTS)
    known = {name for names in inputs.values() for name in names}
    if any(v.name not in known for v in description.of("input")) or "valve" not in outputs:
        return None
    axles = _most_axles(description, [inputs, outputs])
    if axles == 0:
        return None
    return UnitMap(
        axles=axles,
        axle_count=_axle_count(description),
        inputs={name: Binding(names) for name, names in inputs.items()},
        outputs={name: Binding(names) for name, names in outputs.items()},
        parameters=_parameters(description),
        scope="train" if "scope = train" in description.text else "vehicle",
    )


def _exact(variables: Iterable[Variable], allowed: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for variable in variables:
        base = variable.name.partition("[")[0]
        if base in allowed:
            found.setdefault(base, []).append(variable.name)
    return {base: tuple(sorted(names, key=_number)) for base, names in found.items()}


def _number(name: str) -> int:
    match = _INDEXED.fullmatch(name)
    return int(match["number"]) if match else 0


def _most_axles(description: Description, tables: list[dict[str, tuple[str, ...]]]) -> int:
    sizes = set()
    for table in tables:
        for name, names in table.items():
            if name in BY_AXLE:
                size = sum(description.size_of(description.by_name[one]) for one in names)
                sizes.add(size)
    return sizes.pop() if len(sizes) == 1 and max(sizes) <= MOST_AXLES else 0


def _axle_count(description: Description) -> str:
    for variable in description.of("parameter", "structuralParameter"):
        if variable.name.lower() in AXLE_COUNTS and variable.variability != "constant":
            return variable.name
    return ""


def _parameters(description: Description) -> dict[str, Tunable]:
    count = _axle_count(description)
    return {
        _plain(variable.name): Tunable(variable.name)
        for variable in description.of("parameter")
        if variable.kind in ("Real", "Float64", "Float32")
        and variable.variability in ("tunable", "fixed")
        and variable.start
        and description.size_of(variable) == 1
        and variable.name != count
    }


def _plain(name: str) -> str:
    return re.sub(r"\W+", "_", name, flags=re.ASCII).strip("_") or "parameter"


def _grouped(variables: Iterable[Variable]) -> dict[str, list[Variable]]:
    """Return variables that differ in one number only, by their name with `{axle}` for it."""
    groups: dict[str, list[Variable]] = {}
    for variable in variables:
        match = _INDEXED.fullmatch(variable.name)
        key = variable.name
        if match is not None and not variable.dimensions:
            start, end = match.span("number")
            key = f"{variable.name[:start]}{{axle}}{variable.name[end:]}"
        groups.setdefault(key, []).append(variable)
    return groups


def _speaks_for(name: str, unit: str, taken: set[str], columns: tuple[str, ...]) -> str | None:
    """Return the column a name speaks for; where none does, an axle's variable by its unit."""
    lowered = name.lower()
    for rank in range(4):
        for column in columns:
            words = _WORDS.get(column, ())
            if column not in taken and rank < len(words) and all(w in lowered for w in words[rank]):
                return column
    by_unit = _BY_UNIT.get(unit.lower()) if "{axle}" in name else None
    return by_unit if by_unit in columns and by_unit not in taken else None


def guess_text(description: Description, name: str) -> str:
    """Return a mapping file for a unit, guessed by its variables' names, as TOML with remarks."""
    inputs, outputs = _grouped(description.of("input")), _grouped(description.of("output"))
    axles = max(
        [1]
        + [len(group) for key, group in (inputs | outputs).items() if "{axle}" in key]
        + [description.size_of(v) for v in description.of("input", "output")]
    )
    lines = [
        f"# How slipbench binds {name}: guessed from its variables' names. Read it, correct it.",
        f"# {CAUTION}",
        "",
        f"axles = {min(axles, MOST_AXLES)}  # of a vehicle",
    ]
    count = _axle_count(description)
    if count:
        lines.append(f"axle_count = {_quoted(count)}  # tells the unit how many a vehicle has")
    lines += ['scope = "vehicle"  # or "train": one instance for all axles', ""]
    lines += ["[inputs]  # column of the observation = variable of the unit"]
    lines += _table(inputs, INPUTS, description)
    lines += ["", "[outputs]  # what the bench takes = variable of the unit"]
    lines += _table(outputs, OUTPUTS, description)
    lines += ["", "[values]  # inputs the bench has nothing for, held at a value", ""]
    lines += ["[parameters]  # name in slipbench = variable, low and high in the unit's own unit"]
    lines += _parameter_lines(description)
    return "\n".join(lines) + "\n"


def _table(
    groups: dict[str, list[Variable]], columns: tuple[str, ...], description: Description
) -> Iterator[str]:
    taken: set[str] = set()
    left: list[str] = []
    for key, group in groups.items():
        column = _speaks_for(key, group[0].unit, taken, columns)
        if column is None:
            left += [_remark(key, group, description)]
            continue
        taken.add(column)
        more = ", fill = 0, hold = 1, vent = 2" if column == "valve" else ""
        if not group[0].unit and columns is INPUTS:
            more += f", unit = {_quoted(_si_of(column))}"
        text = f"{{ variable = {_quoted(key)}{more} }}" if more else _quoted(key)
        yield f"{column} = {text}{_remark_of(group[0])}"
    if left:
        yield "# not guessed; bind each, or give it a value under [values]:"
        yield from left


def _si_of(column: str) -> str:
    units = {"dynamic_force": "N", "dynamic_demand": "N"}
    units |= {"measured_wheel_speed": "m/s", "measured_pressure": "Pa", "sample_time": "s"}
    return units.get(column, "-")


def _remark(key: str, group: list[Variable], description: Description) -> str:
    size = description.size_of(group[0])
    values = f", {size} values" if size > 1 else ""
    return f"#   {_quoted(key)}{values}{_remark_of(group[0])}"


def _remark_of(variable: Variable) -> str:
    parts = [variable.kind, f"[{variable.unit}]" if variable.unit else "", variable.description]
    return f"  # {' '.join(' '.join(part for part in parts if part).split())}"


def _parameter_lines(description: Description) -> Iterator[str]:
    for name, tunable in _parameters(description).items():
        variable = description.by_name[tunable.variable]
        start = (variable.start or (0.0,))[0]
        reach = abs(start) or 1.0
        low = variable.low if variable.low is not None else min(start - 0.5 * reach, 0.0)
        high = variable.high if variable.high is not None else start + reach
        given = variable.low is not None and variable.high is not None
        mark = "" if given else "bounds assumed; "
        yield (
            f"{_quoted(name) if not name.isidentifier() else name} = "
            f"{{ variable = {_quoted(tunable.variable)}, low = {low!r}, high = {high!r} }}"
            f"  # {mark}start {start!r} {variable.unit or '-'} {variable.description}".rstrip()
        )


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    kept = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped)
    return f'"{kept}"'
