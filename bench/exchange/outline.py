"""What a unit that is written consists of: its variables, with their places in the C sources."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

REAL, INTEGER, BOOLEAN = "REAL", "INTEGER", "BOOLEAN"
INPUT, OUTPUT, FIXED, TUNABLE = "INPUT", "OUTPUT", "FIXED", "TUNABLE"

UNITS: Mapping[str, Mapping[str, int]] = {
    "m/s": {"m": 1, "s": -1},
    "m/s2": {"m": 1, "s": -2},
    "m": {"m": 1},
    "s": {"s": 1},
    "Pa": {"kg": 1, "m": -1, "s": -2},
    "N": {"kg": 1, "m": 1, "s": -2},
    "J": {"kg": 1, "m": 2, "s": -2},
    "1/s": {"s": -1},
}
"""Units of measurement in what is written: SI, by powers of the base units."""


@dataclass(frozen=True)
class Item:
    """A variable of a unit that is written.

    Attributes
    ----------
    name : str
    kind : str          REAL, INTEGER or BOOLEAN
    role : str          INPUT, OUTPUT, or a parameter: FIXED at the start, or TUNABLE any time
    text : str          what it is
    unit : str          "" for none
    size : int          values; one of several has an array (3.0) or numbered scalars (2.0)
    is_array : bool     it has one even where its size is one
    starts : tuple      of an input or parameter
    macro : str         name in the C sources of the place of its first value, "" for none
    """

    name: str
    kind: str
    role: str
    text: str
    unit: str = ""
    size: int = 1
    is_array: bool = False
    starts: tuple[float, ...] = ()
    low: float | None = None
    high: float | None = None
    macro: str = ""

    @property
    def causality(self) -> str:
        """As descriptions write it."""
        return {INPUT: "input", OUTPUT: "output"}.get(self.role, "parameter")

    @property
    def variability(self) -> str:
        """As descriptions write it."""
        if self.role in (FIXED, TUNABLE):
            return self.role.lower()
        return "continuous" if self.kind == REAL else "discrete"


@dataclass(frozen=True)
class Outline:
    """A unit that is written: what its description and its tables in C are made of.

    Attributes
    ----------
    name : str          of the model; its identifier follows
    items : tuple of Item
    version : int       2 or 3
    step, stop : float  proposed step and end [s]
    """

    name: str
    identifier: str
    text: str
    version: int
    token: str
    items: tuple[Item, ...]
    step: float
    stop: float
    more: Mapping[str, str] = field(default_factory=dict)

    def placed(self) -> Iterator[tuple[int, Item]]:
        """Yield each item with the place of its first value."""
        place = 0
        for item in self.items:
            yield place, item
            place += item.size

    @property
    def n_values(self) -> int:
        """Values of all items."""
        return sum(item.size for item in self.items)

    def scalars(self) -> Iterator[tuple[str, int, int, Item, int]]:
        """Yield (name, place, count, item, number in the item) of each variable of the version.

        FMI 2.0 has no arrays: each of their values is a variable of its own.
        """
        for place, item in self.placed():
            if self.version == 3 or not item.is_array:
                yield item.name, place, item.size, item, 0
                continue
            for i in range(item.size):
                yield f"{item.name}[{i + 1}]", place + i, 1, item, i


def c_number(value: float) -> str:
    """Return a double as C reads it back to the last bit."""
    if math.isinf(value):
        return "HUGE_VAL" if value > 0.0 else "-HUGE_VAL"
    return "NAN" if math.isnan(value) else float(value).hex()


def c_list(values: Iterator[str] | list[str]) -> str:
    """Return the inside of an initialiser, never empty."""
    return ", ".join(values) or "0"


def header_lines(outline: Outline) -> list[str]:
    """Return the part of `model.h` that every unit has."""
    n_variables = sum(1 for _ in outline.scalars())
    lines = [
        f'#define UNIT_TOKEN "{outline.token}"',
        f"#define N_VARIABLES {n_variables}",
        f"#define N_VALUES {outline.n_values}",
        f"#define TIME_REFERENCE {n_variables}",
        f"#define STATE_MARK UINT64_C(0x{outline.token[:16]})",
    ]
    lines += [f"#define {item.macro} {place}" for place, item in outline.placed() if item.macro]
    return lines


def table_lines(outline: Outline) -> list[str]:
    """Return the tables of variables and start values, as C."""
    rows = [
        f"{{{item.kind}, {item.role}, {place}, {count}}}"
        for _, place, count, item, _ in outline.scalars()
    ]
    starts = [
        c_number(value) for item in outline.items for value in (item.starts or (0.0,) * item.size)
    ]
    return [
        '#include "unit.h"',
        f"const Variable unit_variables[N_VARIABLES] = {{{c_list(rows)}}};",
        f"const double unit_starts[N_VALUES] = {{{c_list(starts)}}};",
    ]
