"""Load a scenario: its files laid over each other, then built into checked records."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from slipbench.ground.errors import InputError
from slipbench.ground.reading import place, regular_toml
from slipbench.ground.telling import shown
from slipbench.scenario.acting import idle_value
from slipbench.scenario.chain import (
    LONGEST_NAME,
    checked_part,
    locate,
    name_of,
    put_lines,
    read_chain,
    text_leaf,
    with_part,
    with_positions,
)
from slipbench.scenario.driver import HandleEntry
from slipbench.scenario.fields import FieldProblem, default_of, specs_of
from slipbench.scenario.handle_log import handle_log
from slipbench.scenario.layers import (
    EMERGENCY_WORD,
    FULL_SERVICE_WORD,
    Branch,
    FileProblem,
    Leaf,
    Patch,
    keys_of,
    read_table,
    refuse,
)
from slipbench.scenario.profile import sections_from_csv
from slipbench.scenario.provenance import Provenance
from slipbench.scenario.scenario import Scenario
from slipbench.scenario.specs import FieldSpec

Read = TypeVar("Read")


def load_scenario(
    name_or_path: str | os.PathLike[str],
    *,
    train: str | os.PathLike[str] | None = None,
    rail: str | os.PathLike[str] | None = None,
    driver: str | os.PathLike[str] | None = None,
) -> Scenario:
    """Load a shipped scenario by name, or any scenario file by path.

    Parameters
    ----------
    name_or_path : str or path
        A name from `scenario_names()`, or a path: text that ends in `.toml` or holds a path
        separator, or names an existing file or directory, is taken as a path.
    train, rail, driver : str, path or None
        Taken from there instead: a shipped train or driver, any scenario, or a file that gives that
        part alone. Name and title of the scenario then say so.

    Returns
    -------
    Scenario
        In SI, checked, with the provenance its files give.

    Raises
    ------
    InputError
        If there is no such scenario or anything in its files does not fit.

    Notes
    -----
    `based_on = "..."` at the top of a file names another (a shipped name, or a path relative to
    the file) over which this one is laid: tables are merged, values and lists replaced whole, and a
    table in place of a list of tables changes values in its items. `train = "..."`, `rail` and
    `driver` take that part from a file of its own. The name of a scenario is its own or its
    file's, never inherited.
    """
    path = locate(name_or_path, Path())
    try:
        layer = titled(*read_chain(path), path)
        for part, other in (("train", train), ("rail", rail), ("driver", driver)):
            if other is not None:
                layer = with_other(layer, part, other)
        return built(layer)
    except FileProblem as problem:
        put_lines([problem])
        raise


def read_record(path: str | os.PathLike[str], record_type: type[Read], what: str) -> Read:
    """Read a file of another kind that is written as scenarios are: units in its keys, marks.

    Parameters
    ----------
    path : str or path
    record_type : a class made by `fields.record`
    what : str   what such a file is, as "a route is a TOML file"

    Returns
    -------
    an instance of it, in SI, checked; its file names lie beside the file

    Raises
    ------
    InputError   one line with file, key, value and what is allowed
    """
    try:
        layer = read_table(record_type, regular_toml(path, what), "", os.fspath(path))
        made: Read = _construct(layer, _build_values(layer, "", {}, layer))
        return made
    except FileProblem as problem:
        put_lines([problem])
        raise


def titled(layer: Branch, base_title: str, path: Path) -> Branch:
    """Return a layer with the name of its file, and a title, where it gives none."""
    entries = dict(layer.entries)
    entries.setdefault("name", text_leaf(name_of(path), path))
    if "title" not in entries and base_title:
        entries["title"] = text_leaf(f"changed from: {base_title}", path)
    name = entries["name"]
    if isinstance(name, Leaf) and len(name.value) > LONGEST_NAME:
        detail = f"has {len(name.value)} characters; at most {LONGEST_NAME} are allowed"
        refuse(name.file, name.key, detail, name.shown)
    return layer._replace(entries=entries)


def with_other(layer: Branch, part: str, name_or_path: str | os.PathLike[str]) -> Branch:
    """Return a layer with a part taken from elsewhere; name and title say so.

    Raises
    ------
    InputError
    """
    try:
        given = name_or_path.strip() if isinstance(name_or_path, str) else name_or_path
        path = locate(given, Path(), part)
        other, _ = read_chain(path)
        other = checked_part(other, part, path)
    except FileProblem:
        raise
    except InputError as problem:
        raise InputError(f"--{part}: {problem}") from problem
    own = other.entries.get("name")
    name = own.value if isinstance(own, Leaf) else name_of(path)
    said = {"name": f", {part} {name}", "title": f"; {part} of {name}"}
    entries = dict(with_part(layer, other, part).entries)
    for field, text in said.items():
        before = entries.get(field)
        if isinstance(before, Leaf):
            entries[field] = before._replace(value=before.value + text)
    return layer._replace(entries=entries)


def built(layer: Branch) -> Scenario:
    """Return the scenario a complete layer gives.

    Raises
    ------
    FileProblem
    """
    layer = resolved(layer)
    provenance: dict[str, Provenance] = {}
    values = _build_values(layer, "", provenance, layer)
    scenario = _construct(layer, {**values, "provenance": provenance})
    assert isinstance(scenario, Scenario)
    return scenario


def resolved(layer: Branch) -> Branch:
    """Read the handle log and turn words for positions into numbers, now that steps are known."""
    brake, driver = layer.entries.get("brake"), layer.entries.get("driver")
    steps = brake.entries.get("steps") if isinstance(brake, Branch) else None
    if not isinstance(steps, Leaf) or not isinstance(driver, Branch):
        return layer
    n_steps = len(steps.value)
    log = driver.entries.get("log")
    if isinstance(log, Leaf):
        file = Path(log.file).parent / log.value
        movements = handle_log(file, n_steps)
        entries = {name: entry for name, entry in driver.entries.items() if name != "log"}
        entries["programme"] = tuple(_branch_of(entry, str(file)) for entry in movements)
        layer = layer._replace(entries=layer.entries | {"driver": driver._replace(entries=entries)})
    words = {EMERGENCY_WORD: n_steps + 1, FULL_SERVICE_WORD: n_steps}
    return with_positions(layer, lambda value: words.get(value, value))


def _branch_of(entry: HandleEntry, file: str) -> Branch:
    values = {"at_time": entry.at_time, "position": entry.position, "level": entry.level}
    leaves = {
        name: Leaf(value, None, file, name, shown(value))
        for name, value in values.items()
        if value is not None
    }
    return Branch(HandleEntry, "", file, leaves)


def _build_values(
    branch: Branch, path: str, provenance: dict[str, Provenance], root: Branch
) -> dict[str, Any]:
    """Return the constructor arguments of a branch, inner records built; note provenance."""
    values: dict[str, Any] = {}
    for name, spec in specs_of(branch.record_type).items():
        here = f"{path}{name}"
        entry = branch.entries.get(name)
        if entry is None:
            if default_of(branch.record_type, name) is dataclasses.MISSING:
                idle = idle_value(branch, root, name)
                if idle is dataclasses.MISSING:
                    refuse_missing(branch, name, spec)
                values[name] = idle
        elif isinstance(entry, Leaf):
            values[name] = leaf_value(entry, spec)
            if entry.provenance is not None:
                provenance[here] = entry.provenance
        elif isinstance(entry, Branch):
            inner = _build_values(entry, f"{here}.", provenance, root)
            values[name] = _construct(entry, inner)
        elif isinstance(entry, Patch):
            refuse_patch(entry)
        else:
            values[name] = tuple(
                _construct(item, _build_values(item, f"{here}.{i}.", provenance, root))
                for i, item in enumerate(entry)
            )
    if values.get("profile") is not None:
        _lay_profile(values, provenance)
    return values


def leaf_value(leaf: Leaf, spec: FieldSpec) -> Any:
    """Return a value as its record takes it: a file by its path from here."""
    return str(Path(leaf.file).parent / leaf.value) if spec.is_file else leaf.value


def _lay_profile(values: dict[str, Any], provenance: dict[str, Provenance]) -> None:
    """Make the sections from data: rows laid over the first section, whose other values hold on.

    What a row gives is the file's; what it does not give keeps the first section's provenance.
    """
    template = values["sections"][0]
    values["sections"] = sections_from_csv(values["profile"], template)
    first = "rail.sections.0."
    origins = {
        path.removeprefix(first): provenance.pop(path)
        for path in list(provenance)
        if path.startswith(first)
    }
    by_file = Provenance("given", f"rail profile {place(values['profile'])}")
    for i, section in enumerate(values["sections"]):
        for name in specs_of(type(section)):
            if getattr(section, name) != getattr(template, name) or name in (
                "from_distance",
                "friction",
            ):
                provenance[f"rail.sections.{i}.{name}"] = by_file
            elif name in origins:
                provenance[f"rail.sections.{i}.{name}"] = origins[name]


def refuse_patch(patch: Patch) -> NoReturn:
    """Refuse a table where a list of tables is to be given, with none below to change."""
    refuse(patch.file, patch.path, f"must be a list of tables, [[{patch.path}]]")


def refuse_missing(branch: Branch, name: str, spec: FieldSpec) -> NoReturn:
    """Refuse a table that lacks a value."""
    prefix = f"{branch.path}." if branch.path else ""
    keys = [prefix + key for key in keys_of(name, spec)]
    if spec.kind == "record":
        what = f"the table [[{keys[0]}]]" if spec.is_list else f"the table [{keys[0]}]"
        refuse(branch.file, keys[0], f"missing; give {what}. {spec.doc}")
    what = f"{' or '.join(keys)}, {spec.allowed_text()}"
    refuse(branch.file, prefix + name, f"missing; give {what}. {spec.doc}")


def _construct(branch: Branch, values: Mapping[str, Any]) -> Any:
    """Build the record; a problem is told with the file and the key the value was read from."""
    try:
        return branch.record_type(**values)
    except FieldProblem as problem:
        raise located(branch, problem) from None


def located(branch: Branch, problem: FieldProblem) -> FileProblem:
    """Return a problem of a record with the file and the key its value was read from."""
    file, key, as_written = _origin(branch, problem.key)
    return FileProblem(file, key, problem.detail, as_written or problem.value)


def _origin(branch: Branch, dotted: str) -> tuple[str, str, str]:
    """Return file, TOML key and text as written of the value at a dotted path in `branch`."""
    entry: Any = branch
    key, file = branch.path, branch.file
    for word in dotted.split("."):
        if isinstance(entry, Branch):
            spec = specs_of(entry.record_type)[word]
            entry = entry.entries.get(word)
            key = f"{key}.{spec.key or word}" if key else spec.key or word
        elif isinstance(entry, tuple) and not isinstance(entry, Leaf):
            entry = entry[int(word)] if word.isdigit() and int(word) < len(entry) else None
            key = f"{key}.{word}"
        if isinstance(entry, Branch | Leaf):
            file = entry.file
            key = (entry.path if isinstance(entry, Branch) else entry.key) or key
    return file, key, entry.shown if isinstance(entry, Leaf) else ""
