"""Changed copies of a scenario, addressed by dotted paths."""

import dataclasses
from collections.abc import Iterable, Mapping, Sized
from typing import Any, TypeVar

from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text, one_line, shown
from slipbench.scenario.acting import idle_in, inert_because, silenced
from slipbench.scenario.fields import FieldProblem, Record, default_of, specs_of
from slipbench.scenario.specs import FieldSpec

Changes = dict[tuple[str, ...], Any]

Whole = TypeVar("Whole", bound=Record)
"""A scenario, which this module need not know."""


def changed(scenario: Whole, changes: Mapping[str, Any]) -> Whole:
    """Return a copy of `scenario` with `changes` (dotted path to SI value); see its `replace`."""
    wanted: Changes = {}
    for path, value in changes.items():
        if not isinstance(path, str):
            raise InputError(f"change {shown(path)}: a path must be dotted text")
        for concrete in _expand(scenario, tuple(path.split(".")), ()):
            wanted[concrete] = value
    _refuse_overlap(wanted)
    _keep_emergency(scenario, wanted)
    before: Any = scenario
    made: Any = _rebuild(before, "", silenced(scenario, wanted) | wanted)
    for place in wanted:
        _refuse_inert(made, before, place)
    kept = {
        path: origin
        for path, origin in before.provenance.items()
        if not _is_below(tuple(path.split(".")), wanted)
        and _value_at(made, path) == _value_at(before, path)
    }
    result: Whole = dataclasses.replace(made, provenance=kept)
    return result


def _is_below(path: tuple[str, ...], wanted: Changes) -> bool:
    """Say whether a value was replaced, itself or with all it stands in."""
    return any(path[:n] in wanted for n in range(1, len(path) + 1))


def _refuse_inert(made: Any, before: Any, path: tuple[str, ...]) -> None:
    """Refuse a value that is changed but cannot act in the configuration it ends up in."""
    owner = made
    for word in path[:-1]:
        owner = owner[int(word)] if isinstance(owner, tuple) else getattr(owner, word)
    if not isinstance(owner, Record):
        return
    dotted = ".".join(path)
    reason = inert_because(made, owner, path[-1])
    value = _value_at(made, dotted)
    if not reason:
        return
    silent = (idle_in(made, owner, path[-1]), default_of(type(owner), path[-1]))
    if value not in (_value_at(before, dotted), *silent):
        raise InputError(f"{dotted} = {shown(value)}: cannot act here: needs {reason}")


def _expand(
    owner: Record, rest: tuple[str, ...], done: tuple[str, ...]
) -> Iterable[tuple[str, ...]]:
    """Yield the concrete paths a path with wildcards stands for."""
    specs, head = specs_of(type(owner)), rest[0]
    spec = specs.get(head)
    if spec is None:
        raise InputError(
            f"{one_line('.'.join((*done, *rest)))}: {shown(head)} is no field of "
            f"{type(owner).__name__}; {nearest_text(head, specs)}"
        )
    value = getattr(owner, head)
    done, rest = (*done, head), rest[1:]
    if not rest:
        yield done
    elif spec.kind != "record":
        field = ".".join(done)
        raise InputError(
            f"{one_line('.'.join((*done, *rest)))}: {field} has no parts; change it whole"
        )
    elif not spec.is_list:
        yield from _expand(value, rest, done)
    else:
        for i in _indices(rest[0], len(value), ".".join(done)):
            item = (*done, str(i))
            if len(rest) == 1:
                yield item
            else:
                yield from _expand(value[i], rest[1:], item)


def _indices(word: str, n_items: int, path: str) -> range:
    if word == "*" and n_items > 0:
        return range(n_items)
    is_index = word.isascii() and word.isdigit() and len(word) < 8
    if is_index and int(word) < n_items:
        return range(int(word), int(word) + 1)
    if n_items == 0:
        raise InputError(f"{path}.{one_line(word)}: {path} is empty; change it whole")
    raise InputError(
        f"{path}.{one_line(word)}: use an item from 0 to {n_items - 1}, or * for all of them"
    )


def _refuse_overlap(wanted: Changes) -> None:
    for path in wanted:
        for n_parts in range(1, len(path)):
            if path[:n_parts] in wanted:
                whole, part = ".".join(path[:n_parts]), ".".join(path)
                raise InputError(f"{whole}: changed whole and again at {part}; give one of them")


def _keep_emergency(scenario: Any, wanted: Changes) -> None:
    """Let entries at emergency follow the emergency position when the number of steps changes."""
    if any(path[0] == "driver" for path in wanted):
        return
    brake = wanted.get(("brake",))
    steps = wanted.get(("brake", "steps"), getattr(brake, "steps", None))
    if not isinstance(steps, Sized):
        return
    for i, entry in enumerate(scenario.driver.programme):
        if entry.position == scenario.brake.emergency_position:
            wanted["driver", "programme", str(i), "position"] = len(steps) + 1


def _rebuild(owner: Any, prefix: str, wanted: Changes) -> Any:
    """Return `owner` with `wanted` applied, inner records first; problems carry the full path."""
    heads = dict.fromkeys(path[0] for path in wanted)
    specs = specs_of(type(owner))
    values = {}
    for head in heads:
        inner = {path[1:]: value for path, value in wanted.items() if path[0] == head}
        values[head] = _changed_field(getattr(owner, head), specs[head], f"{prefix}{head}", inner)
    if not values:
        return owner
    try:
        return dataclasses.replace(owner, **values)
    except FieldProblem as problem:
        where = prefix.removesuffix(".")
        raise FieldProblem(where, problem.key, problem.value, problem.detail) from None


def _changed_field(old: Any, spec: FieldSpec, path: str, inner: Changes) -> Any:
    if () in inner:
        return inner[()]
    if not spec.is_list:
        return _rebuild(old, f"{path}.", inner)
    items = list(old)
    for i in {int(part[0]) for part in inner}:
        of_item = {part[1:]: value for part, value in inner.items() if int(part[0]) == i}
        items[i] = of_item[()] if () in of_item else _rebuild(items[i], f"{path}.{i}.", of_item)
    return tuple(items)


def _value_at(owner: Any, path: str) -> Any:
    """Return the value at a dotted path, None where there is none."""
    for word in path.split("."):
        if isinstance(owner, tuple):
            owner = owner[int(word)] if int(word) < len(owner) else None
        else:
            owner = getattr(owner, word, None)
    return owner
