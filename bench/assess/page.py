"""A sheet as text, CSV and a self-contained page."""

from __future__ import annotations

import csv
import html
import io
import math

from slipbench.assess.sheet import FAILED, NOT_JUDGED, NOT_MET, Line, Sheet
from slipbench.ground.caution import CAUTION
from slipbench.ground.version import VERSION
from slipbench.results.cells import cell
from slipbench.results.quantities import head
from slipbench.results.tables import plain_table
from slipbench.scenario import DRY_RAIL

TITLE = "Acceptance sheet (indicative, not an approval)"

STYLE = """
body{font:15px/1.45 system-ui,sans-serif;max-width:72rem;margin:2rem auto;padding:0 1rem;color:#111}
table{border-collapse:collapse;width:100%;margin:1rem 0}
th,td{border-bottom:1px solid #bbb;padding:.35rem .5rem;text-align:left;vertical-align:top}
td.n,th.n{text-align:right;white-space:nowrap}
.pass,.met{font-weight:600}
.verdict{white-space:nowrap}
.fail{font-weight:700;background:#111;color:#fff;padding:0 .35rem}
.not-judged,.not-met{font-style:italic;border:1px dashed #555;padding:0 .35rem}
.caution{border-left:4px solid #111;padding:.3rem .8rem;background:#f2f2f2}
small{color:#444}
@media print{body{margin:0;max-width:none;font-size:11px}tr{break-inside:avoid}}
"""


def _written(value: float) -> str:
    if math.isnan(value):
        return "-"
    return "did not stop" if math.isinf(value) else f"{value:.4g}"


def sheet_text(sheet: Sheet) -> str:
    """Return the sheet for a terminal."""
    rows: list[list[str] | str] = []
    for line in sheet.lines:
        rows.append(
            [
                line.limit.name,
                line.rail,
                line.limit.range_text,
                line.verdict.upper() if line.verdict == FAILED else line.verdict,
                _written(line.mean),
                _written(line.worst),
                line.worst_where or line.reason,
            ]
        )
    heads = ["limit", "rail", "allowed", "verdict", "mean", "worst", "worst stop, or why none"]
    return "\n".join(
        [
            f"{TITLE}: {sheet.controller}",
            _programme_text(sheet),
            "",
            plain_table(heads, rows, n_left=7),
            "",
            *_sources(sheet),
        ]
    )


def _programme_text(sheet: Sheet) -> str:
    cases = [r.case for r in sheet.results]
    rails = list(dict.fromkeys(case.rail for case in cases))
    loads = list(dict.fromkeys(case.load for case in cases))
    speeds = sorted({case.scenario.initial_speed for case in cases})
    shown = ", ".join(f"{speed:.1f}" for speed in speeds)
    return (
        f"{len(sheet.results)} stops: {len(rails)} rails ({', '.join(rails)}) and each one's dry"
        f" reference on the rail {DRY_RAIL} first; from {shown} m/s; {' and '.join(loads)};"
        f" {sheet.n_seeds} of each."
    )


def _sources(sheet: Sheet) -> list[str]:
    return [
        f"{limit.name}: {limit.document} [{limit.mark}; {limit.reading}]" for limit in sheet.limits
    ]


def sheet_csv(sheet: Sheet) -> str:
    """Return the judged lines as CSV."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(
        ["limit", "measure", "unit", "low", "high", "rail", "verdict", "mean", "worst",
         "worst_stop", "n_judged", "n_stops", "reason", "document", "mark", "reading"]
    )  # fmt: skip
    for line in sheet.lines:
        limit = line.limit
        numbers = (limit.low, limit.high, line.mean, line.worst)
        low, high, mean, worst = ("" if math.isnan(x) else x for x in numbers)
        values = (
            limit.name, limit.measure, limit.unit, low, high, line.rail, line.verdict, mean, worst,
            line.worst_where, line.n_judged, line.n_stops, line.reason, limit.document, limit.mark,
            limit.reading,
        )  # fmt: skip
        writer.writerow(map(cell, values))
    return stream.getvalue()


def stops_csv(sheet: Sheet) -> str:
    """Return every stop with every measure that is judged, as CSV."""
    measures = list(dict.fromkeys(limit.measure for limit in sheet.limits))
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    heads = ["rail", "is_dry_reference", "load", "initial_speed", "seed", "stopping_distance"]
    writer.writerow([*map(head, heads), *measures])
    for result in sheet.results:
        values = [result.value("stopping_distance"), *map(result.value, measures)]
        writer.writerow(
            [
                cell(result.case.rail),
                str(result.case.is_dry).lower(),
                result.case.load,
                result.case.scenario.initial_speed,
                result.seed,
                *("" if math.isnan(x) else x for x in values),
            ]
        )
    return stream.getvalue()


def sheet_page(sheet: Sheet, command: str) -> str:
    """Return the sheet as one HTML page that needs nothing else.

    Parameters
    ----------
    sheet : Sheet
    command : str   that makes it again
    """
    title = html.escape(f"{TITLE}: {sheet.controller}")
    lines = "".join(map(_row, sheet.lines))
    sources = "".join(
        f"<tr><td>{html.escape(limit.name)}</td><td class=n>{html.escape(limit.range_text)}</td>"
        f"<td>{html.escape(limit.document)}</td><td>{html.escape(limit.mark)}</td>"
        f"<td>{html.escape(limit.reading)}</td></tr>"
        for limit in sheet.limits
    )
    return (
        "<!doctype html><html lang=en><head><meta charset=utf-8>"
        "<meta name=viewport content='width=device-width'>"
        f"<title>{title}</title><style>{STYLE}</style></head><body><h1>{title}</h1>"
        f"<p class=caution>{html.escape(CAUTION)}</p>"
        f"<p>{html.escape(_programme_text(sheet))}</p>"
        "<table><thead><tr><th>Limit</th><th>Rail</th><th class=n>Allowed</th><th>Verdict</th>"
        "<th class=n>Mean</th><th class=n>Worst</th><th>Worst stop, or why not judged</th></tr>"
        f"</thead><tbody>{lines}</tbody></table>"
        "<p>Judged by the worst stop. A condition says whether a rail fits the test; where it is "
        "not met, limits that require it are not judged. A train that does not stop counts with an "
        "infinite extension.</p><h2>Where the limits come from</h2>"
        "<table><thead><tr><th>Limit</th><th class=n>Allowed</th><th>Document</th><th>Mark</th>"
        f"<th>Read</th></tr></thead><tbody>{sources}</tbody></table>"
        f"<p><small>slipbench {VERSION}, {len(sheet.results)} stops. Made by: "
        f"<code>{html.escape(command)}</code></small></p></body></html>\n"
    )


def _row(line: Line) -> str:
    mark = {NOT_JUDGED: "not-judged", NOT_MET: "not-met"}.get(line.verdict, line.verdict)
    cells = [_written(line.mean), _written(line.worst)]
    told = line.worst_where + (f" ({line.reason})" if line.worst_where and line.reason else "")
    return (
        f"<tr><td>{html.escape(line.limit.name)}</td><td>{html.escape(line.rail)}</td>"
        f"<td class=n>{html.escape(line.limit.range_text)}</td>"
        f"<td class=verdict><span class={mark}>{html.escape(line.verdict)}</span></td>"
        + "".join(f"<td class=n>{html.escape(cell)}</td>" for cell in cells)
        + f"<td>{html.escape(told or line.reason)}</td></tr>"
    )
