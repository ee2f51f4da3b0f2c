"""Whether keys act in a configuration, asked wherever a value is given or shown.

A value that cannot act is refused where a file, an option or a caller gives it, is dropped where a
file below gave it, and is neither shown nor written.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any

from slipbench.scenario.equipment import Equipment, grade_values
from slipbench.scenario.fields import Record, default_of, specs_of
from slipbench.scenario.layers import BROKEN, Branch, Leaf, Noted, Patch, is_list, noting, refuse
from slipbench.scenario.rules import RULES, Get, Rule, rule_of


class Unknown(Exception):
    """A value is asked for that could not be read."""


def acts(rule: Rule, get: Get) -> bool:
    """Say whether a key acts; where what decides could not be read, it is taken to."""
    try:
        return rule.acts(get)
    except Unknown:
        return True


def _is_inert(rule: Rule | None, get: Get) -> bool:
    return rule is not None and rule.is_refused and not acts(rule, get)


def get_from(root: Record, owner: Record) -> Get:
    """Return how a rule looks up values in a built record."""

    def get(path: str) -> Any:
        if path.startswith("/"):
            return _along(root, path[1:].split("."))
        value = getattr(owner, path)
        implied = owner.implied(path) if value is None else None
        return value if implied is None else implied.value

    return get


def _along(owner: Any, words: list[str]) -> Any:
    for i, word in enumerate(words):
        if word == "*":
            return [_along(item, words[i + 1 :]) for item in owner]
        if owner is None:
            return None
        owner = getattr(owner, word)
    return owner


def inert_because(root: Record, owner: Record, name: str) -> str:
    """Return what would make a value of a built record act; empty where it does."""
    rule = rule_of(type(owner), name)
    is_silent = rule is not None and rule.is_refused and not acts(rule, get_from(root, owner))
    return rule.says if rule is not None and is_silent else ""


def silenced(root: Record, changes: Mapping[tuple[str, ...], Any]) -> dict[tuple[str, ...], Any]:
    """Return the changes that put values back to their defaults which others leave without effect.

    Parameters
    ----------
    root : Record      a scenario
    changes : mapping  path to new value; only a choice or a flag among them silences anything
    """
    if not any(isinstance(value, str | bool) for value in changes.values()):
        return {}
    found = {}
    for path, owner, name in _ruled(root, ()):
        rule, default = rule_of(type(owner), name), default_of(type(owner), name)
        here = (*path, name)
        if rule is None or default is dataclasses.MISSING or here in changes:
            continue
        get = _get_changed(root, path, changes)
        if getattr(owner, name) != default and _is_inert(rule, get):
            found[here] = default
    return found


def _ruled(owner: Record, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Record, str]]:
    """Yield path, record and name of every value of a built record that has a rule."""
    yield from ((path, owner, name) for name in RULES.get(type(owner), {}))
    for name, spec in specs_of(type(owner)).items():
        value = getattr(owner, name)
        if spec.kind == "record" and value is not None:
            items = enumerate(value) if spec.is_list else [("", value)]
            for i, item in items:
                yield from _ruled(item, (*path, name, *([str(i)] if spec.is_list else [])))


def _get_changed(
    root: Record, owner: tuple[str, ...], changes: Mapping[tuple[str, ...], Any]
) -> Get:
    """Return how a rule looks up values of a record that is about to be changed."""

    def at(words: tuple[str, ...], value: Any) -> Any:
        for n in range(len(words) + 1):
            if words[:n] in changes:
                return _along(changes[words[:n]], list(words[n:]))
        for i, word in enumerate(words):
            if word == "*":
                n_items = len(value)
                return [at((*words[:i], str(j), *words[i + 1 :]), root) for j in range(n_items)]
            if value is None:
                return None
            value = value[int(word)] if isinstance(value, tuple) else getattr(value, word)
        return value

    def get(path: str) -> Any:
        words = tuple(path[1:].split(".")) if path.startswith("/") else (*owner, path)
        return at(words, root)

    return get


def idle_in(root: Record, owner: Record, name: str) -> Any:
    """Return what stands for a value of a built record where it cannot act; else None."""
    rule = rule_of(type(owner), name)
    return rule.idle(get_from(root, owner)) if rule is not None and rule.idle is not None else None


def get_from_layer(root: Branch, owner: Branch) -> Get:
    """Return how a rule looks up values in a layer; what is not given has its default."""

    def get(path: str) -> Any:
        if path.startswith("/"):
            return _in_layer(root, path[1:].split("."))
        return _in_layer(owner, [path])

    return get


def _in_layer(branch: Branch, words: list[str]) -> Any:
    entry: Any = branch
    for i, word in enumerate(words):
        if word == "*":
            return [_in_layer(item, words[i + 1 :]) for item in entry]
        record_type, entry = entry.record_type, entry.entries.get(word)
        if entry is BROKEN or isinstance(entry, Patch):
            raise Unknown
        if entry is None:
            return _default(branch, record_type, words[i:])
    return entry.value if isinstance(entry, Leaf) else entry


def _default(branch: Branch, record_type: type[Any], words: list[str]) -> Any:
    default = default_of(record_type, words[0])
    if record_type is Equipment and words[0] != "grade":
        grade = branch.entries.get("grade")
        known = grade.value if isinstance(grade, Leaf) else default_of(Equipment, "grade")
        return grade_values(known)[words[0]].value
    if default is dataclasses.MISSING:
        raise Unknown
    return _along(default, words[1:])


def refuse_inert(own: Branch, merged: Branch, noted: Noted = None) -> None:
    """Refuse each value of a file that cannot act in the configuration it ends up in.

    Parameters
    ----------
    own : Branch      what the file itself gives
    merged : Branch   that over all it is based on
    """
    _refuse_inert(own, merged, merged, noted)


def _refuse_inert(own: Branch, there: Branch, root: Branch, noted: Noted) -> None:
    get = get_from_layer(root, there)
    for name, entry in own.entries.items():
        rule = rule_of(own.record_type, name)
        if isinstance(entry, Leaf) and _is_inert(rule, get):
            with noting(noted):
                says = rule.says if rule is not None else ""
                refuse(entry.file, entry.key, f"cannot act here: needs {says}", entry.shown)
        for mine, below in _pairs(entry, there.entries.get(name)):
            _refuse_inert(mine, below, root, noted)


def _pairs(entry: Any, there: Any) -> Iterator[tuple[Branch, Branch]]:
    """Yield the tables inside a value of a file, each beside what became of it."""
    if isinstance(entry, Branch) and isinstance(there, Branch):
        yield entry, there
    elif is_list(entry):
        pairs = zip(entry, there, strict=False) if is_list(there) else ()
        seen: set[int] = set()  # `repeat` puts the same table several times
        for mine, below in pairs:
            if id(mine) not in seen:
                seen.add(id(mine))
                yield mine, below
    elif isinstance(entry, Patch) and is_list(there):
        yield from ((item, there[i]) for i, item in entry.items.items() if i < len(there))
        if entry.each.entries and there:
            yield entry.each, there[0]


def without_inert(root: Branch) -> Branch:
    """Return a layer without the values that cannot act in it: those a file below gave."""
    return _without_inert(root, root)


def _without_inert(branch: Branch, root: Branch) -> Branch:
    get = get_from_layer(root, branch)
    entries: dict[str, Any] = {}
    for name, entry in branch.entries.items():
        rule = rule_of(branch.record_type, name)
        if isinstance(entry, Leaf) and _is_inert(rule, get):
            continue
        entries[name] = entry
        if isinstance(entry, Branch):
            entries[name] = _without_inert(entry, root)
        elif is_list(entry):
            entries[name] = tuple(_without_inert(item, root) for item in entry)
    return branch._replace(entries=entries)


def idle_value(branch: Branch, root: Branch, name: str) -> Any:
    """Return what stands for a required value that cannot act, or `dataclasses.MISSING`."""
    rule, get = rule_of(branch.record_type, name), get_from_layer(root, branch)
    if rule is None or rule.idle is None or acts(rule, get):
        return dataclasses.MISSING
    return rule.idle(get)
