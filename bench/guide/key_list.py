"""Scenario keys in plain text: all parts, one part, or one key with everything about it."""

from __future__ import annotations

import dataclasses
import textwrap
from collections.abc import Iterator
from typing import Any, NamedTuple

from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text, shown
from slipbench.scenario import Scenario
from slipbench.scenario.fields import default_of, specs_of
from slipbench.scenario.layers import keys_of
from slipbench.scenario.rules import rule_of
from slipbench.scenario.specs import FieldSpec
from slipbench.scenario.units import practical_unit, si_unit

WIDTH = 100


class Key(NamedTuple):
    """One key of a scenario file: its table, its field there, and what may stand in it."""

    table: str
    is_list: bool
    record: type[Any]
    name: str
    spec: FieldSpec

    @property
    def dotted(self) -> str:
        """The key as `--set` takes it."""
        return f"{self.table}.{self.spec.key or self.name}" if self.table else self.name

    @property
    def opening(self) -> str:
        """The head of the table it stands in; empty at the top of a file."""
        if not self.table:
            return ""
        return f"[[{self.table}]]" if self.is_list else f"[{self.table}]"

    @property
    def spellings(self) -> list[str]:
        """How it is written in a file, a spelling a unit."""
        return keys_of(self.name, self.spec)

    @property
    def acts(self) -> str:
        """In which configuration it acts; empty for all of them."""
        rule = rule_of(self.record, self.name)
        return "" if rule is None else rule.says

    def allowed(self) -> str:
        """Return the allowed range, in a practical unit."""
        unit = practical_unit(self.spec.dimension) if self.spec.kind == "quantity" else None
        return f"{'list, each ' if self.spec.is_list else ''}{self.spec.allowed_text(unit)}"

    def default(self) -> str:
        """Return the default in that unit, with its mark and source."""
        default, spec = default_of(self.record, self.name), self.spec
        if default is dataclasses.MISSING:
            return "required"
        if default in (None, ()):
            return "none"
        unit = practical_unit(spec.dimension)
        if spec.kind == "quantity" and isinstance(default, float):
            text = f"{unit.from_si(default):.6g} {unit.text}".removesuffix(" -").strip()
        else:
            text = shown(default).replace("'", "")
        return f"{text} ({spec.mark}: {spec.source})" if spec.mark else text


def all_keys() -> list[Key]:
    """Return every key of a scenario file, table by table."""
    return list(_keys(Scenario, "", False))


def _keys(record: type[Any], table: str, is_list: bool) -> Iterator[Key]:
    specs = specs_of(record)
    for name, spec in specs.items():
        if spec.kind != "record":
            yield Key(table, is_list, record, name, spec)
    for name, spec in specs.items():
        if spec.kind == "record" and spec.record_type is not None:
            inner = f"{table}.{spec.key or name}" if table else spec.key or name
            yield from _keys(spec.record_type, inner, spec.is_list)


def keys_text(word: str | None = None) -> str:
    """Return the parts, the keys of one part, or all about one key.

    Parameters
    ----------
    word : str or None   a table (`brake`, `train.vehicle`), or a key (`brake.fill_rate`,
                         `fill_rate`, `fill_rate_bar_per_s`); None lists the tables

    Raises
    ------
    InputError   for a word that is neither
    """
    keys = all_keys()
    if word is None:
        return _tables(keys)
    wanted = word.strip().strip("[]")
    of_table = [key for key in keys if key.table == wanted and wanted]
    found = list(map(_in_full, (key for key in keys if wanted in _names(key))))
    if of_table:
        inner = dict.fromkeys(k.opening for k in keys if k.table.startswith(f"{wanted}."))
        more = f"\n\ntables inside: {', '.join(inner)}" if inner else ""
        found.insert(0, f"{of_table[0].opening}\n\n" + "\n".join(map(_in_short, of_table)) + more)
    if not found:
        known = [key.table for key in keys if key.table] + [n for k in keys for n in _names(k)]
        near = nearest_text(wanted, dict.fromkeys(known))
        near = near if near.startswith("did") else "slipbench keys lists the tables"
        raise InputError(f"keys {shown(word)}: neither a table nor a key; {near}")
    return "\n\n".join(found)


def _names(key: Key) -> list[str]:
    words = [key.name, *key.spellings]
    return [*words, *(f"{key.table}.{word}" for word in words if key.table)]


def _tables(keys: list[Key]) -> str:
    counts: dict[tuple[str, str], int] = {}
    for key in keys:
        place = (key.opening or "(top of the file)", key.table)
        counts[place] = counts.get(place, 0) + 1
    width = max(len(opening) for opening, _ in counts)
    lines = [f"{opening:<{width}}  {n:3d} keys" for (opening, _), n in counts.items()]
    return "\n".join(
        [*lines, "", "slipbench keys TABLE lists its keys, slipbench keys KEY tells all"]
    )


def _in_short(key: Key) -> str:
    head = f"  {' | '.join(key.spellings)}"
    said = f"{key.spec.doc} {key.allowed()}; default {key.default()}"
    if key.acts:
        said += f"; acts with {key.acts}"
    return "\n".join([head, *(f"      {line}" for line in textwrap.wrap(said, WIDTH - 6))])


def _in_full(key: Key) -> str:
    place = f"in {key.opening}" if key.opening else "at the top of the file"
    unit = si_unit(key.spec.dimension).text if key.spec.kind == "quantity" else ""
    rows = [
        ("meaning", key.spec.doc),
        ("in a file", f"{' | '.join(key.spellings)}, {place}"),
        ("SI unit", unit or "none"),
        ("allowed", key.allowed()),
        ("default", key.default()),
        ("acts", f"with {key.acts}" if key.acts else "always"),
    ]
    lines = [key.dotted]
    for label, text in rows:
        first, *others = textwrap.wrap(text, WIDTH - 14)
        lines += [f"  {label:<10}  {first}", *(f"{'':14}{line}" for line in others)]
    return "\n".join(lines)
