"""Every mistake of a scenario file at once, whatever it is a file of.

Reading goes on after each mistake. What could not be read is then stood in for, in three ways that
lie far apart: a problem that comes up with only some of them is one of the stand-ins, and is left
out; a problem that comes up with all of them is the file's.
"""

from __future__ import annotations

import dataclasses
import os
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from slipbench.ground.errors import InputError
from slipbench.scenario.acting import idle_value
from slipbench.scenario.chain import PARTS, SHIPPED, checked_part, put_lines, read_chain, with_part
from slipbench.scenario.dry import DRY_RAIL
from slipbench.scenario.fields import (
    FieldProblem,
    Record,
    default_of,
    field_problems_noted,
    specs_of,
)
from slipbench.scenario.layers import (
    BROKEN,
    Branch,
    FileProblem,
    Leaf,
    Patch,
    is_list,
    noting,
)
from slipbench.scenario.profile import sections_from_csv
from slipbench.scenario.reader import (
    built,
    leaf_value,
    load_scenario,
    located,
    refuse_missing,
    refuse_patch,
    resolved,
    titled,
)
from slipbench.scenario.scenario import Scenario
from slipbench.scenario.specs import FieldSpec

WHOLE = "scenario"
_N_VARIANTS = 3
_OF_NO_PART = {"initial_speed", "faults", "run"}


class Checked(NamedTuple):
    """What a file is and whether it can be used.

    Attributes
    ----------
    kind : str                        train, rail, driver or scenario
    problems : list of FileProblem    in the order of their lines; empty if it can be used
    scenario : Scenario or None       what it makes; what a part leaves open is the dry stop's
    """

    kind: str
    problems: list[FileProblem]
    scenario: Scenario | None


def check_file(path: str | os.PathLike[str]) -> Checked:
    """Read a train, rail, driver or scenario file and find every mistake in it.

    Parameters
    ----------
    path : str or path

    Returns
    -------
    Checked

    Raises
    ------
    InputError   if there is no such file, or none of it can be read
    """
    file = Path(path)
    noted: list[FileProblem] = []
    layer, base_title = read_chain(file, noted=noted)
    kind = kind_of(layer)
    if kind != WHOLE:
        layer = _completed(layer, kind, file, noted)
        base_title = ""
    with noting(noted):
        layer = titled(layer, base_title, file)
    is_partial = any(problem.key in ("based_on", *PARTS) for problem in noted) or not layer.entries
    unread = any(not problem.key for problem in noted)
    noted += _problems_of(layer, is_partial=is_partial or unread)
    scenario = None
    if not noted:
        with noting(noted):
            scenario = built(layer)
    put_lines(noted)
    return Checked(kind, _in_order(noted, str(file)), scenario)


def kind_of(layer: Branch) -> str:
    """Return which part of a scenario a file gives, if it is one alone; else that it is a whole."""
    given = set(layer.entries) - {"name", "title"}
    for part, (fields, along) in PARTS.items():
        if given and given <= {*fields, *along}:
            return part
    return WHOLE


def _completed(layer: Branch, kind: str, file: Path, noted: list[FileProblem]) -> Branch:
    """Return the layer of a part laid into the dry stop; note which of its tables are missing."""
    with noting(noted):
        checked_part(layer, kind, file)
    dry, _ = read_chain(SHIPPED[WHOLE] / f"{DRY_RAIL}.toml")
    whole = with_part(dry, layer, kind)
    names = {name: entry for name, entry in layer.entries.items() if name in ("name", "title")}
    for name in PARTS[kind].fields:  # a missing one is told already
        if name not in whole.entries and name in dry.entries:
            whole.entries[name] = dry.entries[name]
    return whole._replace(entries=whole.entries | names, file=str(file))


def _in_order(problems: list[FileProblem], file: str) -> list[FileProblem]:
    """Return problems by file, the one checked first, and line; each only once."""
    once = {(p.file, p.key, p.line, "" if p.key else p.detail): p for p in reversed(problems)}
    return sorted(once.values(), key=lambda p: (p.file != file, p.file, p.line, p.key))


def _problems_of(layer: Branch, *, is_partial: bool) -> list[FileProblem]:
    """Return what is missing in a layer, and what does not fit together in it."""
    found: list[FileProblem] = []
    log_noted: list[FileProblem] = []
    try:
        layer = resolved(layer)
    except InputError as problem:
        log_noted.append(_as_file_problem(problem))
        driver = layer.entries["driver"]
        broken = {name: BROKEN if name == "log" else e for name, e in driver.entries.items()}
        layer.entries["driver"] = driver._replace(entries=broken)
    for variant in range(_N_VARIANTS):
        maker = _Maker(layer, variant, is_partial=is_partial)
        maker.make(layer)
        keys = set(map(_gist, maker.clashes))
        if variant == 0:
            found = [*log_noted, *maker.missing]
            clashes = maker.clashes
        clashes = [problem for problem in clashes if _gist(problem) in keys]
        if not maker.stood_in:
            break
    return found + clashes


def _gist(problem: FileProblem) -> tuple[str, str, str]:
    """Return what makes two problems one, whatever the numbers in their words."""
    return problem.file, problem.key, re.sub(r"[-+.0-9e]+", "", problem.detail)


def _as_file_problem(problem: InputError) -> FileProblem:
    return problem if isinstance(problem, FileProblem) else FileProblem("", "", str(problem))


class _Maker:
    """Makes records of a layer though not all of it could be read; notes what is wrong."""

    def __init__(self, root: Branch, variant: int, *, is_partial: bool) -> None:
        self.root, self.variant, self.is_partial = root, variant, is_partial
        self.missing: list[FileProblem] = []
        self.clashes: list[FileProblem] = []
        self.stood_in = False

    def make(self, branch: Branch) -> Any:
        """Return a record, or one of the dry stop's that stands for it."""
        values: dict[str, Any] = {}
        unread: set[str] = set()
        for name, spec in specs_of(branch.record_type).items():
            value = self._value(branch, name, spec)
            if value is BROKEN:
                unread.add(name)
                value = stand_in(branch.record_type, name, self.variant)
                self.stood_in = True
            if value is not dataclasses.MISSING:
                values[name] = value
        self._lay_profile(branch, values)
        return self._construct(branch, values, unread)

    def _value(self, branch: Branch, name: str, spec: FieldSpec) -> Any:
        """Return what a field holds, MISSING for its default, BROKEN if it cannot be known."""
        entry = branch.entries.get(name)
        if entry is None:
            return self._left_out(branch, name, spec)
        if entry is BROKEN:
            return BROKEN
        if isinstance(entry, Leaf):
            return leaf_value(entry, spec)
        if isinstance(entry, Patch):
            with noting(self.missing):
                refuse_patch(entry)
            return BROKEN
        if is_list(entry):
            return tuple(self.make(item) for item in entry)
        return self.make(entry)

    def _left_out(self, branch: Branch, name: str, spec: FieldSpec) -> Any:
        if default_of(branch.record_type, name) is not dataclasses.MISSING:
            return dataclasses.MISSING
        idle = idle_value(branch, self.root, name)
        if idle is not dataclasses.MISSING:
            return idle
        if not self.is_partial:
            with noting(self.missing):
                refuse_missing(branch, name, spec)
        return BROKEN

    def _lay_profile(self, branch: Branch, values: dict[str, Any]) -> None:
        if values.get("profile") is None or not values.get("sections"):
            return
        try:
            values["sections"] = sections_from_csv(values["profile"], values["sections"][0])
        except InputError as problem:
            self.missing.append(_as_file_problem(problem))

    def _construct(self, branch: Branch, values: dict[str, Any], unread: set[str]) -> Any:
        record: Any = None
        with field_problems_noted() as problems:
            try:
                record = branch.record_type(**values)
            except (ArithmeticError, LookupError, TypeError, ValueError):
                if not problems and not unread and not self.stood_in:
                    raise
        for problem in problems:
            if problem.key.split(".")[0] not in unread:
                self.clashes.append(located(branch, problem))
        if problems and self.variant > 0:  # what is said of it further up may follow from them
            record = self._without(branch.record_type, values, problems)
        self.stood_in = self.stood_in or bool(problems)
        return _of_the_dry_stop(branch.record_type) if record is None else record

    def _without(
        self, record_type: type[Any], values: dict[str, Any], problems: list[FieldProblem]
    ) -> Any:
        """Return a record with what its problems are about stood in for; None if that is none."""
        names = {problem.key.split(".")[0] for problem in problems}
        others = {name: stand_in(record_type, name, 0) for name in names}
        with field_problems_noted() as left:
            try:
                record = record_type(**(values | others))
            except (ArithmeticError, LookupError, TypeError, ValueError):
                return None
        return None if left else record


def stand_in(record_type: type[Any], name: str, variant: int) -> Any:
    """Return one of three values, far apart, for a field whose own is not known."""
    spec = specs_of(record_type)[name]
    known = getattr(_of_the_dry_stop(record_type), name, None)
    if spec.kind == "record" or variant == 0:
        if known is not None:
            return known
        default = default_of(record_type, name)
        if default is not dataclasses.MISSING:
            return default
    if not spec.is_list:
        return _one(spec, variant)
    if variant < 2:
        return (_one(spec, variant),)
    low, high = _one(spec, 1), _one(spec, 2)
    n_items = min(spec.max_items or 4, 16)
    items = [low + (high - low) * i / max(n_items - 1, 1) for i in range(n_items)]
    return tuple(round(item) if spec.kind != "quantity" else item for item in items)


def _one(spec: FieldSpec, variant: int) -> Any:
    if spec.choices:
        return spec.choices[variant % len(spec.choices)]
    if spec.kind == "text":
        return "unknown"
    if spec.kind == "flag":
        return variant != 1
    low = spec.low if spec.low is not None else spec.above
    bottom = 0.0 if low is None else low
    top = bottom + 1e3 if spec.high is None else spec.high
    if spec.above is not None:
        bottom += 1e-9 * (top - bottom)
    value = (0.5 * (bottom + top), bottom, top)[variant]
    return value if spec.kind == "quantity" else round(value)


@cache
def _records_of_the_dry_stop() -> dict[type[Any], Record]:
    def walk(owner: Record) -> Iterator[Record]:
        yield owner
        for name, spec in specs_of(type(owner)).items():
            value = getattr(owner, name)
            if spec.kind == "record" and value is not None:
                for item in value if spec.is_list else (value,):
                    yield from walk(item)

    found: dict[type[Any], Record] = {}
    for record in walk(load_scenario(DRY_RAIL)):
        found.setdefault(type(record), record)
    return found


def _of_the_dry_stop(record_type: type[Any]) -> Any:
    return _records_of_the_dry_stop().get(record_type)
