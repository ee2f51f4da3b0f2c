"""What is varied, read from text: `KEY=LOW:HIGH` or `KEY=A,B,C`, with units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from slipbench.campaign.variation import FILM, WEAR
from slipbench.contract import Controller
from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text, shown
from slipbench.scenario.assemble import field_at
from slipbench.scenario.units import Unit, parse_in_unit, plain_unit
from slipbench.statistics.designs import Factor, Space

TIMES = "x"
"""May follow a number that multiplies: `film.friction=0.5x:2x`."""

_WRITE = "write KEY=LOW:HIGH, KEY=LOW:HIGH:log or KEY=A,B,C, numbers with their unit"


class Varied(NamedTuple):
    """Something that may be varied.

    Attributes
    ----------
    name : str          a strategy's parameter, `film.*`, `equipment.wear`, or a scenario's path
    unit : str          SI unit; "-" for a plain number
    meaning : str       what it is, or what it multiplies
    is_multiplier : bool
    is_whole : bool     it takes whole numbers only
    """

    name: str
    unit: str
    meaning: str
    is_multiplier: bool = False
    is_whole: bool = False


def find_varied(key: str, controllers: Sequence[Controller] = ()) -> Varied:
    """Return what a key means.

    Parameters
    ----------
    key : str                  a parameter's name, `film.friction` and others, `equipment.wear`, or
                               a scenario key as `--set` takes it
    controllers : sequence     strategies whose parameters may be meant

    Raises
    ------
    InputError   for none of them, or a value that is no number
    """
    if key in FILM:
        film = FILM[key]
        return Varied(key, "s/m" if "[s/m]" in film.doc else "-", film.doc, film.is_log)
    if key == WEAR:
        return Varied(key, "-", "0 clean, 1 as in service, 2 worn")
    if key.startswith("film."):
        raise InputError(f"factor {shown(key)}: {nearest_text(key, FILM)}")
    if "." not in key and key != "initial_speed":
        known = {p.name: p for one in controllers for p in one.parameters}
        if known and key not in known:
            raise InputError(
                f"factor {shown(key)}: no strategy has this parameter; {nearest_text(key, known)} "
                "(a key of the scenario has a dot)"
            )
        return Varied(key, known[key].unit or "-", known[key].doc) if known else Varied(key, "", "")
    try:
        path, spec = field_at(key)
    except InputError as problem:
        raise InputError(str(problem).replace("--set", "factor", 1)) from None
    if not spec.is_numeric or spec.is_list:
        raise InputError(f"factor {shown(key)}: holds no single number, so cannot be varied")
    return Varied(path, spec.unit_text or "-", spec.doc, is_whole=spec.kind != "quantity")


def read_factor(text: str, controllers: Sequence[Controller] = ()) -> tuple[Factor, Unit, Varied]:
    """Read `KEY=LOW:HIGH`, `KEY=LOW:HIGH:log` or the levels of a grid, `KEY=A,B,C`.

    Parameters
    ----------
    text : str
    controllers : sequence   strategies whose parameters may be meant

    Returns
    -------
    Factor    in SI, named by the scenario's path
    Unit      the numbers were written in
    Varied    what it is

    Raises
    ------
    InputError   if it is none of them, a unit is missing or another, or the order is wrong
    """
    key, is_given, values = text.partition("=")
    if not is_given or not key.strip():
        raise InputError(f"factor {shown(text)}; {_WRITE}")
    varied = find_varied(key.strip(), controllers)
    words = [word.strip() for word in values.split(":")]
    is_log = words[2:] == ["log"]
    if len(words) == 1:
        levels, unit = read_numbers(text, words[0].split(","), varied)
        return Factor(varied.name, min(levels), max(levels), levels=levels), unit, varied
    if len(words) != 2 + is_log:
        raise InputError(f"factor {shown(text)}; {_WRITE}")
    (low, high), unit = read_numbers(text, words[:2], varied)
    return Factor(varied.name, low, high, is_log), unit, varied


def read_numbers(text: str, words: Sequence[str], varied: Varied) -> tuple[tuple[float, ...], Unit]:
    """Return numbers in SI and the unit of the last; one without a unit has that of the last.

    Raises
    ------
    InputError   naming the whole `text`
    """
    if varied.is_multiplier:
        words = [word.strip().removesuffix(TIMES) for word in words]
    last = plain_unit()
    values: list[float] = []
    for word in reversed(words):
        try:
            value, last = parse_in_unit(word.strip(), varied.unit, last if values else None)
        except InputError as problem:
            raise InputError(f"factor {shown(text)}: {problem}") from None
        if not math.isfinite(value) or (varied.is_whole and value != round(value)):
            allowed = "whole numbers" if varied.is_whole else "finite numbers"
            raise InputError(f"factor {shown(text)}: allowed: {allowed}")
        values.insert(0, value)
    return tuple(values), last


def factor_lines(space: Space, controllers: Sequence[Controller] = ()) -> list[str]:
    """Return a line a factor: from where to where, its unit, what it multiplies or sets."""
    lines = []
    for factor in space:
        varied = find_varied(factor.name, controllers)
        ends = ", ".join(f"{level:g}" for level in factor.levels)
        ends = ends or f"{factor.low:g} to {factor.high:g}{' (log)' if factor.is_log else ''}"
        unit = "" if varied.unit in ("", "-") else f" {varied.unit}"
        doc = varied.meaning.rstrip(".")
        if varied.is_multiplier:
            doc = f"a multiplier: {doc}"
        lines.append(f"varied: {factor.name} from {ends}{unit}{f'; {doc}' if doc else ''}")
    return lines
