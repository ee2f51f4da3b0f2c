"""The report of a comparison: one page that opens from disk, prints, and can be sent."""

from __future__ import annotations

import base64
import math
import re
import statistics
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from slipbench.comparison.compare import ComparedStop, Score, Yardsticks
from slipbench.comparison.quiet import quiet_rails
from slipbench.comparison.record import KeptComparison, KeptValue
from slipbench.figures import style
from slipbench.figures.distributions import draw_distributions
from slipbench.figures.pages import escaped, fill, part
from slipbench.figures.trade_off import draw_trade_off
from slipbench.figures.words import FEWEST, paired_difference, plain, rail_sentences
from slipbench.ground.caution import CAUTION
from slipbench.results.quantities import QUANTITIES
from slipbench.results.shown import METRIC, Shown
from slipbench.results.tables import number
from slipbench.statistics.intervals import signed_rank
from slipbench.strategies.registry import known_controllers

MOST_FINDINGS = 40
"""Of one kind that are listed."""

MOST_LETTERS = 130
"""Of a finding in the head of its kind."""

QUESTION = "Which strategy stops the train shortest on these rails, and at what cost?"

_CAPTIONS = {
    "compare": "Stopping distance and longest lock of every strategy on every rail.",
    "speeds": "Stopping distance over the starting speed.",
    "speed_curves": "Speed over place under each strategy, seed 0: a steep line brakes hard.",
    "trade_off": "What a short stop costs in wheels and air: down and to the left is better; the "
    "pale line joins strategies that no other beats in both.",
    "distributions": "Every run over the seeds, with medians and their intervals.",
}


def draw_report_pictures(kept: KeptComparison) -> dict[str, bytes]:
    """Return the pictures a report adds to those of the comparison, file name to content."""
    names = [strategy.name for strategy in kept.strategies]
    looks = style.looks([*known_controllers(), *names])
    quiet = {rail for group in quiet_rails(kept.rows) for rail in group.rails}
    scores = {rail: own for rail, own in kept.scores().items() if rail not in quiet}
    drawn = {"trade_off": draw_trade_off(scores, looks)}
    if kept.n_seeds > 1:
        drawn["distributions"] = draw_distributions(scores, kept.rows, looks)
    return {
        f"{name}.{kind}": data
        for name, figure in drawn.items()
        for kind, data in style.save(figure).items()
    }


def report_page(
    kept: KeptComparison,
    pictures: Mapping[str, bytes],
    question: str = QUESTION,
    shown: Shown = METRIC,
) -> str:
    """Return the report as one page.

    Parameters
    ----------
    kept : KeptComparison
    pictures : mapping      SVG by name: `compare`, `trade_off`, `distributions`; those there are
    question : str          its title
    shown : Shown           unit of speeds; distances stay in metres, as in the pictures

    Returns
    -------
    str   HTML, complete in itself
    """
    return fill(
        part("report.html"),
        {
            "title": escaped(question),
            "style": part("page.css") + part("report.css"),
            "answer": _answer(kept),
            "caution": escaped(CAUTION),
            "table": "".join(
                _table(kept, rail, found, shown) for rail, found in kept.scores().items()
            ),
            "figures": "".join(_figure(name, data) for name, data in pictures.items()),
            "findings": _findings(kept),
            "sure": _sure(kept),
            "scenarios": _scenarios(kept),
            "repeat": _repeat(kept),
        },
    )


def picture_of(folder: Path, name: str) -> bytes | None:
    """Return an SVG in a folder, None if it is not there."""
    path = folder / f"{name}.svg"
    return path.read_bytes() if path.is_file() else None


def answers(kept: KeptComparison) -> list[str]:
    """Return a sentence a rail: which strategy stopped shortest, what it cost, what the worst took.

    Rails on which nothing slides have one together; one seed's last says what it cannot tell.
    """
    quiet = quiet_rails(kept.rows)
    told = {rail for group in quiet for rail in group.rails}
    said = rail_sentences([rail for rail in kept.scores() if rail not in told], kept.rows)
    return [*(f"On {group.line}, and no wheel locked." for group in quiet), *said]


def _seeds(n_seeds: int) -> str:
    return "one seed" if n_seeds == 1 else f"{n_seeds} seeds"


def _answer(kept: KeptComparison) -> str:
    sentences = [escaped(sentence) for sentence in answers(kept)]
    if len(sentences) == 1:
        return f'<p class="answer">{sentences[0]}</p>'
    items = "".join(f"<li>{sentence}</li>" for sentence in sentences)
    return f'<ul class="answer">{items}</ul>'


_HEADS = {
    "strategy": "strategy",
    "distance [m]": "stopping_distance",
    "least to greatest [m]": "stopping_distance",
    "over dry [-]": "dry_distance",
    "over the floor [-]": "shortest_possible",
    "longest lock, mean [s]": "longest_lock",
    "greatest of all [s]": "longest_lock",
    "flat risk [-]": "flat_risk",
    "vent commands [-]": "vent_count",
}
"""Heads of the table, and the quantity whose meaning each shows when pointed at."""


def _table(kept: KeptComparison, rail: str, scores: Sequence[Score], shown: Shown) -> str:
    title = next(kept_rail.title for kept_rail in kept.rails if kept_rail.name == rail)
    row = next(row for row in kept.rows if row.scenario == rail)
    marks, start = row.yardsticks, row.initial_speed
    fair = [score for score in scores if not score.uses_truth]
    apart = [score for score in scores if score.uses_truth]
    body = "".join(_score_row(score) for score in (*fair, *apart))
    said = f"{title}; from {shown.said_speed(start)}; {_yardsticks(marks)}; {_seeds(kept.n_seeds)}"
    heads = "".join(
        f"<th scope='col' title='{escaped(QUANTITIES[name].meaning)}'>{head}</th>"
        for head, name in _HEADS.items()
    )
    return (
        f"<div class='scroll'><table><caption>{escaped(plain(rail))}<br>"
        f"<small>{escaped(said)}</small></caption>"
        f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _yardsticks(marks: Yardsticks) -> str:
    return (
        f"on dry rail {number(marks.dry_distance, 0, 'm')}, "
        f"cannot be shorter than {number(marks.shortest_possible, 0, 'm')}, "
        f"best found {number(marks.best_found, 0, 'm')}"
    )


def _score_row(score: Score) -> str:
    n_over = score.n_runs - score.n_stopped
    distance = f"{n_over} of {score.n_runs} not stopped" if n_over else f"{score.distance:.1f}"
    low, high = (number(d, 1) for d in (score.shortest_run, score.longest_run))
    cells = [
        distance,
        f"{low}\u2009\u2013\u2009{high}" if score.n_runs > 1 else "-",
        number(score.over_dry, 2),
        number(score.over_shortest, 2),
        number(score.longest_lock, 2),
        number(score.worst_lock, 2),
        number(score.flat_risk, 2),
        f"{score.vents:.0f}",
    ]
    name = plain(score.controller) + (" (sees truth, ranked apart)" if score.uses_truth else "")
    data = "".join(f"<td>{escaped(cell)}</td>" for cell in cells)
    kind = " class='apart'" if score.uses_truth else ""
    return f"<tr{kind}><th scope='row'>{escaped(name)}</th>{data}</tr>"


def _figure(name: str, svg: bytes) -> str:
    data = base64.b64encode(svg).decode("ascii")
    caption = escaped(_CAPTIONS.get(name, plain(name)))
    return (
        f'<figure><img alt="{caption}" src="data:image/svg+xml;base64,{data}">'
        f"<figcaption>{caption}</figcaption></figure>"
    )


def _findings(kept: KeptComparison) -> str:
    """Return the findings, grouped by kind of thing told, the gravest kind first, folded."""
    groups = grouped_findings(kept.rows)
    if not groups:
        return "<p>None were noted for these runs.</p>"
    blocks = [_details(f"{said} ({where})", _finding_items(own)) for said, where, own in groups]
    return "".join(blocks)


def _finding_items(own: Mapping[tuple[str, str, str], int]) -> str:
    items = [
        f"<li>{escaped(f'{plain(rail)}, {plain(name)}: {text}')}"
        + (f" ({times} runs)" if times > 1 else "")
        + "</li>"
        for (rail, name, text), times in list(own.items())[:MOST_FINDINGS]
    ]
    left = len(own) - len(items)
    more = f"<p>... and {left} more, in compare.json.</p>" if left else ""
    return f"<ul>{''.join(items)}</ul>{more}"


_NUMBER = re.compile(r"\d+(?:[.,]\d+)*")


def grouped_findings(
    rows: Sequence[ComparedStop],
) -> list[tuple[str, str, Mapping[tuple[str, str, str], int]]]:
    """Return findings that differ in numbers alone together, the gravest first.

    Returns
    -------
    list   what is told, one of its sentences; who and where in words, such as `12 strategies on 3
           rails, 40 runs`; and every finding (rail, strategy, text) with its number of runs

    Notes
    -----
    A stop's findings come gravest first, so a kind ranks by the mean place it takes among them;
    kinds of equal place by how many runs tell it.
    """
    kinds: dict[str, Counter[tuple[str, str, str]]] = {}
    places: dict[str, list[int]] = {}
    for row in rows:
        for place, text in enumerate(row.findings):
            kind = _NUMBER.sub("#", text).split(":")[0].split(";")[0]
            kinds.setdefault(kind, Counter())[row.scenario, row.controller, text] += 1
            places.setdefault(kind, []).append(place)
    order = sorted(kinds, key=lambda kind: (statistics.fmean(places[kind]), -len(places[kind])))
    return [(_told_of(kinds[kind]), _where_told(kinds[kind]), kinds[kind]) for kind in order]


def _told_of(own: Mapping[tuple[str, str, str], int]) -> str:
    """Return the sentence of a kind that stands for it: the first, the gravest run's."""
    first = next(iter(own))[2]
    return first if len(first) <= MOST_LETTERS else f"{first[: MOST_LETTERS - 1]}\u2026"


def _where_told(own: Mapping[tuple[str, str, str], int]) -> str:
    names = list(dict.fromkeys(name for _, name, _ in own))
    rails = list(dict.fromkeys(rail for rail, *_ in own))
    who = plain(names[0]) if len(names) == 1 else f"{len(names)} strategies"
    where = plain(rails[0]) if len(rails) == 1 else f"{len(rails)} rails"
    n_runs = sum(own.values())
    return f"{who} on {where}, {n_runs} {'run' if n_runs == 1 else 'runs'}"


def _sure(kept: KeptComparison) -> str:
    said = [
        "The rails are assumed: nothing here says how often such a rail is met. Seeds change "
        "sampling phases and tooth angles only, so intervals over them say how steady a strategy "
        "is, not how well the rail is known.",
    ]
    if kept.n_seeds < FEWEST:
        said.append(
            f"{_seeds(kept.n_seeds).capitalize()} a pair: no 95 % interval exists. "
            f"At least {FEWEST} are needed (--seeds {FEWEST})."
        )
    n_over = sum(not row.summary["is_stopped"] for row in kept.rows)
    if n_over:
        said.append(f"{n_over} of {len(kept.rows)} runs did not stop: overruns, not left out.")
    residuals = [abs(row.summary["energy_residual"]) for row in kept.rows]
    residual = max((value for value in residuals if math.isfinite(value)), default=0.0)
    said.append(f"Energy not accounted for: at most {residual:.1e} of the train's energy.")
    text = "".join(f"<p>{escaped(line)}</p>" for line in said)
    return text + (_intervals(kept) if kept.n_seeds >= FEWEST else "")


def _intervals(kept: KeptComparison) -> str:
    """Return a table: by how much each strategy is longer than the shortest, rail by rail."""
    body = ""
    for rail, scores in kept.scores().items():
        fair = [score for score in scores if not score.uses_truth]
        for score in fair[1:]:
            found = signed_rank(paired_difference(rail, kept.rows, fair[0], score))
            is_told = found.excludes_zero and math.isfinite(found.low)
            cells = (
                f"{plain(score.controller)} - {plain(fair[0].controller)}",
                found.written(1),
                "yes" if is_told else "no",
            )
            data = "".join(f"<td>{escaped(cell)}</td>" for cell in cells)
            body += f"<tr><th scope='row'>{escaped(plain(rail))}</th>{data}</tr>"
    heads = ("rail", "pair", "difference, median [95 %] in m", "told apart")
    head = "".join(f"<th scope='col'>{text}</th>" for text in heads)
    note = (
        "Paired by seed: Hodges-Lehmann estimate and Wilcoxon's signed-rank interval, each on its "
        "own, not corrected for their number."
    )
    return (
        f"<p>{note}</p><div class='scroll'><table><thead><tr>{head}</tr></thead>"
        f"<tbody>{body}</tbody></table></div>"
    )


def _scenarios(kept: KeptComparison) -> str:
    blocks = []
    for rail in kept.rails:
        text = f"{plain(rail.name)}: {rail.title}"
        floor = f"<p>No floor: {escaped(rail.no_floor)}</p>" if rail.no_floor else ""
        blocks.append(_details(text, floor + _values(rail.values)))
    if kept.shared_values:
        blocks.append(_details("The same in all of them", _values(kept.shared_values)))
    marks = Counter(
        value.mark.rstrip("*")
        for value in (*kept.shared_values, *(v for rail in kept.rails for v in rail.values))
    )
    counted = ", ".join(f"{count} {mark}" for mark, count in marks.most_common())
    trains = sorted({rail.train for rail in kept.rails})
    note = (
        f"Train: {', '.join(trains)}. Values by mark: "
        f"{counted}. A mark ending in * is that of a library default."
    )
    return f"<p>{escaped(note)}</p>{''.join(blocks)}"


def _details(summary: str, content: str) -> str:
    return f"<details><summary>{escaped(summary)}</summary>{content}</details>"


def _values(values: Iterable[KeptValue]) -> str:
    rows = "".join(
        f"<tr><td>{escaped(v.mark)}</td><td class='path'>{escaped(v.path)}</td>"
        f"<td>{escaped(v.value)}</td><td>{escaped(v.unit)}</td><td>{escaped(v.source)}</td></tr>"
        for v in values
    )
    heads = "".join(
        f"<th scope='col'>{head}</th>" for head in ("mark", "value of", "is", "SI unit", "source")
    )
    return f"<table class='values'><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def _repeat(kept: KeptComparison) -> str:
    versions = ", ".join(f"{name} {text}" for name, text in kept.versions.items())
    machine = f"{kept.machine.get('processor')}, {kept.machine.get('architecture')}"
    seeds = f"0 to {kept.n_seeds - 1}" if kept.n_seeds > 1 else "0"
    strategies = "".join(
        f"<li>{escaped(f'{plain(s.name)}: {s.title} [{s.origin}]')}</li>" for s in kept.strategies
    )
    return (
        f"<pre>{escaped(kept.command)}</pre><p>Seeds {seeds}. Versions: {escaped(versions)}. "
        f"Machine: {escaped(machine)}. The same command gives the same numbers to the last bit on "
        f"one machine type.</p><p>Strategies:</p><ul>{strategies}</ul>"
    )
