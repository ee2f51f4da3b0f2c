"""A file that explains itself: every key of a train, rail, driver or scenario, with its meaning.

What is written runs as it stands. Values are plain, so that a source cannot outlive the value it
was given for; where the written number is from stands in the comment above it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from itertools import groupby
from typing import Any

from slipbench.ground.caution import CAUTION
from slipbench.results.scenario_file import text_value
from slipbench.scenario import Scenario, load_scenario
from slipbench.scenario.acting import inert_because
from slipbench.scenario.chain import PARTS
from slipbench.scenario.fields import Record, default_of, specs_of
from slipbench.scenario.layers import EMERGENCY_WORD, FULL_SERVICE_WORD
from slipbench.scenario.rules import rule_of
from slipbench.scenario.specs import FieldSpec
from slipbench.scenario.units import Unit, practical_unit

KINDS = ("train", "rail", "driver", "scenario")
"""What a file can be written of; the command line also writes a strategy."""

_WIDTH = 100
_BASES = {"train": "dry", "rail": "wet_leaf", "driver": "dry", "scenario": "dry"}

_INTROS = {
    "train": """A train: change what differs from yours, then
  slipbench check {name}
  slipbench compare wet_leaf damp_oxide --train {name}
The numbers are those of an invented unit.""",
    "rail": """A rail: change what differs from yours, then
  slipbench check {name}
  slipbench compare {name_of_scenario} --rail {name}
More sections, each from its distance on, make a rail that changes along the way.""",
    "driver": """A driver: change what is done with the handle, then
  slipbench check {name}
  slipbench stop wet_leaf --driver {name}""",
    "scenario": """A scenario: a train on a rail with a driver, from a speed. Then
  slipbench check {name}
  slipbench compare {name}""",
}

_HOW = """A key says its unit (_bar, _kpa, _pa); any that `slipbench keys KEY` names will do. What
stands behind a # is left out, and the value it shows holds (... where there is none). Where you
know where a value is from, say so; a plain one is shown as given, no source:
  teeth = { value = 90, mark = "published", source = "drawing 123, invented" }
Marks: published, secondary, memory, derived, assumed."""


def template(kind: str, file_name: str, base: str | None = None) -> str:
    """Return an annotated file that can be used as it is written.

    Parameters
    ----------
    kind : str        one of `KINDS`
    file_name : str   what it is called in its own commands
    base : str        shipped train, rail, driver or scenario (or a file of one) whose values it
                      has; None: the usual one

    Returns
    -------
    str   TOML

    Raises
    ------
    InputError   if there is no such
    """
    intro = _INTROS[kind].format(name=file_name, name_of_scenario="wet_leaf")
    lines = [f"# {line}".rstrip() for line in f"{intro}\n\n{_HOW}".splitlines()]
    lines += [f"# {line}" for line in textwrap.wrap(CAUTION, _WIDTH - 2)]
    scenario = _based_on(kind, base)
    if base is None:
        scenario = scenario.replace({"train.name": "My unit (numbers of an invented one)"})
    if kind == "scenario":
        return "\n".join([*lines, "", *_whole(scenario, base)]) + "\n"
    fields, along = PARTS[kind]
    for name in (*fields, *along):
        lines += _field_tables(scenario, name)
    return "\n".join(lines) + "\n"


def _based_on(kind: str, base: str | None) -> Scenario:
    """Return a scenario that has the part asked for; of a scenario, all of it."""
    if base is None:
        return load_scenario(_BASES[kind])
    if kind == "scenario":
        return load_scenario(base)
    parts: dict[str, Any] = {kind: base}
    return load_scenario("dry", **parts)


def _whole(scenario: Scenario, base: str | None) -> Iterator[str]:
    """Yield the lines of a scenario that takes its parts from files of their own."""
    yield 'title = "My stop (invented)"'
    for name in ("initial_speed",):
        yield from _key(scenario, scenario, name, "", is_live=True)
    yield ""
    for part, shipped, more in (
        ("train", "elderwick", "slipbench new train unit.toml writes one"),
        ("rail", "wet_leaf", "slipbench new rail rail.toml writes one"),
        ("driver", FULL_SERVICE_WORD, "slipbench new driver driver.toml writes one"),
    ):
        yield f"# The {part}: a shipped name, or a file beside this one ({more})."
        yield f"{part} = {text_value(base or shipped)}"
    for name in ("faults", "run"):
        yield from _field_tables(scenario, name)


def _field_tables(scenario: Scenario, name: str) -> list[str]:
    """Return the tables of a field of the scenario; a list that is empty is told in a comment."""
    spec, value = specs_of(Scenario)[name], getattr(scenario, name)
    key = spec.key or name
    if spec.is_list and not value:
        return ["", *_absent(spec, f"[[{key}]]", key)]
    items = value if spec.is_list else (value,)
    lines: list[str] = []
    for i, item, n_equal in _once(items):
        path = f"{name}.{i}." if spec.is_list else f"{name}."
        lines += _table(scenario, item, key, path, spec, n_equal)
    return lines


def _once(items: tuple[Any, ...]) -> Iterator[tuple[int, Any, int]]:
    """Yield each run of equal items once: the place it begins at, the item, how many."""
    first = 0
    for item, run in groupby(items):
        n_equal = len(list(run))
        yield first, item, n_equal
        first += n_equal


def _table(
    scenario: Scenario, owner: Record, key: str, path: str, spec: FieldSpec, n_equal: int = 1
) -> list[str]:
    opening = f"[[{key}]]" if spec.is_list else f"[{key}]"
    lines = ["", *_comment(spec.doc), opening]
    inner: list[str] = []
    if spec.is_repeatable:
        lines += [
            *_comment("Equal vehicles this table stands for. From 1 to 20."),
            f"repeat = {n_equal}",
        ]
    for name, own in specs_of(type(owner)).items():
        value = getattr(owner, name)
        if own.kind != "record":
            lines += _key(scenario, owner, name, path)
        elif own.is_list and value:
            for i, item, n in _once(value):
                below = f"{path}{name}.{i}."
                inner += _table(scenario, item, f"{key}.{own.key}", below, own, n)
        elif value is not None and not own.is_list:
            inner += _table(scenario, value, f"{key}.{own.key or name}", f"{path}{name}.", own)
        else:
            full = f"{key}.{own.key or name}"
            inner += ["", *_absent(own, f"[[{full}]]" if own.is_list else f"[{full}]", full)]
    return lines + inner


def _absent(spec: FieldSpec, opening: str, key: str) -> list[str]:
    return _comment(f"{opening} {spec.doc} Its keys: slipbench keys {key}")


def _key(
    scenario: Scenario, owner: Record, name: str, path: str, is_live: bool = False
) -> list[str]:
    """Return the lines of one value: meaning, unit, range, mark; then the key, live or not."""
    spec, value = specs_of(type(owner))[name], getattr(owner, name)
    unit = practical_unit(spec.dimension)
    default = default_of(type(owner), name)
    inert = inert_because(scenario, owner, name)
    origin = scenario.provenance.get(f"{path}{name}")
    implied = owner.implied(name) if value is None else None
    is_live = (
        (is_live or origin is not None or value != default) and value is not None and not inert
    )
    said = [spec.doc, f"{_allowed(spec, unit)}."]
    rule = rule_of(type(owner), name)
    if rule is not None:
        said.append(f"Acts with {rule.says}.")
    if origin is not None:
        said.append(
            f"Here {origin.mark}: {origin.source}." if origin.source else f"Here {origin.mark}."
        )
    elif implied is not None:
        said.append(f"By default {implied.mark}: {implied.source}.")
    elif spec.mark:
        said.append(f"By default {spec.mark}: {spec.source}.")
    shown = implied.value if implied is not None else value
    key = f"{spec.key or name}_{unit.suffix}" if spec.kind == "quantity" and unit.suffix else name
    text = _written(shown, spec, unit, scenario)
    line = f"{key} = {text}" if is_live else f"#{key} = {text}"
    return [*_comment(" ".join(said)), line]


def _allowed(spec: FieldSpec, unit: Unit) -> str:
    text = spec.allowed_text(unit if spec.kind == "quantity" else None)
    text = f"A list, each {text}" if spec.is_list else text
    return text[0].upper() + text[1:]


def _written(value: Any, spec: FieldSpec, unit: Unit, scenario: Scenario) -> str:
    if value is None or value == ():
        return "..."
    if isinstance(value, tuple):
        return f"[{', '.join(_written(item, spec, unit, scenario) for item in value)}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return text_value(value)
    if spec.kind == "position":
        words = {scenario.brake.n_steps: FULL_SERVICE_WORD}
        words[scenario.brake.emergency_position] = EMERGENCY_WORD
        return text_value(words[value]) if value in words else str(value)
    return _number(value, unit) if spec.kind == "quantity" else str(value)


def _number(value: float, unit: Unit) -> str:
    """Return the shortest number in a unit that is read back as the same bits, or nearly."""
    for n_digits in range(4, 18):
        text = f"{unit.from_si(value):.{n_digits}g}"
        if unit.to_si(float(text)) == value:
            break
    return text


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(text, _WIDTH - 2)]
