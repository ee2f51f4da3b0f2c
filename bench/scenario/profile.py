"""A rail from data: friction along the track, read from CSV."""

import csv
import dataclasses
import math
from pathlib import Path

from bench.errors import InputError
from bench.scenario.fields import FieldProblem
from bench.scenario.rail import RailSection
from bench.scenario.units import DIMENSIONS

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
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = getattr(problem, "strerror", None) or "not UTF-8 text"
        raise InputError(f"{file}: cannot be read ({reason}); a rail profile is CSV") from None
    rows = [
        (number, row)
        for number, row in enumerate(csv.reader(text.splitlines()), start=1)
        if row and row[0].strip() and not row[0].lstrip().startswith("#")
    ]
    if len(rows) < 2:
        raise InputError(f"{file}: needs a header and at least one row of distance_m, friction")
    known = _columns()
    header = [name.strip() for name in rows[0][1]]
    for name in header:
        if name not in known:
            raise InputError(
                f"{file}: line {rows[0][0]}: unknown column {name!r}; allowed: {', '.join(known)}"
            )
    fields = [known[name][0] for name in header]
    for needed in ("from_distance", "friction"):
        if fields.count(needed) != 1:
            raise InputError(
                f"{file}: line {rows[0][0]}: the header needs exactly one column for "
                f"{needed.removeprefix('from_')}; given: {', '.join(header)}"
            )
    return tuple(
        _section(file, number, header, row, template, is_first=i == 0)
        for i, (number, row) in enumerate(rows[1:])
    )


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
    known, values = _columns(), {}
    for name, text in zip(header, row, strict=True):
        field, multiplier, divisor = known[name]
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise InputError(f"{file}: line {line}: {name} = {text.strip()!r}: must be a number")
        values[field] = value * multiplier / divisor
    if is_first:
        values["from_distance"] = min(values["from_distance"], 0.0)
    values.setdefault("recovered_friction", max(template.recovered_friction, values["friction"]))
    try:
        return dataclasses.replace(template, **values)
    except FieldProblem as problem:
        raise InputError(
            f"{file}: line {line}: {problem.key} = {problem.value}: {problem.detail}"
        ) from None
