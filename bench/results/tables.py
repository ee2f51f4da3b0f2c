"""Plain-text tables for a terminal."""

from __future__ import annotations

import math
import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Sequence

from slipbench.scenario import Scenario
from slipbench.scenario.scenario import ScenarioValue

GAP = "  "
UNKNOWN = "-"
LONGEST_RULE = 118
NO_SOURCE = "no source"
HEADS = ("mark", "value", "", "SI unit", "source")


def plain_table(
    headers: Sequence[str], rows: Sequence[Sequence[str] | str], n_left: int = 1
) -> str:
    """Return a table with aligned columns.

    Parameters
    ----------
    headers : sequence of str   may have several lines
    rows : sequence             a row is its cells; a single str is a line of its own, not aligned
    n_left : int                columns aligned left; the others are aligned right

    Returns
    -------
    str   without a newline at the end
    """
    heads = [header.split("\n") for header in headers]
    height = max(len(lines) for lines in heads)
    padded = [[""] * (height - len(lines)) + lines for lines in heads]
    head_rows = [[column[i] for column in padded] for i in range(height)]
    cells = [*head_rows, *(row for row in rows if not isinstance(row, str))]
    widths = [max(len(row[i]) for row in cells) for i in range(len(headers))]

    def line(row: Sequence[str] | str) -> str:
        if isinstance(row, str):
            return row
        parts = [
            cell.ljust(width) if i < n_left else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        return GAP.join(parts).rstrip()

    rule = "-" * min(sum(widths) + len(GAP) * (len(widths) - 1), LONGEST_RULE)
    return "\n".join([*map(line, head_rows), rule, *map(line, rows)])


def number(value: float, decimals: int, unit: str = "") -> str:
    """Return a number with its unit, or a dash if it is not finite."""
    if not math.isfinite(value):
        return UNKNOWN
    return f"{value:.{decimals}f}{' ' if unit else ''}{unit}"


def scenario_table(scenario: Scenario, width: int | None = None) -> str:
    """Return every value of a scenario with SI unit, mark and source, one line each.

    Items of a list that agree in a value, its mark and its source share a line, `*` for their
    number; a mark ending in `*` is that of a library default. With `width` [characters] sources
    are wrapped to it.
    """
    values = [_with_default_mark(value) for value in scenario.values()]
    shown = [
        (v.mark, v.path, value_text(v.value), v.unit, v.source) for v in shown_values(scenario)
    ]
    used = sum(max(len(row[i]) for row in (*shown, HEADS)) + len(GAP) for i in range(4))
    room = max(width - used, 30) if width else 10_000
    rows: list[Sequence[str] | str] = []
    for *cells, source in shown:
        first, *others = textwrap.wrap(source or NO_SOURCE, room)
        rows.append([*cells, first])
        rows += [" " * used + line for line in others]
    counts = Counter(value.mark for value in values)
    known = ", ".join(f"{count} {mark}" for mark, count in counts.most_common())
    table = plain_table(HEADS, rows, n_left=len(HEADS))
    return f"{table}\n\n{len(values)} values: {known} (* a library default)"


def shown_values(scenario: Scenario) -> list[ScenarioValue]:
    """Return every value of a scenario as `scenario_table` shows it."""
    return _merged(_with_default_mark(value) for value in scenario.values())


def value_text(value: object) -> str:
    """Return a scenario value as text."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.7g}"
    if isinstance(value, tuple):
        return f"[{', '.join(map(value_text, value))}]"
    return str(value)


def _with_default_mark(value: ScenarioValue) -> ScenarioValue:
    """Take the mark of a library default, which opens its source, as its mark."""
    if value.mark != "default":
        return value
    mark, _, source = value.source.partition(": ")
    return value._replace(mark=f"{mark}*", source=source)


def _merged(values: Iterable[ScenarioValue]) -> list[ScenarioValue]:
    """Merge list items that agree, where all items of their list do."""
    groups: dict[str, list[ScenarioValue]] = {}
    for value in values:
        groups.setdefault(re.sub(r"\.\d+\.", ".*.", value.path), []).append(value)
    merged = []
    for path, group in groups.items():
        if len(group) > 1 and len({value._replace(path="") for value in group}) == 1:
            group = [group[0]._replace(path=path)]
        merged += group
    return merged
