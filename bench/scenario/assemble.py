"""Single values of a scenario, written as text: what `--set` and `--vary` name and hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text, shown
from slipbench.scenario.fields import Record, specs_of
from slipbench.scenario.scenario import Scenario
from slipbench.scenario.specs import FieldSpec, Unacceptable
from slipbench.scenario.units import parse_value

_FLAGS = {"true": True, "false": False}


def with_values(scenario: Scenario, texts: Sequence[str]) -> Scenario:
    """Return a scenario with single values set, each written `KEY=VALUE` with its unit.

    Parameters
    ----------
    scenario : Scenario
    texts : sequence of str   a key is dotted, spelled as in a file without the unit's suffix, or as
                              `slipbench show` prints it; items of a list are counted from 0, `*`
                              or nothing is all of them; a list of numbers has commas between

    Returns
    -------
    Scenario   its title says what was set

    Raises
    ------
    InputError   for an unknown key, one given twice, a missing or wrong unit, a value out of range
    """
    changes: dict[str, Any] = {}
    for text in texts:
        key, is_given, value = text.partition("=")
        if not is_given or not key.strip():
            raise InputError(
                f"--set {shown(text)}; write KEY=VALUE, such as rail.section.friction=0.05"
            )
        path, spec = field_at(key.strip())
        if path in changes:
            raise InputError(f"--set {shown(text)}: {path} is given twice; give it once")
        changes[path] = _value(f"--set {key.strip()}", spec, value.strip())
    if not changes:
        return scenario
    try:
        changed = scenario.replace(changes)
    except InputError as problem:
        raise InputError(f"--set: {problem}") from problem
    told = ", ".join(text.strip() for text in texts)
    return changed.replace(title=f"{scenario.title}; {told}")


def field_at(key: str) -> tuple[str, FieldSpec]:
    """Return the path of `Scenario.replace` that a key stands for, and what its field may hold.

    Raises
    ------
    InputError   for an unknown key, or one of a table
    """
    owner: type[Record] = Scenario
    path: list[str] = []
    words = key.split(".")
    while True:
        specs = specs_of(owner)
        names = {name: name for name in specs} | {s.key: name for name, s in specs.items() if s.key}
        word = words.pop(0)
        if word not in names:
            raise InputError(f"--set {key}: {shown(word)} is no key; {nearest_text(word, names)}")
        spec = specs[names[word]]
        path.append(names[word])
        if spec.kind != "record":
            if words:
                raise InputError(f"--set {key}: {'.'.join(path)} has no parts; set it whole")
            return ".".join(path), spec
        if spec.is_list:
            is_item = bool(words) and (words[0] == "*" or words[0].isdigit())
            path.append(words.pop(0) if is_item else "*")
        assert spec.record_type is not None
        owner = spec.record_type
        if not words:
            inner = ", ".join(_keys_of(owner))
            raise InputError(f"--set {key}: is a table; set a value in it: {inner}")


def _keys_of(owner: type[Record]) -> Iterator[str]:
    for name, spec in specs_of(owner).items():
        yield spec.key or name


def _value(where: str, spec: FieldSpec, text: str) -> Any:
    """Return the SI value of a text, of the kind its field holds."""
    try:
        if spec.is_list:
            items = [] if not text else [_item(spec, word.strip()) for word in text.split(",")]
            return spec.accept(items)
        return spec.accept(_item(spec, text))
    except Unacceptable as problem:
        raise InputError(f"{where} = {shown(text)}: {problem}") from None
    except InputError as problem:
        raise InputError(f"{where} = {problem}") from None


def _item(spec: FieldSpec, text: str) -> Any:
    if spec.kind == "flag":
        return _FLAGS.get(text.casefold(), text)
    if not spec.is_numeric:
        return text
    if spec.kind == "quantity":
        return parse_value(text, spec.unit_text)
    try:
        return int(text)
    except ValueError:
        raise Unacceptable(f"must be {spec.allowed_text()}") from None
