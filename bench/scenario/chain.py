"""Scenario files on their way to a scenario: found by name, read, laid over each other.

A file may be based on another, and take its train, rail or driver from files of their own. What
this makes is one layer, in which every value still knows the file it is from.
"""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from slipbench.ground.errors import InputError
from slipbench.ground.reading import check_content, is_regular, place, regular_text, regular_toml
from slipbench.ground.telling import cut, nearest_text, one_line, shown, visible
from slipbench.scenario.acting import refuse_inert, without_inert
from slipbench.scenario.fields import default_of, specs_of
from slipbench.scenario.layers import (
    EMERGENCY_WORD,
    Branch,
    FileProblem,
    Leaf,
    Noted,
    Patch,
    is_list,
    merge,
    noting,
    read_table,
    refuse,
)
from slipbench.scenario.lines import line_of, readable_part
from slipbench.scenario.scenario import Scenario

HERE = Path(__file__).parent
PRESETS = HERE / "presets"
SHIPPED = {"scenario": PRESETS, "train": HERE / "trains", "driver": HERE / "drivers"}
"""Folders of what is shipped, by what it is."""

LONGEST_CHAIN = 20
"""Files that may be based on one another."""

LONGEST_NAME = 60
"""Characters of a scenario's name, which stands in tables, pictures and names of files."""

LONGEST_MENDED = 200_000
"""Characters of a file in which more than one mistake of spelling is looked for."""

BASE_KEY = "based_on"
FILE_KEY = "file"
_EXTRA_KEYS = (BASE_KEY,)
_WHAT = "a scenario is a TOML file"


class PartOf(NamedTuple):
    """A part of a scenario that may have a file of its own."""

    fields: tuple[str, ...]
    """Fields of the scenario that come with it, and go where it is replaced."""

    along: tuple[str, ...]
    """Fields that come with it where it gives them, and stay where it does not."""


PARTS: Mapping[str, PartOf] = {
    "train": PartOf(("train", "brake", "slip_control", "sensing", "sanders"), ("equipment",)),
    "rail": PartOf(("rail", "contact"), ("gradient", "curves")),
    "driver": PartOf(("driver",), ()),
}

PROGRAMMES = {"programme": "handle", "routine": "routine", "log": "log"}
"""Fields, and their keys, that say what the driver does; a file gives one of them."""


def names_of(what: str) -> tuple[str, ...]:
    """Return the shipped names of a kind: scenario, train or driver; in alphabetical order."""
    return tuple(name for name in _all_of(what) if not name.startswith("_"))


def _all_of(what: str) -> tuple[str, ...]:
    return tuple(sorted(file.stem for file in SHIPPED[what].glob("*.toml")))


def scenario_names() -> tuple[str, ...]:
    """Return the names of the shipped scenarios, in alphabetical order."""
    return names_of("scenario")


def train_names() -> tuple[str, ...]:
    """Return the names of the shipped trains, in alphabetical order."""
    return names_of("train")


def driver_names() -> tuple[str, ...]:
    """Return the names of the shipped drivers, in alphabetical order."""
    return names_of("driver")


def name_of(path: Path) -> str:
    """Return the name of a file that gives none: its own, made printable."""
    stem = os.fsencode(path.stem).decode("utf-8", "replace")
    return cut(visible(one_line(stem)), LONGEST_NAME) or "scenario"


def text_leaf(text: str, path: Path) -> Leaf:
    """Return a text that no file gives."""
    return Leaf(text, None, str(path), "", shown(text))


def locate(name_or_path: str | os.PathLike[str], directory: Path, what: str = "scenario") -> Path:
    """Return the file of a scenario or of a part: a shipped name, or a path from a folder.

    A train may be a shipped train or any scenario, and so a driver.

    Raises
    ------
    InputError
    """
    try:
        text = os.fspath(name_or_path)
    except TypeError:
        text = ""
    if not isinstance(text, str) or not text.strip() or "\0" in text:
        allowed = "must be a shipped name or a path (text)"
        raise InputError(f"{what} {shown(name_or_path)}: {allowed}")
    is_path = not isinstance(name_or_path, str) or text.endswith(".toml")
    is_path = is_path or "/" in text or os.sep in text
    kinds = dict.fromkeys([what, "scenario", *(("train", "driver") if what == "scenario" else ())])
    for kind in kinds:
        if not is_path and kind in SHIPPED and text in _all_of(kind):
            return SHIPPED[kind] / f"{text}.toml"
    if is_path or os.path.lexists(directory / text):
        return directory / text
    names = [*(names_of(what) if what in SHIPPED else ()), *scenario_names()]
    raise InputError(
        f"{what} {shown(text)}: no shipped {what} and no file of this name; "
        f"{nearest_text(text, dict.fromkeys(names))} (a path ends in .toml)"
    )


def read_toml(path: Path, noted: Noted = None) -> dict[str, Any]:
    """Return the content of a file; where problems are noted, what can be read of it.

    Raises
    ------
    InputError
    """
    missing = f"shipped scenarios: {', '.join(scenario_names())}"
    try:
        return regular_toml(path, _WHAT, missing=missing)
    except InputError as problem:
        if noted is None or "not valid TOML" not in str(problem) or "too deep" in str(problem):
            raise
        text = regular_text(path, _WHAT, missing=missing)
        if len(text) > LONGEST_MENDED:
            raise
        content, mistakes = readable_part(text)
        check_content(content, place(path))
        for mistake in mistakes:
            told = FileProblem(place(path), "", mistake.detail)
            told.line = mistake.line
            noted.append(told)
        return content


def put_lines(problems: list[FileProblem]) -> None:
    """Find the line of each problem in its file, where it has one."""
    texts: dict[str, str] = {}
    for problem in problems:
        if problem.line or not problem.file or not problem.key:
            continue
        if problem.file not in texts:
            try:
                texts[problem.file] = regular_text(problem.file, _WHAT)
            except InputError:
                texts[problem.file] = ""
        problem.line = line_of(texts[problem.file], problem.key)


def read_chain(path: Path, above: tuple[Path, ...] = (), noted: Noted = None) -> tuple[Branch, str]:
    """Read a file and all it is based on; return the merged layer and the title lying below."""
    chain = (*above, Path(os.path.realpath(path)))  # Path.resolve raises on a circle of links
    data = read_toml(path, noted)
    base_name = data.pop(BASE_KEY, None)
    part_names = _take_parts(data)
    own = read_table(Scenario, data, "", str(path), _EXTRA_KEYS, noted)
    with noting(noted):
        _check_programmes(own, path)
    lower, base_title = Branch(Scenario, "", str(path), {}), ""
    if base_name is not None:
        with noting(noted):
            lower, base_title = _read_base(base_name, path, chain, noted)
    for part, name in part_names.items():
        with noting(noted):
            found = _read_other(part, name, path, chain, part, noted)
            lower = with_part(lower, found, part)
    if _programmes_of(own):  # in place of whatever the lower one gives
        lower = _without_programme(lower)
    merged = merge(lower, own, noted)
    refuse_inert(own, merged, noted)
    return without_inert(merged), base_title


def _take_parts(data: dict[str, Any]) -> dict[str, Any]:
    """Take what names a file of its own out of a file's content: `train = "unit.toml"`, or so.

    `[train] file = "unit.toml"` is the same, for a file that changes values of it as well.
    """
    found: dict[str, Any] = {}
    for part in PARTS:
        value = data.get(part)
        if isinstance(value, str):
            found[part] = data.pop(part)
        elif isinstance(value, dict) and FILE_KEY in value:
            found[part] = value.pop(FILE_KEY)
    return found


def _read_base(
    name: object, path: Path, chain: tuple[Path, ...], noted: Noted
) -> tuple[Branch, str]:
    base_path = _other_path(BASE_KEY, name, path, chain, "scenario")
    lower, base_title = read_chain(base_path, chain, noted)
    entries = dict(lower.entries)
    entries.pop("name", None)
    title = entries.pop("title", None)
    has_title = isinstance(title, Leaf)
    return lower._replace(entries=entries), title.value if has_title else base_title


def _read_other(
    key: str, name: object, path: Path, chain: tuple[Path, ...], what: str, noted: Noted
) -> Branch:
    other_path = _other_path(key, name, path, chain, what)
    layer, _ = read_chain(other_path, chain, noted)
    return checked_part(layer, what, other_path)


def _other_path(key: str, name: object, path: Path, chain: tuple[Path, ...], what: str) -> Path:
    """Return the path of a file that another one names; refuse circles and endless chains."""
    allowed = "must be a shipped name or a path relative to this file (text)"
    if not isinstance(name, str) or not name.strip():
        refuse(str(path), key, allowed, shown(name))
    try:
        found = locate(name, path.parent, what)
    except InputError as problem:
        refuse(str(path), key, str(problem), shown(name))
    if not is_regular(found):
        refuse(str(path), key, f"no file {found}; {allowed}", shown(name))
    if len(chain) > LONGEST_CHAIN:
        refuse(str(path), key, f"is file {len(chain)} of a chain; at most {LONGEST_CHAIN}")
    if Path(os.path.realpath(found)) in chain:
        circle = " -> ".join(file.name for file in (*chain, found))
        refuse(str(path), key, f"goes round in a circle ({circle}); it must end")
    return found


def checked_part(layer: Branch, part: str, path: Path) -> Branch:
    """Return the layer of a file that is to give a part, or refuse one that does not."""
    for name in PARTS[part].fields:
        spec, default = specs_of(Scenario)[name], default_of(Scenario, name)
        if default is dataclasses.MISSING and name not in layer.entries:
            refuse(str(path), name, f"missing; a {part} needs the table [{name}]. {spec.doc}")
    return layer


def with_part(layer: Branch, other: Branch, part: str) -> Branch:
    """Return a layer with its train, rail or driver taken from another; all else of it is left."""
    fields, along = PARTS[part]
    if part != "rail":
        layer, other = _with_words(layer), _with_words(other)
    kept = {name: entry for name, entry in layer.entries.items() if name not in fields}
    taken = {name: entry for name, entry in other.entries.items() if name in (*fields, *along)}
    return layer._replace(entries=kept | taken)


def _with_words(layer: Branch) -> Branch:
    """Return a layer with emergency positions told by the word, so that they fit any brake."""
    brake, driver = layer.entries.get("brake"), layer.entries.get("driver")
    if not isinstance(brake, Branch) or not isinstance(driver, Branch):
        return layer
    steps = brake.entries.get("steps")
    if not isinstance(steps, Leaf):
        return layer
    last = len(steps.value) + 1
    return with_positions(layer, lambda value: EMERGENCY_WORD if value == last else value)


def with_positions(layer: Branch, change: Any) -> Branch:
    """Return a layer with every handle position of its driver changed by a function."""
    driver = layer.entries.get("driver")
    if not isinstance(driver, Branch):
        return layer

    def changed(table: Any) -> Any:
        position = table.entries.get("position") if isinstance(table, Branch) else None
        if not isinstance(position, Leaf):
            return table
        moved = position._replace(value=change(position.value))
        return table._replace(entries=table.entries | {"position": moved})

    entries = dict(driver.entries)
    programme: Any = entries.get("programme")
    if is_list(programme):
        entries["programme"] = tuple(map(changed, programme))
    if "routine" in entries:
        entries["routine"] = changed(entries["routine"])
    return layer._replace(entries=layer.entries | {"driver": driver._replace(entries=entries)})


def _check_programmes(own: Branch, path: Path) -> None:
    given = _programmes_of(own)
    if len(given) > 1:
        keys = " and ".join(PROGRAMMES[name] for name in given)
        refuse(str(path), "driver", f"{keys} both say what the driver does; give one of them")


def _programmes_of(layer: Branch) -> list[str]:
    driver = layer.entries.get("driver")
    if not isinstance(driver, Branch):
        return []
    given = [name for name in PROGRAMMES if name in driver.entries]
    return [name for name in given if not isinstance(driver.entries[name], Patch)]


def _without_programme(layer: Branch) -> Branch:
    driver = layer.entries.get("driver")
    if not isinstance(driver, Branch):
        return layer
    kept = {name: entry for name, entry in driver.entries.items() if name not in PROGRAMMES}
    return layer._replace(entries=layer.entries | {"driver": driver._replace(entries=kept)})
