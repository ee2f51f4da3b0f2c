"""Declared fields: what a scenario value is, in which unit, between which bounds.

Every scenario class is a frozen dataclass made by `record`. Its fields are declared by `quantity`
and its relatives, so that unit, bounds, meaning and source of a default stand together and one
checker serves TOML files, Python callers and `Scenario.replace` alike.
"""

import dataclasses
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, NamedTuple, NoReturn, TypeVar, dataclass_transform

from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown
from slipbench.scenario.specs import FieldSpec, Unacceptable

T = TypeVar("T")
_NO_DEFAULT: Any = object()


class FieldProblem(InputError):
    """An `InputError` that still knows which field it is about.

    Parameters
    ----------
    owner : str
        Where the field lives (class name, or dotted path once known); may be empty.
    key : str
        Field name, possibly dotted.
    value : str
        The offending value as text; may be empty.
    detail : str
        What is wrong and what is allowed.
    """

    def __init__(self, owner: str, key: str, value: str, detail: str) -> None:
        super().__init__(owner, key, value, detail)
        self.owner, self.key, self.value, self.detail = owner, key, value, detail

    def __str__(self) -> str:
        where = f"{self.owner}.{self.key}" if self.owner else self.key
        return f"{where} = {self.value}: {self.detail}" if self.value else f"{where}: {self.detail}"


_NOTED: ContextVar[list[FieldProblem] | None] = ContextVar("noted", default=None)


@contextmanager
def field_problems_noted() -> Iterator[list[FieldProblem]]:
    """Let checks of records made in the `with` body go on after a problem; yield the problems.

    For whoever tells all mistakes of a file; a record made so may hold what it would refuse.
    """
    found: list[FieldProblem] = []
    token = _NOTED.set(found)
    try:
        yield found
    finally:
        _NOTED.reset(token)


def _take(problem: FieldProblem) -> None:
    noted = _NOTED.get()
    if noted is None:
        raise problem
    noted.append(problem)


take: Callable[[FieldProblem], NoReturn] = _take  # type: ignore[assignment]
"""Raise a problem; where all mistakes are looked for, note it and, against its type, return."""


def _declare(spec: FieldSpec, default: Any, default_factory: Any = _NO_DEFAULT) -> Any:
    metadata = {"spec": spec}
    if default_factory is not _NO_DEFAULT:
        return dataclasses.field(metadata=metadata, default_factory=default_factory)
    if default is not _NO_DEFAULT:
        return dataclasses.field(metadata=metadata, default=default)
    return dataclasses.field(metadata=metadata)


def quantity(
    dimension: str,
    *,
    doc: str,
    low: float | None = None,
    above: float | None = None,
    high: float | None = None,
    default: Any = _NO_DEFAULT,
    mark: str = "",
    source: str = "",
) -> Any:
    """Declare a number with a dimension. Bounds and default are SI; `above` is an open bound.

    A default of None makes the field optional; any other default needs `mark` and `source`.
    """
    spec = FieldSpec(
        kind="quantity",
        dimension=dimension,
        doc=doc,
        low=low,
        above=above,
        high=high,
        is_optional=default is None,
        mark=mark,
        source=source,
    )
    return _declare(spec, default)


def quantities(
    dimension: str,
    *,
    doc: str,
    low: float | None = None,
    above: float | None = None,
    high: float | None = None,
    min_items: int = 1,
    max_items: int | None = None,
    default: Any = _NO_DEFAULT,
) -> Any:
    """Declare a tuple of numbers of one dimension; a default of None makes it optional."""
    spec = FieldSpec(
        kind="quantity",
        dimension=dimension,
        doc=doc,
        low=low,
        above=above,
        high=high,
        is_list=True,
        is_optional=default is None,
        min_items=min_items,
        max_items=max_items,
    )
    return _declare(spec, default)


def counts(*, doc: str, low: int, high: int, max_items: int, default: Any) -> Any:
    """Declare a tuple of whole numbers; its default is the empty one."""
    spec = FieldSpec(
        kind="count",
        dimension="count",
        doc=doc,
        low=low,
        high=high,
        is_list=True,
        max_items=max_items,
        mark="assumed",
        source="none unless said otherwise",
    )
    return _declare(spec, default)


def count(
    *,
    doc: str,
    low: int,
    high: int,
    kind: str = "count",
    default: Any = _NO_DEFAULT,
    mark: str = "",
    source: str = "",
) -> Any:
    """Declare a whole number (or, with `kind="position"`, a brake handle position)."""
    spec = FieldSpec(
        kind=kind,
        dimension="count",
        doc=doc,
        low=low,
        high=high,
        is_optional=default is None,
        mark=mark,
        source=source,
    )
    return _declare(spec, default)


def text(*, doc: str) -> Any:
    """Declare a one-line text."""
    return _declare(FieldSpec(kind="text", doc=doc), _NO_DEFAULT)


def choice(
    *choices: str, doc: str, default: Any = _NO_DEFAULT, mark: str = "", source: str = ""
) -> Any:
    """Declare a text out of a fixed list; required unless it has a default."""
    spec = FieldSpec(kind="text", doc=doc, choices=choices, mark=mark, source=source)
    return _declare(spec, default)


def file_name(*, doc: str, default: None) -> Any:
    """Declare an optional file; in a scenario file its path is relative to that file.

    `default` is None; it is asked for so that type checkers see that the field may be left out.
    """
    return _declare(FieldSpec(kind="text", doc=doc, is_file=True, is_optional=True), default)


def flag(*, doc: str, default: bool, mark: str, source: str) -> Any:
    """Declare a truth value."""
    return _declare(FieldSpec(kind="flag", doc=doc, mark=mark, source=source), default)


def part(record_type: type[Any], *, doc: str, default_factory: Any = _NO_DEFAULT) -> Any:
    """Declare a nested record: a table of its own in TOML."""
    spec = FieldSpec(kind="record", doc=doc, record_type=record_type)
    return _declare(spec, _NO_DEFAULT, default_factory)


def optional_part(record_type: type[Any], *, doc: str, default: None) -> Any:
    """Declare a nested record that may be missing: `default` is None, as for `file_name`."""
    return _declare(
        FieldSpec(kind="record", doc=doc, record_type=record_type, is_optional=True), default
    )


def parts(
    record_type: type[Any],
    *,
    key: str,
    doc: str,
    min_items: int = 1,
    max_items: int | None = None,
    default: Any = _NO_DEFAULT,
    is_repeatable: bool = False,
) -> Any:
    """Declare a tuple of nested records: an array of tables named `key` in TOML."""
    spec = FieldSpec(
        kind="record",
        doc=doc,
        record_type=record_type,
        key=key,
        is_list=True,
        min_items=min_items,
        max_items=max_items,
        is_repeatable=is_repeatable,
    )
    return _declare(spec, default)


def specs_of(record_type: type[Any]) -> dict[str, FieldSpec]:
    """Return the declared fields of a record class by name, in order."""
    return {
        field.name: field.metadata["spec"]
        for field in dataclasses.fields(record_type)
        if "spec" in field.metadata
    }


def default_of(record_type: type[Any], name: str) -> Any:
    """Return the default of a field, or `dataclasses.MISSING` if the field is required."""
    field = record_type.__dataclass_fields__[name]
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    return field.default


class Implied(NamedTuple):
    """A value that another field decides, with its mark and source."""

    value: Any
    mark: str
    source: str


class Record:
    """Base of every scenario class: checks its fields whenever an instance is made."""

    def __post_init__(self) -> None:
        """Normalise and check each field, then the fields together."""
        for name, spec in specs_of(type(self)).items():
            value = getattr(self, name)
            try:
                object.__setattr__(self, name, spec.accept(value))
            except Unacceptable as problem:
                self.refuse(name, str(problem))
        self.check_together()

    def check_together(self) -> None:
        """Check what concerns several fields at once; nothing by default."""

    def implied(self, name: str) -> "Implied | None":
        """Return what stands for a field that is not given, where another field decides that."""
        return None

    def refuse(self, key: str, detail: str, value: object = _NO_DEFAULT) -> NoReturn:
        """Raise the `FieldProblem` that `key` (value shown) does not fit, because of `detail`."""
        if value is _NO_DEFAULT:
            value = getattr(self, key)
        text = "" if value is None else shown(value)
        take(FieldProblem(type(self).__name__, key, text, detail))


def _attributes_section(record_type: type[Any]) -> str:
    lines = ["", "    Attributes", "    ----------"]
    for name, spec in specs_of(record_type).items():
        lines.append(f"    {name}")
        unit = f" [{spec.unit_text}]" if spec.unit_text else ""
        allowed = f" Allowed: {spec.allowed_text()}." if spec.is_numeric else ""
        lines.append(f"        {spec.doc}{unit}{allowed}")
    return "\n".join(lines) + "\n    "


@dataclass_transform(
    frozen_default=True,
    kw_only_default=True,
    field_specifiers=(
        quantity,
        quantities,
        count,
        counts,
        text,
        choice,
        file_name,
        flag,
        part,
        optional_part,
        parts,
        dataclasses.field,
    ),
)
def record(cls: type[T]) -> type[T]:
    """Make `cls` a frozen, keyword-only dataclass and list its declared fields in its docstring."""
    decorate: Callable[[type[T]], type[T]] = dataclasses.dataclass(frozen=True, kw_only=True)
    made = decorate(cls)
    made.__doc__ = (made.__doc__ or "").rstrip() + "\n" + _attributes_section(made)
    return made
