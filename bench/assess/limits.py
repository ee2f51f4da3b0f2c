"""The limits of an acceptance sheet, read from TOML."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from pathlib import Path
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.ground.marks import MARKS
from slipbench.ground.reading import regular_toml
from slipbench.ground.telling import nearest_text, quoted, shown

SHIPPED = Path(__file__).with_name("limits.toml")
RAILS = ("low_adhesion", "dry", "all")


@dataclass(frozen=True)
class Limit:
    """One line of the sheet.

    Attributes
    ----------
    name : str            unique
    measure : str         a number of a stop's summary, or `extension_over_dry`
    unit : str
    rails : str           "low_adhesion", "dry" or "all": which stops it is about
    document : str        where the number comes from
    mark : str            "published", "secondary", "memory", "derived" or "assumed"
    reading : str         what was read of it
    low, high : float     allowed range, ends included; infinite where open
    requires : str        limit that must hold for the same stop, else it is not judged; may be ""
    is_condition : bool   says whether a stop fits the test; never failed
    """

    name: str
    measure: str
    unit: str
    rails: str
    document: str
    mark: str
    reading: str
    low: float = -math.inf
    high: float = math.inf
    requires: str = ""
    is_condition: bool = False

    def holds(self, value: float) -> bool:
        """Say whether a value lies in the allowed range."""
        return self.low <= value <= self.high

    @property
    def range_text(self) -> str:
        """The allowed range in words."""
        unit = "" if self.unit == "-" else f" {self.unit}"
        if math.isinf(self.low):
            return f"at most {self.high:g}{unit}"
        if math.isinf(self.high):
            return f"at least {self.low:g}{unit}"
        return f"{self.low:g} to {self.high:g}{unit}"

    def excess(self, value: float) -> float:
        """Return how far a value lies outside the range; negative inside. [unit]"""
        return max(value - self.high, self.low - value)


def read_limits(path: str | Path | None = None) -> tuple[Limit, ...]:
    """Read a file of limits.

    Parameters
    ----------
    path : str or Path or None   None: the shipped ones

    Returns
    -------
    tuple of Limit

    Raises
    ------
    InputError   one line: the file, the limit and key, what is wrong and what is allowed
    """
    source = SHIPPED if path is None else Path(path)
    content = regular_toml(source, "limits are a TOML file")
    tables = content.pop("limit", None)
    if content:
        raise InputError(
            f"limits {source}: unknown key {shown(next(iter(content)))}; allowed: limit"
        )
    if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
        raise InputError(f"limits {source}: at least one [[limit]] is needed")
    limits = tuple(
        _limit(table, f"limits {source}: limit {i}") for i, table in enumerate(tables, start=1)
    )
    _check_together(limits, source)
    return limits


def _limit(table: Mapping[str, Any], where: str) -> Limit:
    known = {entry.name: entry for entry in fields(Limit)}
    values: dict[str, Any] = {}
    for key, value in table.items():
        if key not in known:
            raise InputError(f"{where}: unknown key {key!r}; {nearest_text(key, known)}")
        values[key] = _checked(key, value, f"{where}: {key}")
    for name, entry in known.items():
        if name not in values and entry.default is MISSING:
            raise InputError(f"{where}: {name} is missing")
    limit = Limit(**values)
    if not -math.inf <= limit.low <= limit.high <= math.inf:
        raise InputError(f"{where}: low = {limit.low:g} must be <= high = {limit.high:g}")
    if math.isinf(limit.low) and math.isinf(limit.high):
        raise InputError(f"{where}: low or high is missing; give at least one")
    return limit


def _checked(key: str, value: Any, where: str) -> Any:
    if key in ("low", "high"):
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not math.isfinite(value):
            raise InputError(f"{where} = {shown(value)}: must be a finite number")
        return float(value)
    if key == "is_condition":
        if not isinstance(value, bool):
            raise InputError(f"{where} = {shown(value)}: must be true or false")
        return value
    if not isinstance(value, str) or not (value.strip() or key == "requires"):
        raise InputError(f"{where} = {shown(value)}: must be a text")
    allowed = {"rails": RAILS, "mark": MARKS}.get(key)
    if allowed is not None and value not in allowed:
        raise InputError(f"{where} = {shown(value)}; allowed: {', '.join(allowed)}")
    return value


def _check_together(limits: tuple[Limit, ...], source: Path) -> None:
    names = [limit.name for limit in limits]
    for limit in limits:
        if names.count(limit.name) > 1:
            raise InputError(f"limits {source}: name {shown(limit.name)} is given twice")
        if limit.requires and limit.requires not in names:
            raise InputError(
                f"limits {source}: {quoted(limit.name)} requires {shown(limit.requires)}, "
                f"which is no limit here; {nearest_text(limit.requires, names)}"
            )
        if limit.requires == limit.name:
            raise InputError(f"limits {source}: {quoted(limit.name)} requires itself")
