"""What one field of a scenario may hold, and the check of a value against it."""

import dataclasses
import math
import numbers
import operator
import unicodedata
from collections.abc import Mapping
from typing import Any

from slipbench.scenario.units import Unit, si_unit

LONGEST_TEXT = 1000
"""Characters of a text in a scenario."""


_UNSEEN = ("Cc", "Cs")  # Unicode's categories of control characters, and of halves of pairs


class Unacceptable(ValueError):
    """A value does not fit its field; the message says what would. Internal to this layer."""


@dataclasses.dataclass(frozen=True, kw_only=True)
class FieldSpec:
    """What one field may hold. Bounds are SI; `above` is an open lower bound."""

    kind: str
    doc: str
    dimension: str = "ratio"
    low: float | None = None
    above: float | None = None
    high: float | None = None
    is_list: bool = False
    is_optional: bool = False
    min_items: int = 0
    max_items: int | None = None
    mark: str = ""
    source: str = ""
    record_type: type[Any] | None = None
    key: str = ""
    is_repeatable: bool = False
    choices: tuple[str, ...] = ()
    is_file: bool = False

    @property
    def is_numeric(self) -> bool:
        """Whether the field holds numbers with a dimension (or plain ratios and counts)."""
        return self.kind in ("quantity", "count", "position")

    @property
    def unit_text(self) -> str:
        """SI unit as text; empty for counts, text and flags."""
        return si_unit(self.dimension).text if self.kind == "quantity" else ""

    def allowed_text(self, unit: Unit | None = None) -> str:
        """Say in words what the field accepts, bounds written in `unit` (SI if None)."""
        chosen = unit or si_unit(self.dimension)
        if self.choices:
            return f"one of {', '.join(self.choices)}"
        if self.kind == "text":
            return "text of one line, not empty"
        if self.kind == "flag":
            return "true or false"
        if self.kind == "record":
            return f"a {self.record_type.__name__}" if self.record_type else "a table"
        noun = "a number" if self.kind == "quantity" else "a whole number"
        return f"{noun} {_bounds_text(self, chosen)}".rstrip()

    def accept(self, value: object, unit: Unit | None = None) -> Any:
        """Return `value`, given in `unit` (SI if None), normalised to SI.

        Raises
        ------
        Unacceptable
            If the type, the number of items or the range does not fit.
        """
        if value is None and self.is_optional:
            return None
        if not self.is_list:
            return self._accept_one(value, unit)
        if not _is_sequence(value):
            raise Unacceptable(f"must be a list, each item {self.allowed_text(unit)}")
        n_items = len(value)  # type: ignore[arg-type]
        if self.max_items is not None and n_items > self.max_items:
            raise Unacceptable(f"has {n_items} items, at most {self.max_items} are allowed")
        items = tuple(self._accept_one(item, unit) for item in value)  # type: ignore[attr-defined]
        if len(items) < self.min_items:
            raise Unacceptable(
                f"must have at least {self.min_items} item(s), each {self.allowed_text(unit)}"
            )
        return items

    def _accept_one(self, value: object, unit: Unit | None) -> Any:
        if self.kind == "record":
            if self.record_type is None or not isinstance(value, self.record_type):
                raise Unacceptable(f"must be {self.allowed_text()}")
            return value
        if self.choices and value not in self.choices:
            raise Unacceptable(f"must be {self.allowed_text()}")
        if self.kind == "text":
            return _accept_text(value)
        if self.kind == "flag":
            if isinstance(value, bool):
                return value
            raise Unacceptable("must be true or false")
        return self._accept_number(value, unit or si_unit(self.dimension))

    def _accept_number(self, value: object, unit: Unit) -> float | int:
        allowed = self.allowed_text(unit)
        if isinstance(value, bool) or not isinstance(value, numbers.Real):
            raise Unacceptable(f"must be {allowed}")
        if self.kind != "quantity" and not isinstance(value, numbers.Integral):
            raise Unacceptable(f"must be {allowed}")
        try:
            number = unit.to_si(float(value))
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise Unacceptable(f"must be finite: {allowed}")
        is_low = self.low is not None and number < self.low
        is_at_bound = self.above is not None and number <= self.above
        if is_low or is_at_bound or (self.high is not None and number > self.high):
            raise Unacceptable(f"out of range, must be {allowed}")
        return number if self.kind == "quantity" else operator.index(value)  # type: ignore[arg-type]


def _is_sequence(value: object) -> bool:
    is_scalar = isinstance(value, str | bytes | Mapping)
    return hasattr(value, "__len__") and hasattr(value, "__iter__") and not is_scalar


def _accept_text(value: object) -> str:
    if not isinstance(value, str) or not value.strip() or value.splitlines() != [value]:
        raise Unacceptable("must be text of one line, not empty")
    if len(value) > LONGEST_TEXT:
        raise Unacceptable(f"has {len(value)} characters, at most {LONGEST_TEXT} are allowed")
    if any(unicodedata.category(character) in _UNSEEN for character in value):
        raise Unacceptable("must be text of one line, not empty, without control characters")
    return value


def _bounds_text(spec: FieldSpec, unit: Unit) -> str:
    def text(bound: float) -> str:
        return f"{unit.from_si(bound):.6g}"

    tail = f" {unit.text}" if unit.text not in ("", "-") else ""
    high = f"{text(spec.high)}{tail}" if spec.high is not None else ""
    if spec.above is not None:
        start = f"above {text(spec.above)}"
        return f"{start} and at most {high}" if high else start + tail
    if spec.low is not None:
        start = text(spec.low)
        return f"from {start} to {high}" if high else f"of at least {start}{tail}"
    return f"of at most {high}" if high else (f"in {unit.text}" if tail else "")
