"""A scenario as one canonical text: the same text for the same values, and back without loss.

The text is what a campaign stores and hashes. It holds every value in SI, names and titles
included, and no provenance.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.ground.reading import regular_bytes
from slipbench.ground.telling import told
from slipbench.scenario import Scenario
from slipbench.scenario.fields import Record, specs_of


def as_json(content: Any) -> str:
    """Return plain data as JSON without spaces, keys in order; floats keep every bit."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)


def short_hash(text: str) -> str:
    """Return the first 32 hexadecimal digits of the SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def scenario_text(scenario: Scenario) -> str:
    """Return the canonical text of a scenario."""
    return as_json(_plain(scenario))


def scenario_hash(scenario: Scenario) -> str:
    """Return the hash of a scenario's canonical text."""
    return short_hash(scenario_text(scenario))


def scenario_from_text(text: str) -> Scenario:
    """Return the scenario of a canonical text, equal to the one it was made from.

    Raises
    ------
    InputError   if the text is none, or of another version with other fields
    """
    try:
        made = _made(Scenario, json.loads(text))
    except (TypeError, ValueError, AttributeError, KeyError, RecursionError) as problem:
        raise InputError(f"stored scenario cannot be read: {told(problem)}") from problem
    assert isinstance(made, Scenario)
    return made


def first_difference(before: str, after: str) -> str:
    """Return the first value in which two canonical texts differ, as `path was x, is y`."""
    old, new = _leaves(json.loads(before), ""), _leaves(json.loads(after), "")
    for path in [*old, *(path for path in new if path not in old)]:
        if old.get(path) != new.get(path):
            return f"{path} was {old.get(path, 'missing')}, is {new.get(path, 'missing')}"
    return "nothing"


def _leaves(content: Any, path: str) -> dict[str, Any]:
    if isinstance(content, dict):
        items = list(content.items())
    elif isinstance(content, list):
        items = [(str(i), item) for i, item in enumerate(content)]
    else:
        return {path: content}
    found: dict[str, Any] = {}
    for key, item in items:
        found |= _leaves(item, f"{path}.{key}" if path else key)
    return found


@lru_cache(maxsize=64)
def _specs(record_type: Any) -> tuple[tuple[str, bool], ...]:
    return tuple((name, spec.is_file) for name, spec in specs_of(record_type).items())


def _plain(value: Any) -> Any:
    kind: Any = type(value)
    if isinstance(value, Record):
        return {
            name: _file(getattr(value, name)) if is_file else _plain(getattr(value, name))
            for name, is_file in _specs(kind)
        }
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


def _file(path: str | None) -> dict[str, str] | None:
    """Return a file's path with the hash of its content, which decides the numbers."""
    if path is None:
        return None
    content = regular_bytes(path, "a file the scenario names")
    return {"path": path, "sha256": hashlib.sha256(content).hexdigest()}


def _made(record_type: type[Any], content: dict[str, Any]) -> Any:
    specs = specs_of(record_type)
    values: dict[str, Any] = {}
    for name, value in content.items():
        spec = specs.get(name)
        inner = spec.record_type if spec else None
        if value is None or spec is None:
            values[name] = value
        elif spec.is_file:
            values[name] = value["path"]
        elif inner is None:
            values[name] = value
        elif spec.is_list:
            values[name] = tuple(_made(inner, item) for item in value)
        else:
            values[name] = _made(inner, value)
    return record_type(**values)
