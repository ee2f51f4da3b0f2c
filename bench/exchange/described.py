"""The `modelDescription.xml` of a unit that is written."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import quoteattr

from slipbench.exchange.outline import (
    BOOLEAN,
    INPUT,
    INTEGER,
    OUTPUT,
    REAL,
    UNITS,
    Item,
    Outline,
)
from slipbench.ground.version import VERSION

_KINDS_2 = {REAL: "Real", INTEGER: "Integer", BOOLEAN: "Boolean"}
_KINDS_3 = {REAL: "Float64", INTEGER: "Int32", BOOLEAN: "Boolean"}


def description_of(outline: Outline) -> str:
    """Return the description as XML text."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', *_head(outline)]
    lines += ["<UnitDefinitions>", *_units(outline), "</UnitDefinitions>"]
    times = f'stopTime="{outline.stop!r}" stepSize="{outline.step!r}"'
    lines.append(f'<DefaultExperiment startTime="0" {times}/>')
    lines += ["<ModelVariables>", *_variables(outline), "</ModelVariables>"]
    lines += ["<ModelStructure>", *_structure(outline), "</ModelStructure>"]
    return "\n".join([*lines, "</fmiModelDescription>"]) + "\n"


def _head(outline: Outline) -> Iterator[str]:
    is_2 = outline.version == 2
    token = "guid" if is_2 else "instantiationToken"
    state = "FMUstate" if is_2 else "FMUState"
    yield (
        f'<fmiModelDescription fmiVersion="{outline.version}.0" '
        f'modelName={quoteattr(outline.name)} {token}="{outline.token}" '
        f'description={quoteattr(outline.text)} generationTool="slipbench {VERSION}" '
        'variableNamingConvention="structured">'
    )
    allocator = 'canNotUseMemoryManagementFunctions="false" ' if is_2 else ""
    yield (
        f'<CoSimulation modelIdentifier="{outline.identifier}" '
        'canHandleVariableCommunicationStepSize="true" canBeInstantiatedOnlyOncePerProcess="false" '
        f'{allocator}canGetAndSet{state}="true" canSerialize{state}="true"/>'
    )


def _units(outline: Outline) -> Iterator[str]:
    for name in dict.fromkeys(item.unit for item in outline.items if item.unit in UNITS):
        powers = " ".join(f'{base}="{power}"' for base, power in UNITS[name].items())
        yield f'<Unit name="{name}"><BaseUnit {powers}/></Unit>'


def _attributes(item: Item) -> str:
    unit = f' unit="{item.unit}"' if item.unit in UNITS else ""
    bounds = ""
    if item.kind != BOOLEAN:
        for name, value in (("min", item.low), ("max", item.high)):
            bounds += "" if value is None else f' {name}="{_number(value, item)}"'
    return unit + bounds


def _number(value: float, item: Item) -> str:
    if item.kind == BOOLEAN:
        return "true" if value else "false"
    return repr(float(value)) if item.kind == REAL else str(int(value))


def _variables(outline: Outline) -> Iterator[str]:
    is_2 = outline.version == 2
    for reference, (name, _, count, item, i) in enumerate(outline.scalars()):
        starts = item.starts[i : i + count] if item.starts else ()
        start = f' start="{" ".join(_number(v, item) for v in starts)}"' if starts else ""
        common = (
            f'name="{name}" valueReference="{reference}" description={quoteattr(item.text)} '
            f'causality="{item.causality}" variability="{item.variability}"'
        )
        initial = ' initial="exact"' if item.role not in (INPUT, OUTPUT) else ""
        initial = ' initial="calculated"' if item.role == OUTPUT else initial
        if is_2:
            inner = f"<{_KINDS_2[item.kind]}{_attributes(item)}{start}/>"
            yield f"<ScalarVariable {common}{initial}>{inner}</ScalarVariable>"
            continue
        tag = _KINDS_3[item.kind]
        initial = "" if item.role == INPUT else initial
        whole = f"<{tag} {common}{initial}{_attributes(item)}{start}"
        size = f'><Dimension start="{count}"/></{tag}>' if item.is_array else "/>"
        yield whole + size
    if not is_2:
        n_variables = sum(1 for _ in outline.scalars())
        yield (
            f'<Float64 name="time" valueReference="{n_variables}" causality="independent" '
            'variability="continuous"/>'
        )


def _structure(outline: Outline) -> Iterator[str]:
    outputs = [i for i, row in enumerate(outline.scalars()) if row[3].role == OUTPUT]
    if outline.version == 2:
        unknowns = "".join(f'<Unknown index="{i + 1}"/>' for i in outputs)
        yield f"<Outputs>{unknowns}</Outputs>"
        yield f"<InitialUnknowns>{unknowns}</InitialUnknowns>"
        return
    for tag in ("Output", "InitialUnknown"):
        yield "".join(f'<{tag} valueReference="{i}"/>' for i in outputs)
