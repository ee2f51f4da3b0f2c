"""Tables of a scenario file turned into checked SI values, not yet complete.

A file may hold only part of a scenario and lean on another, so each file becomes a layer of its
own; layers are merged, and only then built into a `Scenario`.
"""

import difflib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, NamedTuple, NoReturn

from slipbench.ground.errors import InputError
from slipbench.ground.marks import MARKS, MARKS_NEEDING_SOURCE
from slipbench.ground.telling import nearest_text, one_line, shown
from slipbench.scenario.brake import RELEASE
from slipbench.scenario.fields import specs_of
from slipbench.scenario.provenance import Provenance
from slipbench.scenario.specs import FieldSpec, Unacceptable
from slipbench.scenario.units import ALL_SUFFIXES, DIMENSIONS, Unit, unit_of

EMERGENCY_WORD = "emergency"
FULL_SERVICE_WORD = "full_service"
RELEASE_WORD = "release"
_REPEAT = FieldSpec(kind="count", dimension="count", doc="Equal vehicles.", low=1, high=20)
_PROVENANCE_KEYS = ("value", "mark", "source")
UNREADABLE = "\ue000"
"""Stands for a value whose line is no TOML, already told (see `slipbench.scenario.lines`)."""


class Leaf(NamedTuple):
    """One value in SI, with the file and key it was read from."""

    value: Any
    provenance: Provenance | None
    file: str
    key: str
    shown: str


class Branch(NamedTuple):
    """One table: its values, tables and lists of tables by field name."""

    record_type: type[Any]
    path: str
    file: str
    entries: dict[str, Any]


class FileProblem(InputError):
    """An `InputError` about one value of a scenario file, which still knows file and key.

    Parameters
    ----------
    file : str     as it was opened; "" where the detail says it
    key : str      dotted, as the file spells it; "" for the file as a whole
    detail : str   what is wrong and what is allowed
    value : str    as written; may be empty
    """

    def __init__(self, file: str, key: str, detail: str, value: str = "") -> None:
        super().__init__(file, key, detail, value)
        self.file, self.key, self.detail, self.value = file, key, detail, value
        self.line = 0
        """Of the file, from 1; 0 where it is not known."""

    def __str__(self) -> str:
        place = f"{self.file}: line {self.line}" if self.line else self.file
        is_given = f" = {self.value}" if self.value else ""
        return one_line(": ".join(filter(None, [place, self.key + is_given, self.detail])))


class Broken:
    """What stands in a layer for a value that was refused, where reading goes on."""


BROKEN = Broken()

Noted = list[FileProblem] | None
"""Where reading goes on, the problems met; None where the first one ends it."""


@contextmanager
def noting(noted: Noted) -> Iterator[None]:
    """Note a problem of the `with` body and leave the body, or let it pass where none is noted."""
    try:
        yield
    except FileProblem as problem:
        if noted is None:
            raise
        noted.append(problem)


class Patch(NamedTuple):
    """A table where a list of tables stands below: values changed in each item, or in some."""

    path: str
    file: str
    each: Branch
    items: dict[int, Branch]


def is_list(entry: Any) -> bool:
    """Say whether an entry of a layer is a list of tables (its other kinds are tuples too)."""
    return type(entry) is tuple


def refuse(file: str, key: str, detail: str, value: str = "") -> NoReturn:
    """Raise the one-line `FileProblem` for `key` of `file`."""
    raise FileProblem(file, key, detail, value)


def read_table(
    record_type: type[Any],
    table: Mapping[str, Any],
    path: str,
    file: str,
    extra_keys: tuple[str, ...] = (),
    noted: Noted = None,
) -> Branch:
    """Read one TOML table into a `Branch`; raise `FileProblem` at the first mistake, or note it.

    `extra_keys` are keys the caller has already dealt with; they are only named as known.
    """
    specs = specs_of(record_type)
    entries: dict[str, Any] = {}
    used: dict[str, str] = {}
    for key, raw in table.items():
        where = f"{path}.{key}" if path else key
        with noting(noted):
            try:
                name, unit = _resolve(specs, key, path, file, extra_keys)
            except FileProblem:  # what is told as misspelt is not told as missing too
                meant = _meant(specs, key)
                if noted is not None and meant:
                    entries.setdefault(meant, BROKEN)
                raise
            if name in used:
                refuse(file, where, f"given twice, also as {used[name]}; give it once, in one unit")
            used[name] = key
            entries[name] = BROKEN
            entries[name] = _read_entry(specs[name], unit, raw, where, file, noted)
    return Branch(record_type, path, file, entries)


def _read_entry(
    spec: FieldSpec, unit: Unit | None, raw: object, where: str, file: str, noted: Noted
) -> Any:
    if raw == UNREADABLE:
        return BROKEN
    if spec.kind != "record":
        return _read_leaf(spec, unit, raw, where, file)
    if spec.is_list:
        return _read_list(spec, raw, where, file, noted)
    if not isinstance(raw, Mapping):
        refuse(file, where, f"must be a table, [{where}]", shown(raw))
    return read_table(_type_of(spec), raw, where, file, noted=noted)


def merge(base: Branch, top: Branch, noted: Noted = None) -> Branch:
    """Lay `top` over `base`: tables and items named singly are merged, all else replaced whole."""
    entries = dict(base.entries)
    for name, entry in top.entries.items():
        below = entries.get(name)
        if isinstance(entry, Patch):
            with noting(noted):
                entries[name] = _patched(below, entry)
        elif isinstance(entry, Branch) and isinstance(below, Branch):
            entries[name] = merge(below, entry, noted)
        else:
            entries[name] = entry
    return Branch(top.record_type, top.path, top.file, entries)


def _patched(below: Any, patch: Patch) -> Any:
    """Return a list of tables with values of its items changed, all else in them kept."""
    if not is_list(below):
        refuse(
            patch.file,
            patch.path,
            f"changes a list that is not there; to give one write [[{patch.path}]]",
        )
    for number, item in patch.items.items():
        if number >= len(below):
            refuse(patch.file, item.path, f"there are items 0 to {len(below) - 1}")

    def changed(i: int, item: Branch) -> Branch:
        for top in (patch.each, patch.items.get(i)):
            if top is not None:
                item = merge(item, top)._replace(path=item.path)
        return item

    return tuple(changed(i, item) for i, item in enumerate(below))


def keys_of(name: str, spec: FieldSpec) -> list[str]:
    """Return the TOML keys that may give a field."""
    if spec.kind == "record":
        return [spec.key or name]
    if spec.kind != "quantity":
        return [name]
    units = DIMENSIONS[spec.dimension]
    return [f"{name}_{unit.suffix}" if unit.suffix else name for unit in units]


def _type_of(spec: FieldSpec) -> type[Any]:
    assert spec.record_type is not None
    return spec.record_type


def _resolve(
    specs: Mapping[str, FieldSpec], key: str, path: str, file: str, extra_keys: tuple[str, ...]
) -> tuple[str, Unit | None]:
    """Return the field a key means, and the unit it names."""
    for name, spec in specs.items():
        if key in keys_of(name, spec):
            suffix = key[len(name) + 1 :] if spec.kind == "quantity" else ""
            return name, unit_of(spec.dimension, suffix)
    prefix = f"{path}." if path else ""
    where = prefix + key
    for name, spec in specs.items():
        choices = ", ".join(keys_of(name, spec))
        has_unit = spec.kind == "quantity" and len(keys_of(name, spec)[0]) > len(name)
        if key == name and has_unit:
            refuse(file, where, f"a unit is needed in the key: {choices}")
        if key.startswith(f"{name}_"):
            suffix = key[len(name) + 1 :]
            if has_unit:
                refuse(file, where, f"unknown unit {shown(suffix)} for {name}; allowed: {choices}")
            if suffix in ALL_SUFFIXES and spec.kind != "record":
                refuse(file, where, f"{name} takes no unit; the key is {prefix}{name}")
    known = [k for name, spec in specs.items() for k in keys_of(name, spec)]
    refuse(file, where, f"unknown key; {nearest_text(key, [*known, *extra_keys])}")


def _meant(specs: Mapping[str, FieldSpec], key: str) -> str:
    """Return the field a key seems to mean; empty if none."""
    for name in specs:
        if key == name or key.removeprefix(f"{name}_") in ALL_SUFFIXES:
            return name
    spellings = {k: name for name, spec in specs.items() for k in (name, *keys_of(name, spec))}
    near = difflib.get_close_matches(key, spellings, n=1, cutoff=0.6)
    by_start = [name for name in specs if key.startswith(f"{name}_")]
    return spellings[near[0]] if near else (by_start or [""])[-1]


def _read_leaf(spec: FieldSpec, unit: Unit | None, raw: object, where: str, file: str) -> Leaf:
    provenance = None
    if isinstance(raw, Mapping):
        raw, provenance = _read_provenance(raw, spec, unit, where, file)
    try:
        if spec.kind == "position" and isinstance(raw, str):
            value = _position_of(raw, spec)
        else:
            value = spec.accept(raw, unit)
    except Unacceptable as problem:
        words = ""
        if spec.kind == "position":
            words = f', or "{RELEASE_WORD}", "{FULL_SERVICE_WORD}", "{EMERGENCY_WORD}"'
        refuse(file, where, f"{problem}{words}", shown(raw))
    return Leaf(value, provenance, file, where, shown(raw))


def _position_of(word: str, spec: FieldSpec) -> object:
    if word == RELEASE_WORD:
        return RELEASE
    if word in (EMERGENCY_WORD, FULL_SERVICE_WORD):
        return word  # becomes a number once the brake's steps are known
    raise Unacceptable(f"must be {spec.allowed_text()}")


def _read_provenance(
    table: Mapping[str, Any], spec: FieldSpec, unit: Unit | None, where: str, file: str
) -> tuple[object, Provenance | None]:
    if "value" not in table:
        refuse(file, where, f"needs a value, {spec.allowed_text(unit)}", shown(dict(table)))
    for key in table:
        if key not in _PROVENANCE_KEYS:
            known = ", ".join(_PROVENANCE_KEYS)
            refuse(file, f"{where}.{key}", f"unknown key; allowed here: {known}")
    mark, source = table.get("mark", "given"), table.get("source", "")
    if mark not in ("given", *MARKS) or ("mark" in table and mark == "given"):
        refuse(file, f"{where}.mark", f"must be one of {', '.join(MARKS)}", shown(mark))
    if not isinstance(source, str) or len(source.splitlines()) > 1 or "\0" in source:
        refuse(file, f"{where}.source", "must be text of one line", shown(source))
    if mark in MARKS_NEEDING_SOURCE and not source.strip():
        refuse(file, f"{where}.source", f"missing; a {mark} value must name its source (text)")
    return table["value"], Provenance(mark, source)


def _read_list(
    spec: FieldSpec, raw: object, where: str, file: str, noted: Noted
) -> tuple[Branch, ...] | Patch:
    if isinstance(raw, Mapping):
        return _read_patch(spec, raw, where, file, noted)
    if not isinstance(raw, list) or not all(isinstance(item, Mapping) for item in raw):
        refuse(file, where, f"must be a list of tables, [[{where}]]", shown(raw))
    if spec.max_items is not None and len(raw) > spec.max_items:  # before each is looked at
        refuse(file, where, f"has {len(raw)} items, at most {spec.max_items} are allowed")
    extra_keys = ("repeat",) if spec.is_repeatable else ()
    if len(raw) < spec.min_items:
        refuse(file, where, f"must have at least {spec.min_items} table, [[{where}]]", shown(raw))
    branches: list[Branch] = []
    for i, item in enumerate(raw):
        table, n_equal = dict(item), 1
        if spec.is_repeatable and "repeat" in table:
            repeat = table.pop("repeat")
            with noting(noted):
                n_equal = _read_leaf(_REPEAT, None, repeat, f"{where}.{i}.repeat", file).value
        branch = read_table(_type_of(spec), table, f"{where}.{i}", file, extra_keys, noted)
        branches += [branch] * n_equal
    if spec.max_items is not None and len(branches) > spec.max_items:
        refuse(file, where, f"has {len(branches)} items, at most {spec.max_items} are allowed")
    return tuple(branches)


def _read_patch(
    spec: FieldSpec, raw: Mapping[str, Any], where: str, file: str, noted: Noted
) -> Patch:
    """Read `[rail.section]`, values for every section, or `[rail.section.0]`, for one."""
    record_type = _type_of(spec)
    numbered = {k: v for k, v in raw.items() if k.isascii() and k.isdigit() and len(k) < 8}
    rest = {key: value for key, value in raw.items() if key not in numbered}
    items: dict[int, Branch] = {}
    for key, table in numbered.items():
        with noting(noted):
            if not isinstance(table, Mapping):
                refuse(file, f"{where}.{key}", f"must be a table, [{where}.{key}]", shown(table))
            items[int(key)] = read_table(record_type, table, f"{where}.{key}", file, noted=noted)
    return Patch(where, file, read_table(record_type, rest, where, file, noted=noted), items)
