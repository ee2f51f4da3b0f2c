"""Scenario files: find them, read them, lay them over each other, build the scenario."""

import dataclasses
import os
from pathlib import Path
from typing import Any, NoReturn

from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_regular, regular_toml
from slipbench.ground.telling import cut, nearest_text, one_line, shown, visible
from slipbench.scenario.driver import HandleEntry
from slipbench.scenario.fields import FieldProblem, FieldSpec, default_of, specs_of
from slipbench.scenario.handle_log import handle_log
from slipbench.scenario.layers import (
    EMERGENCY_WORD,
    Branch,
    Leaf,
    keys_of,
    merge,
    read_table,
    refuse,
)
from slipbench.scenario.profile import sections_from_csv
from slipbench.scenario.provenance import Provenance
from slipbench.scenario.scenario import Scenario

PRESETS = Path(__file__).parent / "presets"
_BASE_KEY = "based_on"
LONGEST_CHAIN = 20
"""Files that may be based on one another."""

LONGEST_NAME = 60
"""Characters of a scenario's name, which stands in tables, pictures and names of files."""

_PROGRAMMES = {"programme": "handle", "routine": "routine", "log": "log"}
"""Fields, and their keys, that say what the driver does; a file gives one of them."""


def scenario_names() -> tuple[str, ...]:
    """Return the names of the shipped scenarios, in alphabetical order."""
    return tuple(name for name in _all_presets() if not name.startswith("_"))


def load_scenario(name_or_path: str | os.PathLike[str]) -> Scenario:
    """Load a shipped scenario by name, or any scenario file by path.

    Parameters
    ----------
    name_or_path : str or path
        A name from `scenario_names()`, or a path: text that ends in `.toml` or holds a path
        separator, or names an existing file or directory, is taken as a path.

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
    the file) over which this one is laid: tables are merged, values and lists replaced whole.
    The name of a scenario is its own or its file's, never inherited.
    """
    path = _locate(name_or_path, Path())
    layer, base_title = _read_chain(path, ())
    layer.entries.setdefault("name", _text_leaf(_name_of(path), path))
    if "title" not in layer.entries and base_title:
        layer.entries["title"] = _text_leaf(f"changed from: {base_title}", path)
    name = layer.entries["name"]
    if len(name.value) > LONGEST_NAME:
        detail = f"has {len(name.value)} characters; at most {LONGEST_NAME} are allowed"
        refuse(name.file, name.key, detail, name.shown)
    _resolve_handle(layer)
    provenance: dict[str, Provenance] = {}
    values = _build_values(layer, "", provenance)
    scenario = _construct(layer, {**values, "provenance": provenance})
    assert isinstance(scenario, Scenario)
    return scenario


def _name_of(path: Path) -> str:
    """Return the name of a scenario that gives none: its file's, made printable."""
    stem = os.fsencode(path.stem).decode("utf-8", "replace")
    return cut(visible(one_line(stem)), LONGEST_NAME) or "scenario"


def _text_leaf(text: str, path: Path) -> Leaf:
    return Leaf(text, None, str(path), "", shown(text))


def _locate(name_or_path: str | os.PathLike[str], directory: Path) -> Path:
    try:
        text = os.fspath(name_or_path)
    except TypeError:
        text = ""
    if not isinstance(text, str) or not text.strip() or "\0" in text:
        allowed = "must be a shipped name or a path (text)"
        raise InputError(f"scenario {shown(name_or_path)}: {allowed}")
    is_path = not isinstance(name_or_path, str) or text.endswith(".toml")
    is_path = is_path or "/" in text or os.sep in text
    if not is_path and text in _all_presets():
        return PRESETS / f"{text}.toml"
    if is_path or os.path.lexists(directory / text):
        return directory / text
    raise InputError(
        f"scenario {shown(text)}: no shipped scenario and no file of this name; "
        f"{nearest_text(text, scenario_names())} (a path ends in .toml)"
    )


def _all_presets() -> tuple[str, ...]:
    return tuple(sorted(file.stem for file in PRESETS.glob("*.toml")))


def _read_toml(path: Path) -> dict[str, Any]:
    missing = f"shipped scenarios: {', '.join(scenario_names())}"
    return regular_toml(path, "a scenario is a TOML file", missing=missing)


def _read_chain(path: Path, above: tuple[Path, ...]) -> tuple[Branch, str]:
    """Read a file and all it is based on; return the merged layer and the title lying below."""
    data = _read_toml(path)
    base_name = data.pop(_BASE_KEY, None)
    layer = read_table(Scenario, data, "", str(path), extra_keys=(_BASE_KEY,))
    given = _programmes_of(layer)
    if len(given) > 1:
        keys = " and ".join(_PROGRAMMES[name] for name in given)
        refuse(str(path), "driver", f"{keys} both say what the driver does; give one of them")
    if base_name is None:
        return layer, ""
    base_path = _locate_base(base_name, path)
    chain = (*above, Path(os.path.realpath(path)))  # Path.resolve raises on a circle of links
    if len(chain) > LONGEST_CHAIN:
        refuse(str(path), _BASE_KEY, f"is file {len(chain)} of a chain; at most {LONGEST_CHAIN}")
    if Path(os.path.realpath(base_path)) in chain:
        circle = " -> ".join(file.name for file in (*chain, base_path))
        refuse(str(path), _BASE_KEY, f"goes round in a circle ({circle}); it must end")
    lower, base_title = _read_chain(base_path, chain)
    lower.entries.pop("name", None)
    if given:  # of this file, in place of whatever the lower one gives
        for name in _programmes_of(lower):
            del lower.entries["driver"].entries[name]
    title = lower.entries.pop("title", None)
    return merge(lower, layer), title.value if title else base_title


def _locate_base(base_name: object, path: Path) -> Path:
    allowed = "must be a shipped name or a path relative to this file (text)"
    if not isinstance(base_name, str) or not base_name.strip():
        refuse(str(path), _BASE_KEY, allowed, shown(base_name))
    try:
        base_path = _locate(base_name, path.parent)
    except InputError as problem:
        refuse(str(path), _BASE_KEY, str(problem), shown(base_name))
    if not is_regular(base_path):
        refuse(str(path), _BASE_KEY, f"no file {base_path}; {allowed}", shown(base_name))
    return base_path


def _programmes_of(layer: Branch) -> list[str]:
    driver = layer.entries.get("driver")
    return [name for name in _PROGRAMMES if driver and name in driver.entries]


def _resolve_handle(layer: Branch) -> None:
    """Read the handle log and resolve the word emergency, now that the number of steps is known."""
    brake, driver = layer.entries.get("brake"), layer.entries.get("driver")
    steps = brake.entries.get("steps") if brake else None
    if not steps or not driver:
        return
    log = driver.entries.pop("log", None)
    if log is not None:
        file = Path(log.file).parent / log.value
        movements = handle_log(file, len(steps.value))
        driver.entries["programme"] = tuple(_branch_of(entry, str(file)) for entry in movements)
    routine = driver.entries.get("routine")
    for entry in (*driver.entries.get("programme", ()), *([routine] if routine else [])):
        position = entry.entries.get("position")
        if position is not None and position.value == EMERGENCY_WORD:
            entry.entries["position"] = position._replace(value=len(steps.value) + 1)


def _branch_of(entry: HandleEntry, file: str) -> Branch:
    values = {"at_time": entry.at_time, "position": entry.position, "level": entry.level}
    leaves = {
        name: Leaf(value, None, file, name, shown(value))
        for name, value in values.items()
        if value is not None
    }
    return Branch(HandleEntry, "", file, leaves)


def _build_values(branch: Branch, path: str, provenance: dict[str, Provenance]) -> dict[str, Any]:
    """Return the constructor arguments of a branch, inner records built; note provenance."""
    values: dict[str, Any] = {}
    for name, spec in specs_of(branch.record_type).items():
        here = f"{path}{name}"
        entry = branch.entries.get(name)
        if entry is None:
            if default_of(branch.record_type, name) is dataclasses.MISSING:
                _refuse_missing(branch, name, spec)
        elif isinstance(entry, Leaf):
            values[name] = entry.value
            if spec.is_file:
                values[name] = str(Path(entry.file).parent / entry.value)
            if entry.provenance is not None:
                provenance[here] = entry.provenance
        elif isinstance(entry, Branch):
            values[name] = _construct(entry, _build_values(entry, f"{here}.", provenance))
        else:
            values[name] = tuple(
                _construct(item, _build_values(item, f"{here}.{i}.", provenance))
                for i, item in enumerate(entry)
            )
    if values.get("profile") is not None:  # a rail from data: rows laid over the first section
        values["sections"] = sections_from_csv(values["profile"], values["sections"][0])
    return values


def _refuse_missing(branch: Branch, name: str, spec: FieldSpec) -> NoReturn:
    prefix = f"{branch.path}." if branch.path else ""
    keys = [prefix + key for key in keys_of(name, spec)]
    if spec.kind == "record":
        what = f"the table [[{keys[0]}]]" if spec.is_list else f"the table [{keys[0]}]"
        refuse(branch.file, keys[0], f"missing; give {what}. {spec.doc}")
    what = f"{' or '.join(keys)}, {spec.allowed_text()}"
    refuse(branch.file, prefix + name, f"missing; give {what}. {spec.doc}")


def _construct(branch: Branch, values: dict[str, Any]) -> Any:
    """Build the record; a problem is told with the file and the key the value was read from."""
    try:
        return branch.record_type(**values)
    except FieldProblem as problem:
        file, key, as_written = _origin(branch, problem.key)
        refuse(file, key, problem.detail, as_written or problem.value)


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
            entry = entry[int(word)]
            key = f"{key}.{word}"
        if isinstance(entry, Branch | Leaf):
            file = entry.file
            key = (entry.path if isinstance(entry, Branch) else entry.key) or key
    return file, key, entry.shown if isinstance(entry, Leaf) else ""
