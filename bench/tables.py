"""Plain-text tables for a terminal."""

from __future__ import annotations

import math
import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from bench.scenario import Scenario
from bench.scenario.scenario import ScenarioValue

if TYPE_CHECKING:  # heavy, and not needed to print a scenario
    from bench.compare import Comparison, Score, Yardsticks

GAP = "  "
UNKNOWN = "-"
LONGEST_RULE = 118
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

    def written(row: Sequence[str] | str) -> str:
        if isinstance(row, str):
            return row
        parts = [
            cell.ljust(width) if i < n_left else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        return GAP.join(parts).rstrip()

    rule = "-" * min(sum(widths) + len(GAP) * (len(widths) - 1), LONGEST_RULE)
    return "\n".join([*map(written, head_rows), rule, *map(written, rows)])


def number(value: float, decimals: int, unit: str = "") -> str:
    """Return a number with its unit, or a dash if it is not finite."""
    if not math.isfinite(value):
        return UNKNOWN
    return f"{value:.{decimals}f}{' ' if unit else ''}{unit}"


def comparison_table(comparison: Comparison) -> str:
    """Return a comparison as one table grouped by rail, with the notes that explain it."""
    is_spread = comparison.n_seeds > 1
    rows: list[Sequence[str] | str] = []
    for scenario in comparison.rails():
        if rows:
            rows.append("")
        rows += _heading(scenario, comparison.yardsticks[scenario.name])
        scores = comparison.scores(scenario.name)
        rows += [_cells(score, is_spread) for score in scores if not score.uses_truth]
        apart = [_cells(score, is_spread) for score in scores if score.uses_truth]
        if apart:
            rows += ["    sees truth, ranked apart:", *apart]
    return "\n".join([plain_table(_headers(is_spread), rows), "", *_notes(comparison)])


def _headers(is_spread: bool) -> list[str]:
    headers = ["\n\n    strategy", "\ndistance\n[m]"]
    headers += ["\nleast to greatest\n[m]"] if is_spread else []
    headers += ["over\ndry\n[-]", "over shortest\npossible\n[-]", "longest\nlock\n[s]"]
    headers += ["greatest\nof all\n[s]"] if is_spread else []
    return [*headers, "flat\nrisk\n[-]", "vent\ncommands\n[-]"]


def _heading(scenario: Scenario, marks: Yardsticks) -> list[str]:
    return [
        f"{scenario.name}: {scenario.title}",
        f"  from {scenario.initial_speed:.2f} m/s; "
        f"on dry rail {number(marks.dry_distance, 1, 'm')}; "
        f"shortest possible {number(marks.shortest_possible, 1, 'm')}",
    ]


def _cells(score: Score, is_spread: bool) -> list[str]:
    n_over = score.n_runs - score.n_stopped
    over = "not stopped" if score.n_runs == 1 else f"{n_over} of {score.n_runs} not stopped"
    cells = [f"    {score.controller}", over if n_over else f"{score.distance:.1f}"]
    if is_spread:
        least, greatest = score.shortest_run, score.longest_run
        high = f"{greatest:.1f}" if math.isfinite(greatest) else "overrun"
        cells.append(UNKNOWN if math.isinf(least) else f"{least:.1f} to {high}")
    cells += [number(score.over_dry, 2), number(score.over_shortest, 2)]
    cells.append(number(score.longest_lock, 2))
    if is_spread:
        cells.append(number(score.worst_lock, 2))
    return [*cells, number(score.flat_risk, 2), f"{score.vents:.0f}"]


def _notes(comparison: Comparison) -> list[str]:
    notes = [
        "over dry: over the same stop on dry rail without slip control; over shortest possible: "
        "over what no strategy can beat on this rail. Flat risk: index of the longest flat, 0 to 1."
    ]
    if comparison.n_seeds > 1:
        notes.append(
            f"Means over {comparison.n_seeds} seeds (sampling phases, tooth angles), "
            "with the least and the greatest run."
        )
    n_over = sum(not row.summary["is_stopped"] for row in comparison.rows)
    if n_over:
        notes.append(
            f"{n_over} of {len(comparison.rows)} runs did not stop. They count as overruns: a mean "
            "distance with one in it does not exist, and none is left out."
        )
    for name, marks in comparison.yardsticks.items():
        if marks.reason:
            notes.append(f"No shortest possible for {name}: {marks.reason}")
    return [line for note in notes for line in textwrap.wrap(note, 100)]


def scenario_table(scenario: Scenario, width: int | None = None) -> str:
    """Return every value of a scenario with SI unit, mark and source, one line each.

    Items of a list that agree in a value, its mark and its source share a line, `*` for their
    number; a mark ending in `*` is that of a library default. With `width` [characters] sources
    are wrapped to it.
    """
    values = [_with_default_mark(value) for value in scenario.values()]
    shown = [(v.mark, v.path, written(v.value), v.unit, v.source) for v in shown_values(scenario)]
    used = sum(max(len(row[i]) for row in (*shown, HEADS)) + len(GAP) for i in range(4))
    room = max(width - used, 30) if width else 10_000
    rows: list[Sequence[str] | str] = []
    for *cells, source in shown:
        first, *others = textwrap.wrap(source, room) or [""]
        rows.append([*cells, first])
        rows += [" " * used + line for line in others]
    counts = Counter(value.mark for value in values)
    known = ", ".join(f"{count} {mark}" for mark, count in counts.most_common())
    table = plain_table(HEADS, rows, n_left=len(HEADS))
    return f"{table}\n\n{len(values)} values: {known} (* a library default)"


def shown_values(scenario: Scenario) -> list[ScenarioValue]:
    """Return every value of a scenario as `scenario_table` shows it."""
    return _merged(_with_default_mark(value) for value in scenario.values())


def written(value: object) -> str:
    """Return a scenario value as text."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.7g}"
    if isinstance(value, tuple):
        return f"[{', '.join(map(written, value))}]"
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
