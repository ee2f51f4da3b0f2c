"""The mapping: which channel of a file is what, in which unit. TOML, written with guesses."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place, regular_toml
from slipbench.ground.telling import nearest_text, shown
from slipbench.measured.log import KINDS, TRAIN, Channel, Log
from slipbench.measured.raw import RawChannel, RawLog
from slipbench.scenario.units import Unit, logged_units

_TOP = ("time", "channel")
_NUMBERED = ("axle", "bogie", "vehicle")


@dataclass(frozen=True)
class Entry:
    """What one channel of a file is.

    Attributes
    ----------
    name : str                     in the file
    quantity : str                 of `KINDS`
    axle, bogie, vehicle : int     from 1, running direction; 0: of the train
    unit : str                     as written in the file
    diameter_m : float             of the wheel, for a speed in turns; NaN otherwise
    scale, offset : float          SI value = value in SI * scale + offset
    delay_s : float                the channel tells the past: its clock is put forward by this
    time : str                     the column its times are in; "": the table's
    recorder : str                 channels of one recorder share a clock
    scatter : float                known standard deviation, SI; NaN: estimated
    """

    name: str
    quantity: str
    axle: int = 0
    bogie: int = 0
    vehicle: int = 0
    unit: str = ""
    diameter_m: float = math.nan
    scale: float = 1.0
    offset: float = 0.0
    delay_s: float = 0.0
    time: str = ""
    recorder: str = ""
    scatter: float = math.nan

    @property
    def span(self) -> str:
        """What it is of."""
        return next((name for name in _NUMBERED if getattr(self, name)), TRAIN)

    @property
    def number(self) -> int:
        """Axle, bogie or vehicle, from 1; 0 for the train."""
        return max(self.axle, self.bogie, self.vehicle)


@dataclass(frozen=True)
class LogMap:
    """A whole mapping: the time column of a table, and what its channels are."""

    entries: tuple[Entry, ...]
    time_name: str = ""
    time_unit: str = "s"
    source: str = "guessed"


_TEXTS = {"name", "quantity", "unit", "time", "recorder"}
_WHOLE = set(_NUMBERED)
_LIMITS = {"diameter_m": (0.3, 1.4), "scatter": (0.0, 1e9)}


def read_map(path: str | Path) -> LogMap:
    """Read a mapping from TOML.

    Raises
    ------
    InputError   one line: file, key, value, what is allowed
    """
    content = regular_toml(
        path, "a mapping is a TOML file; `slipbench log FILE --guess` writes one"
    )
    where = place(path)
    for key in content:
        if key not in _TOP:
            raise InputError(f"{where}: {key}: unknown key; {nearest_text(key, _TOP)}")
    time = content.get("time", {})
    if not isinstance(time, dict):
        raise InputError(f"{where}: time: must be a table, [time]")
    for key, value in time.items():
        if key not in ("name", "unit"):
            raise InputError(f"{where}: time.{key}: unknown key; known: name, unit")
        if not isinstance(value, str):
            raise InputError(f"{where}: time.{key} = {shown(value)}: must be text")
    rows = content.get("channel", [])
    if not isinstance(rows, list) or not rows or not all(isinstance(r, dict) for r in rows):
        raise InputError(f"{where}: channel: must be a list of tables, [[channel]], at least one")
    entries = tuple(_entry(row, f"{where}: channel.{i}") for i, row in enumerate(rows, start=1))
    _refuse_twice(entries, where)
    unit = time.get("unit", "s")
    _time_unit(unit, f"{where}: time.unit")
    return LogMap(entries, time.get("name", ""), unit, str(path))


def _entry(row: Mapping[str, Any], where: str) -> Entry:
    known = [field.name for field in fields(Entry)]
    values: dict[str, Any] = {}
    for key, value in row.items():
        if key not in known:
            raise InputError(f"{where}.{key}: unknown key; {nearest_text(key, known)}")
        values[key] = _value(key, value, f"{where}.{key}")
    for key in ("name", "quantity"):
        if key not in values:
            raise InputError(f"{where}: {key} is missing")
    kind = KINDS.get(values["quantity"])
    if kind is None:
        near = nearest_text(values["quantity"], KINDS)
        raise InputError(f"{where}.quantity = {shown(values['quantity'])}: unknown; {near}")
    entry = Entry(**values)
    given = [name for name in _NUMBERED if getattr(entry, name)]
    if len(given) > 1 or entry.span not in kind.spans:
        raise InputError(
            f"{where}: {entry.quantity} is of one of: {', '.join(kind.spans)}; "
            f"given: {', '.join(given) or 'none (the train)'}"
        )
    find_unit(entry, where)
    return entry


def _value(key: str, value: Any, where: str) -> Any:
    if key in _TEXTS:
        if not isinstance(value, str) or (key in ("name", "quantity") and not value.strip()):
            raise InputError(f"{where} = {shown(value)}: must be text")
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError(f"{where} = {shown(value)}: must be a finite number")
    if key in _WHOLE and (not isinstance(value, int) or not 1 <= value <= 400):
        raise InputError(f"{where} = {shown(value)}: must be a whole number from 1 to 400")
    low, high = _LIMITS.get(key, (-1e9, 1e9))
    if not low <= value <= high:
        raise InputError(f"{where} = {shown(value)}: must be from {low:g} to {high:g}")
    return value if key in _WHOLE else float(value)


def _refuse_twice(entries: tuple[Entry, ...], where: str) -> None:
    seen: dict[tuple[str, str, int], str] = {}
    for entry in entries:
        what = (entry.quantity, entry.span, entry.number)
        if what in seen:
            raise InputError(
                f"{where}: {entry.quantity} of {entry.span} {entry.number or ''} is given twice, "
                f"by {shown(seen[what])} and {shown(entry.name)}; leave one out"
            )
        seen[what] = entry.name


def find_unit(entry: Entry, where: str) -> Unit:
    """Return the unit of an entry.

    Raises
    ------
    InputError   for one that is not known, or turns without a diameter
    """
    word = entry.unit.replace(" ", "").casefold()
    dimension = KINDS[entry.quantity].dimension
    units = logged_units(dimension)
    if word in units:
        return units[word]
    turns = logged_units("rotation") if entry.quantity == "wheel_speed" else {}
    if word in turns:
        if math.isnan(entry.diameter_m):
            raise InputError(f"{where}: unit {entry.unit} needs diameter_m, the wheel's [m]")
        unit = turns[word]
        return unit._replace(multiplier=unit.multiplier * 0.5 * entry.diameter_m)
    known = ", ".join(dict.fromkeys(u.text for u in [*units.values(), *turns.values()]))
    raise InputError(f"{where}.unit = {shown(entry.unit)}: unknown for {entry.quantity}; {known}")


def _time_unit(word: str, where: str) -> Unit:
    units = logged_units("time")
    unit = units.get(word.replace(" ", "").casefold())
    if unit is None:
        known = ", ".join(dict.fromkeys(u.text for u in units.values()))
        raise InputError(f"{where} = {shown(word)}: unknown unit of time; {known}")
    return unit


def apply_map(raw: RawLog, mapping: LogMap) -> Log:
    """Return the log that a file is under a mapping, in SI, times from the first sample on.

    Raises
    ------
    InputError   a channel the file has not, no usable time, nothing mapped
    """
    file = place(raw.path)
    notes = list(raw.notes)
    channels = []
    for entry in mapping.entries:
        found = raw.named(entry.name)
        if found is None:
            near = nearest_text(entry.name, [c.name for c in raw.channels])
            raise InputError(f"{file}: has no channel {shown(entry.name)}; {near}")
        unit = find_unit(entry, f"{mapping.source}: {shown(entry.name)}")
        time = _time_of(raw, found, entry, mapping) + 0.0
        values = in_si(found.values, unit)
        if entry.scale != 1.0 or entry.offset != 0.0:
            values = values * entry.scale + entry.offset
        time, values, said = _usable(time - entry.delay_s, values, entry)
        notes += said
        channels.append(
            Channel(
                entry.quantity, entry.span, entry.number, entry.name, time, values,
                entry.recorder or found.group, entry.scatter,
            )
        )  # fmt: skip
    if not channels:
        _refuse_unknown(raw)
    channels = [c for c in channels if len(c.time) > 1]
    if not channels:
        raise InputError(f"{file}: no channel has two samples with a time")
    begin = min(float(c.time[0]) for c in channels)
    if abs(begin) > 1e5:  # a date, or the seconds of a year
        channels = [replace(c, time=c.time - begin) for c in channels]
        notes.append(f"times count from the first sample on, {begin:.3f} s in the file")
    return Log(raw.path.name, tuple(channels), tuple(notes))


def _refuse_unknown(raw: RawLog) -> NoReturn:
    names = ", ".join(shown(c.name) for c in raw.channels[:8])
    raise InputError(
        f"{place(raw.path)}: nothing in it could be told to be a channel of a stop (it has "
        f"{names}); "
        "write a mapping with --guess MAP.toml and correct it"
    )


def in_si(values: Floats, unit: Unit) -> Floats:
    """Return values in SI, the same bits where they already are."""
    if unit.multiplier == 1.0 and unit.divisor == 1.0:
        return values
    return np.asarray(values * unit.multiplier / unit.divisor)


def _time_of(raw: RawLog, channel: RawChannel, entry: Entry, mapping: LogMap) -> Floats:
    if channel.time is not None and not entry.time:
        return channel.time
    name = entry.time or mapping.time_name
    file = place(raw.path)
    if not name:
        raise InputError(f"{file}: no channel is the time; name it in the mapping, [time] name")
    found = raw.named(name)
    if found is None:
        near = nearest_text(name, [c.name for c in raw.channels])
        raise InputError(f"{file}: has no time {shown(name)}; {near}")
    if len(found.values) != len(channel.values):
        raise InputError(
            f"{file}: {shown(entry.name)} has {len(channel.values)} samples, its time "
            f"{shown(name)} has {len(found.values)}"
        )
    unit = _time_unit(mapping.time_unit, f"{mapping.source}: time.unit")
    return in_si(found.values, unit)


def _usable(time: Floats, values: Floats, entry: Entry) -> tuple[Floats, Floats, list[str]]:
    """Return the samples that have a time, in order, and what had to be left out."""
    said = []
    has_time = np.isfinite(time)
    if not has_time.all():
        said.append(f"{entry.name}: {int((~has_time).sum())} samples without a time are left out")
        time, values = time[has_time], values[has_time]
    if len(time) > 1 and not (np.diff(time) > 0.0).all():
        rising = time > np.concatenate([[-np.inf], np.maximum.accumulate(time)[:-1]])
        said.append(
            f"{entry.name}: the clock stands still or jumps back at {int((~rising).sum())} "
            "samples, "
            f"first after {float(time[np.argmin(rising) - 1]):.3f} s; they are left out"
        )
        time, values = time[rising], values[rising]
    return time, values, said
