"""Guess from names and units what the channels of a file are."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import numpy as np

from slipbench.measured.log import KINDS
from slipbench.measured.mapping import Entry, LogMap
from slipbench.measured.raw import RawChannel, RawLog
from slipbench.scenario.units import logged_units

_WORD = re.compile(r"[^\W\d_]+|\d+")
_UNIT_SUFFIXES = (
    ("m_per_s2", "m/s2"), ("m_per_s", "m/s"), ("kmh", "km/h"), ("kph", "km/h"), ("mph", "mph"),
    ("rpm", "r/min"), ("mbar", "mbar"), ("kpa", "kPa"), ("bar", "bar"), ("pa", "Pa"),
    ("kn", "kN"), ("n", "N"), ("km", "km"), ("m", "m"), ("ms", "ms"), ("s", "s"),
)  # fmt: skip
_TIME = {"time", "t", "timestamp", "timestamps", "zeit", "temps", "clock", "sec", "seconds"}
_AXLE = {"axle", "ax", "wheel", "wheelset", "ws", "achse", "radsatz", "essieu", "rad"}
_BOGIE = {"bogie", "bg", "truck", "drehgestell"}
_VEHICLE = {"vehicle", "car", "coach", "veh", "wagen"}
_PRESSURE = {"pressure", "press", "p", "bc", "bcp", "cyl", "cylinder", "druck"}
_SPEED = {"speed", "v", "vel", "velocity", "rpm", "n", "u"}
_REFERENCE = {"train", "radar", "gps", "gnss", "doppler", "sat", "satellite", "reference", "ref",
              "ground", "true"}  # fmt: skip
_DISTANCE = {"distance", "dist", "odometer", "odo", "chainage", "way", "place"}
_HANDLE = {"handle", "notch", "step", "controller"}
_DEMAND = {"demand", "request"}
_DECELERATION = {"deceleration", "decel", "acceleration", "accel", "acc", "retardation"}
_SAND = {"sand", "sander", "sanding"}
_VALVE = {"valve", "valves", "dump", "vent"}
_EFFORT = {"effort", "dynamic", "edb", "electric"}


def guess_map(raw: RawLog) -> LogMap:
    """Return what the channels of a file probably are; what cannot be told is left out."""
    time = _time_channel(raw)
    entries: list[Entry] = []
    taken: set[tuple[str, str, int]] = set()
    for channel in raw.channels:
        if time is not None and channel.name == time.name:
            continue
        entry = _entry(channel)
        if entry is None or (entry.quantity, entry.span, entry.number) in taken:
            continue
        taken.add((entry.quantity, entry.span, entry.number))
        entries.append(entry)
    unit = ""
    if time is not None:
        unit = time.unit or _unit_in(time.name)
    is_known = unit.replace(" ", "").casefold() in logged_units("time")
    return LogMap(tuple(entries), time.name if time else "", unit if is_known else "s")


def _words(name: str) -> list[str]:
    return [word.casefold() for word in _WORD.findall(name.partition("@")[0])]


def _time_channel(raw: RawLog) -> RawChannel | None:
    """Return the column that holds the times of a table, None where channels bring their own."""
    own = [c for c in raw.channels if c.time is None]
    rising = [c for c in own if len(c.values) > 1 and _rises(c)]
    named = [c for c in own if _TIME & set(_words(c.name))]
    for candidates in (
        [c for c in named if c in rising],
        [c for c in rising if c.unit.casefold() in logged_units("time")],
        named,
        rising[:1],
    ):
        if candidates:
            return candidates[0]
    return None


def _rises(channel: RawChannel) -> bool:
    given = channel.values[np.isfinite(channel.values)]
    return len(given) > 1 and float(np.mean(np.diff(given) > 0.0)) > 0.95


def _unit_in(name: str) -> str:
    folded = name.partition("@")[0].casefold()
    return next((unit for suffix, unit in _UNIT_SUFFIXES if folded.endswith(f"_{suffix}")), "")


def _entry(channel: RawChannel) -> Entry | None:
    words = _words(channel.name)
    unit = channel.unit or _unit_in(channel.name)
    bare = set(words)
    number = next((int(word) for word in words if word.isdigit() and 0 < int(word) <= 400), 0)
    span = "axle" if number else ""
    for name, known in (("bogie", _BOGIE), ("vehicle", _VEHICLE), ("axle", _AXLE)):
        if bare & known and number:
            span = name
    quantity = _quantity(bare, unit.replace(" ", "").casefold(), bool(number))
    if quantity is None:
        return None
    spans = KINDS[quantity].spans
    if span and span not in spans:
        span = ""
    if not span and "train" not in spans:
        return None
    if quantity == "wheel_speed" and not unit:
        unit = "km/h" if float(np.nanmax(channel.values, initial=0.0)) > 70.0 else "m/s"
    elif not unit and KINDS[quantity].dimension not in ("ratio", "count"):
        usual = {"pressure": "bar", "train_speed": "km/h", "distance": "m", "deceleration": "m/s2",
                 "brake_effort": "kN"}  # fmt: skip
        unit = usual[quantity]
    if KINDS[quantity].dimension == "count" or (quantity == "sand"):
        unit = ""
    entry = Entry(channel.name, quantity, unit=unit)
    place: dict[str, Any] = {span: number} if span else {}
    return replace(entry, **place)


def _quantity(words: set[str], unit: str, is_numbered: bool) -> str | None:
    """Return what a channel measures, by its unit first, then by its words."""

    def has(dimension: str) -> bool:
        return unit != "" and unit in logged_units(dimension)

    if has("pressure") or (not unit and words & _PRESSURE and not words & _SPEED):
        return "pressure"
    if has("speed") or has("rotation") or (not unit and words & (_SPEED | _REFERENCE)):
        is_reference = bool(words & _REFERENCE) or not is_numbered
        return "train_speed" if is_reference and not has("rotation") else "wheel_speed"
    if has("acceleration") or (not unit and words & _DECELERATION):
        return "deceleration"
    if has("force") or (not unit and words & _EFFORT):
        return "brake_effort"
    if has("length") or (not unit and words & _DISTANCE):
        return "distance"
    for name, known in (("handle", _HANDLE), ("demand", _DEMAND), ("sand", _SAND),
                        ("valve", _VALVE)):  # fmt: skip
        if words & known:
            return name
    return None


def map_text(mapping: LogMap, raw: RawLog) -> str:
    """Return a mapping as TOML, with what was not understood as a comment."""
    lines = [
        f"# Which channel of {json.dumps(raw.path.name)[1:-1]} is what. Guessed: look at every "
        "line.",
        "# Axles count from 1 from the front, in running direction. Further keys of a channel:",
        "# diameter_m (speed in turns), scale and offset (SI = value in SI * scale + offset),",
        "# delay_s (the channel tells the past by this), time (its own column of times), recorder",
        "# (channels of one recorder share a clock), scatter (standard deviation, SI).",
        "# Instead of axle: bogie or vehicle. Quantities:",
        *(f"#   {name:<13} {kind.doc}" for name, kind in KINDS.items()),
        "",
    ]
    if mapping.time_name:
        lines += ["[time]", f"name = {json.dumps(mapping.time_name, ensure_ascii=False)}",
                  f"unit = {json.dumps(mapping.time_unit)}", ""]  # fmt: skip
    for entry in mapping.entries:
        lines += _entry_lines(entry)
    known = {entry.name for entry in mapping.entries} | {mapping.time_name}
    left = [c for c in raw.channels if c.name not in known]
    if left:
        lines.append("# Not understood, so left out:")
        lines += [f"#   {json.dumps(c.name, ensure_ascii=False)} [{c.unit}]" for c in left]
    return "\n".join(lines) + "\n"


def _entry_lines(entry: Entry) -> list[str]:
    lines = ["[[channel]]", f"name = {json.dumps(entry.name, ensure_ascii=False)}",
             f'quantity = "{entry.quantity}"']  # fmt: skip
    if entry.number:
        lines.append(f"{entry.span} = {entry.number}")
    lines.append(f"unit = {json.dumps(entry.unit, ensure_ascii=False)}")
    for name in ("scale", "offset", "delay_s", "diameter_m"):
        value, usual = getattr(entry, name), {"scale": 1.0}.get(name, 0.0)
        if value != usual and not math.isnan(value):
            lines.append(f"{name} = {value!r}")
    return [*lines, ""]
