"""A sheet as text, CSV and a self-contained page."""

from __future__ import annotations

import csv
import html
import io
import math

from slipbench.assess.flat_rules import axles_text, flat_table
from slipbench.assess.sheet import FAILED, NOT_JUDGED, NOT_MET, PASSED, Line, Sheet
from slipbench.ground.caution import CAUTION
from slipbench.ground.version import VERSION
from slipbench.results.cells import cell
from slipbench.results.quantities import head
from slipbench.results.tables import plain_table
from slipbench.scenario import DRY_RAIL

TITLE = "Acceptance sheet (indicative, not an approval)"

STYLE = """
body{font:15px/1.45 system-ui,sans-serif;max-width:72rem;margin:2rem auto;padding:0 1rem;color:#111;
overflow-wrap:break-word}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;margin:1rem 0}
th,td{border-bottom:1px solid #bbb;padding:.35rem .5rem;text-align:left;vertical-align:top}
td.n,th.n{text-align:right;white-space:nowrap}
.pass,.met{font-weight:600}
.verdict{white-space:nowrap}
.fail{font-weight:800;text-transform:uppercase;border:3px solid #111;padding:0 .35rem}
tr.failed td{border-top:2px solid #111;border-bottom:2px solid #111}
.not-judged,.not-met{font-style:italic;border:1px dashed #555;padding:0 .35rem}
.caution{border:2px solid #111;padding:.3rem .8rem;font-weight:600}
code{overflow-wrap:anywhere}
small{color:#444}
@page{size:A4;margin:14mm 12mm}
@media print{body{margin:0;max-width:none;font-size:11px}
tr,h2{break-inside:avoid}h2{break-after:avoid}
thead{display:table-header-group}.scroll{overflow:visible}}
"""
"""No meaning rests on a background or a colour: printers leave both out."""

_ORDER = (FAILED, NOT_MET, NOT_JUDGED)
"""Verdicts that come first, the worst first; what passed follows."""


def worst_first(sheet: Sheet) -> list[Line]:
    """Return the lines, those that fail first, the farthest out of its range before others."""

    def rank(line: Line) -> tuple[int, float]:
        place = _ORDER.index(line.verdict) if line.verdict in _ORDER else len(_ORDER)
        scale = max(abs(x) for x in (line.limit.low, line.limit.high) if math.isfinite(x)) or 1.0
        out = line.limit.excess(line.worst) / scale
        return place, -out if not math.isnan(out) else -math.inf

    return sorted(sheet.lines, key=rank)


def verdict_words(sheet: Sheet) -> str:
    """Return the sheet in one sentence: how many lines fail, how many could not be judged."""
    n = {verdict: sum(line.verdict == verdict for line in sheet.lines)
         for verdict in (FAILED, PASSED, NOT_JUDGED)}  # fmt: skip
    judged = n[FAILED] + n[PASSED]
    if not judged:
        return f"Nothing could be judged: {n[NOT_JUDGED]} limits had no stop that fits them."
    said = (
        f"{n[FAILED]} of {judged} judged limits fail"
        if n[FAILED]
        else (f"All {judged} judged limits pass" if judged > 1 else "The one judged limit passes")
    )
    left = f"; {n[NOT_JUDGED]} could not be judged" if n[NOT_JUDGED] else ""
    return f"{said}{left}."


def _written(value: float) -> str:
    if math.isnan(value):
        return "-"
    return "did not stop" if math.isinf(value) else f"{value:.4g}"


def sheet_text(sheet: Sheet) -> str:
    """Return the sheet for a terminal."""
    rows: list[list[str] | str] = []
    for line in worst_first(sheet):
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
            verdict_words(sheet),
            "",
            plain_table(heads, rows, n_left=7),
            "",
            *_flats_text(sheet),
            "",
            *_sources(sheet),
        ]
    )


def _flats_text(sheet: Sheet) -> list[str]:
    rows = [
        [own.name, f"{1e3 * own.rule.single_length:.1f}", axles_text(own.surely),
         axles_text(own.perhaps), f"{own.rail} {own.where}".strip()]
        for own in flat_table(sheet)
    ]  # fmt: skip
    heads = ["flats by rule", "from [mm]", "axles, surely", "perhaps", "of the worst stop"]
    note = "Single flats; surely: at the low end of the band. --flat-limit NAME judges by a rule."
    return [plain_table(heads, rows, n_left=5), note]


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
    lines = "".join(map(_row, worst_first(sheet)))
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
        f"<p><strong>{html.escape(verdict_words(sheet))}</strong></p>"
        f"<p>{html.escape(_programme_text(sheet))}</p>"
        "<div class=scroll><table><thead><tr><th>Limit</th><th>Rail</th><th class=n>Allowed</th>"
        "<th>Verdict</th>"
        "<th class=n>Mean</th><th class=n>Worst</th><th>Worst stop, or why not judged</th></tr>"
        f"</thead><tbody>{lines}</tbody></table></div>"
        "<p>Judged by the worst stop. A condition says whether a rail fits the test; where it is "
        "not met, limits that require it are not judged. A train that does not stop counts with an "
        "infinite extension.</p><h2>Which wheels are flat, and by which rule</h2>"
        f"{_flats_table(sheet)}<h2>Where the limits come from</h2>"
        "<div class=scroll><table><thead><tr><th>Limit</th><th class=n>Allowed</th>"
        "<th>Document</th><th>Mark</th>"
        f"<th>Read</th></tr></thead><tbody>{sources}</tbody></table></div>"
        f"<p><small>slipbench {VERSION}, {len(sheet.results)} stops. Made by: "
        f"<code>{html.escape(command)}</code></small></p></body></html>\n"
    )


def _flats_table(sheet: Sheet) -> str:
    rows = "".join(
        f"<tr><td>{html.escape(own.name)}</td><td class=n>{1e3 * own.rule.single_length:.1f}</td>"
        f"<td>{axles_text(own.surely)}</td><td>{axles_text(own.perhaps)}</td>"
        f"<td>{html.escape(f'{own.rail} {own.where}'.strip() or '-')}</td>"
        f"<td>{html.escape(f'{own.rule.document}; {own.rule.scope} [{own.rule.mark}]')}</td></tr>"
        for own in flat_table(sheet)
    )
    return (
        "<div class=scroll><table><thead><tr><th>Rule</th><th class=n>From [mm]</th>"
        "<th>Axles, surely</th><th>Axles, perhaps</th><th>Worst stop</th><th>Document</th></tr>"
        f"</thead><tbody>{rows}</tbody></table></div><p>Single flats; surely: at the low end of "
        "the band, perhaps: at its high end. <code>--flat-limit NAME</code> judges by a rule.</p>"
    )


def _row(line: Line) -> str:
    mark = {NOT_JUDGED: "not-judged", NOT_MET: "not-met"}.get(line.verdict, line.verdict)
    cells = [_written(line.mean), _written(line.worst)]
    told = line.worst_where + (f" ({line.reason})" if line.worst_where and line.reason else "")
    return (
        f"<tr{' class=failed' if line.verdict == FAILED else ''}>"
        f"<td>{html.escape(line.limit.name)}</td><td>{html.escape(line.rail)}</td>"
        f"<td class=n>{html.escape(line.limit.range_text)}</td>"
        f"<td class=verdict><span class={mark}>{html.escape(line.verdict)}</span></td>"
        + "".join(f"<td class=n>{html.escape(cell)}</td>" for cell in cells)
        + f"<td>{html.escape(told or line.reason)}</td></tr>"
    )
