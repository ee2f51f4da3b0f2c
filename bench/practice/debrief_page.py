"""The debrief as a page: what happened, why, and room for notes when it is printed."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files

import numpy as np

from slipbench.contract import Floats
from slipbench.figures.pages import escaped, fill
from slipbench.figures.pages import part as figure_part
from slipbench.ground.caution import CAUTION
from slipbench.ground.version import VERSION
from slipbench.practice.debrief import MEAN_OVER, Debrief, along, place_words
from slipbench.practice.drawing import Line, bars, picture
from slipbench.practice.lessons import Lesson, Question
from slipbench.practice.moments import MPH, YARD
from slipbench.stop.stop import Stop

CIRCLED = "①②③"


def part(name: str) -> str:
    """Return a file of this folder, such as `debrief.html`."""
    return files("slipbench.practice").joinpath(name).read_text(encoding="utf-8")


def debrief_page(
    found: Debrief,
    name: str,
    lesson: Lesson | None,
    *,
    repeat: Sequence[str] = (),
    links: str = "",
    rails: Sequence[str] = (),
    note: str = "",
) -> str:
    """Return the page of a debrief, complete in itself.

    Parameters
    ----------
    found : Debrief
    name : str             of the trainee; may be empty
    lesson : Lesson        whose quiz and notes stand beside; None for a scenario alone
    repeat : sequence      command lines that repeat the run
    links : str            address of the desk, for "again" and "another rail"; empty on disk
    rails : sequence       names of other rails offered there
    note : str             what else is to be said of the run, such as that it was ended by hand
    """
    you, held = found.you, found.held
    steps = "".join(
        f"<li><b>{moment.time:.0f} s</b> {escaped(moment.text)}</li>" for moment in found.moments
    )
    who = f"{escaped(name)} · " if name else ""
    scenario = you.scenario
    about = f"{who}{escaped(scenario.title)} · {escaped(you.controller.name)} · seed {you.seed}"
    return fill(
        part("debrief.html"),
        {
            "style": figure_part("page.css") + figure_part("playback.css") + part("debrief.css"),
            "title": escaped(found.headline),
            "about": about,
            "headline": escaped(found.headline),
            "verdict": escaped(f"{found.verdict} {note}".strip()),
            "moments": steps or "<li>Nothing worth telling happened.</li>",
            "pictures": _pictures(found),
            "numbers": _numbers(you, held),
            "lesson": _lesson(lesson),
            "buttons": _buttons(links, rails),
            "repeat": _repeat(repeat),
            "caution": escaped(CAUTION),
            "version": escaped(VERSION),
        },
    )


def _pictures(found: Debrief) -> str:
    you, held = found.you, found.held
    both = [("you", you), *([("held", held)] if held is not None else [])]
    marker = you.scenario.driver.stopping_point
    posts = [] if marker is None else [(marker / YARD, "marker")]
    for sign, moment in zip(CIRCLED, found.moments, strict=False):
        place = np.interp(moment.time, you.traces["time"], you.traces["distance"])
        posts.append((float(place) / YARD, sign))
    shaded = eased_stretches(you) if held is not None else []
    speeds = [_line(stop, stop.traces["train_speed"] / MPH, 0.0, kind) for kind, stop in both]
    frictions = [
        _line(stop, stop.traces["friction"][:, -1], MEAN_OVER, kind) for kind, stop in both
    ]
    flats = [1e3 * stop.worth.wheels.flat_length.high for _, stop in both]
    pairs = list(zip(flats[0].tolist(), flats[-1].tolist(), strict=True))
    if held is None:
        pairs = [(value, 0.0) for value, _ in pairs]
    key = '<p class="quiet">Shaded: where you asked for less than the step that was held.</p>'
    way = "yards from the start"
    drawn = [
        (
            "Train speed over the way",
            picture(speeds, (way, "mph"), "train speed over distance", shaded, posts),
        ),
        (
            "Friction of the rail under the last axle, higher is better (mean over 10 m)",
            picture(frictions, (way, "[-]"), "friction met by the last axle", shaded, posts),
        ),
        (
            "Longest flat of each wheelset, top of its band (left bar: you; right bar: held)",
            bars(pairs, "mm", "longest flat by axle, as driven and held"),
        ),
    ]
    figures = [f"<figure><figcaption>{head}</figcaption>{svg}</figure>" for head, svg in drawn]
    return "".join([*figures[:2], key if shaded else "", figures[2]])


def _line(stop: Stop, values: Floats, mean_over: float, kind: str) -> Line:
    place, found = along(stop, values, mean_over)
    return Line(place / YARD, found, kind, kind)


def eased_stretches(you: Stop) -> list[tuple[float, float]]:
    """Return where the handle, having braked, asked for less than the largest step. [yards]"""
    handle, place = np.rint(you.traces["handle"]), you.traces["distance"] / YARD
    has_braked = np.maximum.accumulate(handle > 0)
    less = has_braked & (handle < you.scenario.brake.n_steps) & (you.traces["train_speed"] > 0.1)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], less.astype(int), [0]])))
    return [
        (float(place[start]), float(place[min(end, len(place) - 1)]))
        for start, end in zip(edges[::2], edges[1::2], strict=True)
    ]


def _numbers(you: Stop, held: Stop | None) -> str:
    stops = [you] + ([held] if held is not None else [])
    heads = "".join(f"<th>{name}</th>" for name in ("you", "held")[: len(stops)])

    def row(name: str, values: list[str]) -> str:
        cells = "".join(f"<td>{escaped(value)}</td>" for value in values)
        return f"<tr><th>{escaped(name)}</th>{cells}</tr>"

    def distance(stop: Stop) -> str:
        length = stop.summary["final_distance"]
        return f"{length / YARD:.0f} yd ({length:.1f} m)"

    def flat(stop: Stop) -> str:
        length = stop.worth.wheels.flat_length
        i_axle = int(np.argmax(length.high))
        if not length.high[i_axle] > 0.0:
            return "none"
        return f"{1e3 * length.low[i_axle]:.0f} to {1e3 * length.high[i_axle]:.0f} mm"

    rows = [
        row("where", [place_words(stop) for stop in stops]),
        row("distance from the start", [distance(stop) for stop in stops]),
        row("longest lock", [f"{stop.summary['longest_lock']:.1f} s" for stop in stops]),
        row("longest flat", [flat(stop) for stop in stops]),
        row("deceleration at the end", [f"{end_deceleration(stop):.2f} m/s²" for stop in stops]),
        row(
            "vents (slip control lets air out)", [f"{stop.summary['vent_count']}" for stop in stops]
        ),
    ]
    return f"<table><thead><tr><th></th>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def end_deceleration(stop: Stop) -> float:
    """Return the mean deceleration over the last half second under way. [m/s2]"""
    time, speed = stop.traces["time"], stop.traces["train_speed"]
    if not stop.summary["is_stopped"] or time[-1] < 1.0:
        return 0.0
    return float(np.interp(time[-1] - 0.5, time, speed)) / 0.5


def _lesson(lesson: Lesson | None) -> str:
    if lesson is None:
        return ""
    return f"<section class='quiz'><h2>Three questions</h2><ol>{quiz(lesson.quiz)}</ol></section>"


def quiz(questions: Sequence[Question]) -> str:
    """Return questions as list items, each answer behind a fold."""
    items = []
    for one in questions:
        answers = "".join(f"<li>{escaped(answer)}</li>" for answer in one.answers)
        items.append(
            f"<li>{escaped(one.question)}<ol type='a'>{answers}</ol><details><summary>Answer"
            f"</summary><p>{'abcdef'[one.right - 1]}. {escaped(one.why)}</p></details></li>"
        )
    return "".join(items)


def _buttons(links: str, rails: Sequence[str]) -> str:
    if not links:
        return '<button type="button" id="print">Print</button>'
    options = "".join(f"<option>{escaped(rail)}</option>" for rail in rails)
    return (
        f'<a class="button" id="again" href="{escaped(links)}#again">Again</a>'
        f'<label>Another rail <select id="rail"><option value="">choose</option>{options}</select>'
        '</label><button type="button" id="print">Print</button>'
        f'<span id="desk" data-at="{escaped(links)}"></span>'
    )


def _repeat(lines: Sequence[str]) -> str:
    return f"<pre>{escaped(chr(10).join(lines))}</pre>" if lines else ""
