"""Write a scenario as a file that `load_scenario` reads back equal, every value with its source."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from typing import Any

from slipbench.ground.caution import CAUTION
from slipbench.ground.marks import MARKS
from slipbench.scenario import Scenario
from slipbench.scenario.acting import inert_because
from slipbench.scenario.fields import Record, default_of, specs_of
from slipbench.scenario.layers import keys_of
from slipbench.scenario.provenance import Provenance
from slipbench.scenario.specs import FieldSpec

UNITS_NOTE = "All values are in SI."


def scenario_file(scenario: Scenario, notes: Sequence[str] = ()) -> str:
    """Return a scenario as TOML, complete in itself.

    Parameters
    ----------
    scenario : Scenario
    notes : sequence of str   lines of the comment at the top

    Returns
    -------
    str   TOML; values carry the mark and source of the scenario's provenance, or of the default
    """
    lines = [f"# {line}" for note in (*notes, UNITS_NOTE, CAUTION) for line in note.splitlines()]
    lines += ["", *_table(scenario, "", "", scenario)]
    return "\n".join(lines) + "\n"


def text_value(text: str) -> str:
    """Return a text as a TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _table(owner: Record, path: str, heading: str, scenario: Scenario) -> list[str]:
    """Return the lines of one table: its values, then the tables inside it."""
    lines: list[str] = []
    inner: list[str] = []
    for name, spec in specs_of(type(owner)).items():
        value = getattr(owner, name)
        key = keys_of(name, spec)[0]
        if value is None or inert_because(scenario, owner, name):
            continue
        if name == "profile":  # its rows are the sections already
            continue
        if spec.kind != "record":
            origin = _origin(owner, name, spec, value, path + name, scenario)
            lines.append(f"{key} = {_with_origin(_written(value), origin)}")
            continue
        title = f"{heading}.{key}" if heading else key
        items = value if spec.is_list else (value,)
        for i, item in enumerate(items):
            where = f"{path}{name}.{i}." if spec.is_list else f"{path}{name}."
            opening = f"[[{title}]]" if spec.is_list else f"[{title}]"
            inner += ["", opening, *_table(item, where, title, scenario)]
    return lines + inner


def _origin(
    owner: Record, name: str, spec: FieldSpec, value: Any, path: str, scenario: Scenario
) -> Provenance | None:
    origin = scenario.provenance.get(path)
    if origin is not None:
        return origin
    default = default_of(type(owner), name)
    if default is not dataclasses.MISSING and value == default and spec.mark in MARKS:
        return Provenance(spec.mark, spec.source)
    return None


def _with_origin(written: str, origin: Provenance | None) -> str:
    if origin is None:
        return written
    parts = [f"value = {written}"]
    if origin.mark in MARKS:
        parts.append(f"mark = {text_value(origin.mark)}")
    if origin.source:
        parts.append(f"source = {text_value(origin.source)}")
    return f"{{ {', '.join(parts)} }}"


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return text_value(value)
    if isinstance(value, tuple):
        return f"[{', '.join(map(_written, value))}]"
    return repr(value)
