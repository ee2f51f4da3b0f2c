"""A rail from data: friction along the track, read from CSV."""

import dataclasses
import math
from pathlib import Path

from slipbench.ground.csv_rows import csv_rows
from slipbench.ground.errors import InputError
from slipbench.ground.telling import quoted, shown
from slipbench.scenario.fields import FieldProblem
from slipbench.scenario.rail import RailSection
from slipbench.scenario.units import DIMENSIONS

MOST_ROWS = 10_000

_FIELDS = {
    "distance": ("from_distance", "length"),
    "friction": ("friction", "ratio"),
    "recovered_friction": ("recovered_friction", "ratio"),
    "cleaning_work": ("cleaning_work", "work_per_length"),
    "cleaning_exponent": ("cleaning_exponent", "ratio"),
    "friction_ratio": ("friction_ratio", "ratio"),
    "friction_decay": ("friction_decay", "inverse_speed"),
}


def _columns() -> dict[str, tuple[str, float, float]]:
    known = {}
    for column, (field, dimension) in _FIELDS.items():
        for unit in DIMENSIONS[dimension]:
            name = f"{column}_{unit.suffix}" if unit.suffix else column
            known[name] = (field, unit.multiplier, unit.divisor)
    return known


def sections_from_csv(path: str | Path, template: RailSection) -> tuple[RailSection, ...]:
    """Read friction along the track; what a row does not say is taken from the template.

    Parameters
    ----------
    path : str or path       CSV with a header; columns `distance_m` (or _km, _yd, _mile, _mm) and
                             `friction`, optionally `recovered_friction`, `cleaning_work_kj_per_m`
                             (or _j_per_m), `cleaning_exponent`, `friction_ratio`,
                             `friction_decay_s_per_m`. A row holds from its distance to the next;
                             the first also reaches back under the train. Lines beginning with # and
                             empty lines are skipped.
    template : RailSection   for columns that are missing; its recovered friction is lifted to the
                             friction of a row where it would lie below

    Returns
    -------
    tuple of RailSection

    Raises
    ------
    InputError   one line with file, line, column and what is allowed
    """
    file = Path(path)
    rows = csv_rows(file, "a rail profile")
    if len(rows) < 2:
        raise InputError(f"{file}: needs a header and at least one row of distance_m, friction")
    if len(rows) > MOST_ROWS + 1:
        raise InputError(f"{file}: {len(rows) - 1} rows; at most {MOST_ROWS} are allowed")
    header = _header(file, *rows[0])
    sections: list[RailSection] = []
    for line, row in rows[1:]:
        section = _section(file, line, header, row, template, is_first=not sections)
        if sections and section.from_distance <= sections[-1].from_distance:
            raise InputError(
                f"{file}: line {line}: distance {section.from_distance:g} m does not rise above "
                f"that of the row before, {sections[-1].from_distance:g} m"
            )
        sections.append(section)
    return tuple(sections)


def _header(file: Path, line: int, row: list[str]) -> list[str]:
    """Return the names of the columns; refuse any that is unknown, missing or there twice."""
    known = _columns()
    header = [name.strip() for name in row]
    for name in header:
        if name not in known:
            raise InputError(
                f"{file}: line {line}: unknown column {shown(name)}; allowed: {', '.join(known)}"
            )
    fields = [known[name][0] for name in header]
    for column, (field, _) in _FIELDS.items():
        n_needed = 1 if column in ("distance", "friction") else 0
        if not n_needed <= fields.count(field) <= 1:
            how_many = "exactly one column" if n_needed else "at most one column"
            raise InputError(
                f"{file}: line {line}: the header needs {how_many} for {column}; "
                f"given: {quoted(', '.join(header))}"
            )
    return header


def _section(
    file: Path,
    line: int,
    header: list[str],
    row: list[str],
    template: RailSection,
    *,
    is_first: bool,
) -> RailSection:
    if len(row) != len(header):
        raise InputError(f"{file}: line {line}: {len(row)} values, the header has {len(header)}")
    known, values, columns = _columns(), {}, {}
    for name, text in zip(header, row, strict=True):
        field, multiplier, divisor = known[name]
        columns[field] = name, text.strip()
        values[field] = finite_number(file, line, name, text) * multiplier / divisor
    if is_first:
        values["from_distance"] = min(values["from_distance"], 0.0)
    values.setdefault("recovered_friction", max(template.recovered_friction, values["friction"]))
    try:
        return dataclasses.replace(template, **values)
    except FieldProblem as problem:
        name, text = columns.get(problem.key, (problem.key, problem.value))
        told = f"{name} = {quoted(text)}: {problem.detail}"
        raise InputError(f"{file}: line {line}: {told}") from None


def finite_number(file: Path, line: int, column: str, text: str) -> float:
    """Return the number in a cell; refuse anything else, naming file, line and column."""
    try:
        value = math.nan if "_" in text else float(text)  # Python would read 1_0 as ten
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        told = shown(text.strip())
        raise InputError(f"{file}: line {line}: {column} = {told}: must be a finite number")
    return value
