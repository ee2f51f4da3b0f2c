"""Why does holding the brake beat easing it when slip control works?

Question: on a slippery rail slip control is heard to work, and it is tempting to ease the brake.
Is the stop longer for it? On a film that sliding wears away, and on one that stays?
Source: drivers are taught to brake early and lightly and then to hold (common practice, no source);
that sliding wheels clean the rail for those behind is the cleaning law of each rail, whose numbers
are assumed. Where nothing is cleaned there is no reason why holding should win.
Scenario: the Elderwick unit (invented) from 55 mph, strategy `slip_band`; the rails `wet_leaf`
(cleans), `tough_film` (hardly cleans) and `tough_film` with its cleaning taken away. The platform
ends where step 3, held, stops the train; other ways begin at the same place, but for the early and
gentle one.
Run: `python -m slipbench.experiments.why_holding_beats_easing`
"""

import math
import sys
from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from slipbench import Stop, controllers, load_scenario, simulate
from slipbench.experiments.notebook import (
    MPH,
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    distance_of,
    drawing,
    over_seeds,
)
from slipbench.figures import style
from slipbench.results.wording import compared, listed
from slipbench.scenario import Driver, Easing, HandleEntry, Routine, Scenario
from slipbench.statistics.intervals import bootstrap_mean

SPEED, EARLIER = 55 * MPH, 300.0
"""Initial speed [m/s]; and how much earlier the early and gentle way begins [m]."""

CLOSE = 0.01
"""Stops longer by less than this share of the held one count as not longer (a choice)."""

NO_CLEANING = "tough_film, no cleaning"
RAILS: Mapping[str, tuple[str, str]] = {
    "wet_leaf": ("wet_leaf", "Sliding cleans this rail (wet leaf film)"),
    "tough_film": ("tough_film", "Sliding hardly cleans this rail (tough film)"),
    NO_CLEANING: ("tough_film", "Sliding does not clean this rail"),
}
"""Scenario of each rail, and what the figure says of it."""

DRAWN_RAILS = ("wet_leaf", "tough_film")

HELD, EASED, RELEASED, GENTLE = (
    "held", "eased to step 1", "released and re-applied", "early and gently"
)  # fmt: skip
_AT_ONCE = (HandleEntry(at_time=0.0, position=3),)
WAYS: Mapping[str, Driver] = {
    HELD: Driver(programme=_AT_ONCE),
    "eased to step 2": Driver(programme=_AT_ONCE, easing=Easing(position=2)),
    EASED: Driver(programme=_AT_ONCE, easing=Easing(position=1)),
    "eased to release": Driver(programme=_AT_ONCE, easing=Easing(position=0)),
    RELEASED: Driver(routine=Routine(kind="release_and_reapply", position=3, n_repeats=400)),
    GENTLE: Driver(programme=(HandleEntry(at_time=0.0, position=1),)),
}
DRAWN_WAYS = (HELD, EASED, RELEASED, GENTLE)

COLUMNS = (
    Column("rail"),
    Column("brake"),
    Column("distance", "m", 0),
    Column("longer_than_held", "m", 1),
    Column("at_least", "m", 1),
    Column("at_most", "m", 1),
    Column("share_longer", "-", 3),
    Column("past_the_platform_end", "m", 0),
    Column("time", "s", 0),
    Column("longest_lock", "s", 1),
)


def scenario_with(rail: str, way: str) -> Scenario:
    """Return the stop of one driver on one rail."""
    scenario = load_scenario(RAILS[rail][0])
    changes: dict[str, Any] = {"initial_speed": SPEED, "driver": WAYS[way]}
    if rail == NO_CLEANING:
        changes["rail.sections.*.recovered_friction"] = scenario.rail.sections[0].friction
    return scenario.replace(changes)


def investigate(options: Options) -> Answer:
    """Run every way of braking on every rail."""
    strategy = controllers.by_name("slip_band")
    rails = DRAWN_RAILS if options.is_quick else tuple(RAILS)
    ways = DRAWN_WAYS if options.is_quick else tuple(WAYS)
    cases = [(rail, way) for rail in rails for way in ways]
    found = over_seeds([(scenario_with(*case), strategy) for case in cases], options.n_seeds)
    by_case = dict(zip(cases, found, strict=True))
    rows = [_row(rail, way, by_case[rail, way], by_case[rail, HELD]) for rail, way in cases]
    stops = {
        (rail, way): simulate(scenario_with(rail, way), strategy)
        for rail in DRAWN_RAILS
        for way in DRAWN_WAYS
    }
    notes = [
        f"Means over {options.n_seeds} seed(s); differences paired, 95 % interval of their "
        f"mean.\nThe platform ends where step 3, held, stops. {GENTLE.capitalize()}: step 1, "
        f"begun {EARLIER:.0f} m before the others."
    ]
    picture = {"why_holding_beats_easing": draw(stops, rows)}
    return Answer(COLUMNS, rows, sentence(rows), picture, notes)


def _row(rail: str, way: str, own: Sequence[Row], held: Sequence[Row]) -> Row:
    distances = [distance_of(summary) for summary in own]
    base = [distance_of(summary) for summary in held]
    longer = bootstrap_mean(np.array(distances) - np.array(base))
    past = longer.estimate - (EARLIER if way == GENTLE else 0.0)
    return {
        "rail": rail,
        "brake": way,
        "distance": fmean(distances),
        "longer_than_held": longer.estimate,
        "at_least": longer.low,
        "at_most": longer.high,
        "share_longer": longer.estimate / fmean(base),
        "past_the_platform_end": past,
        "time": fmean(summary["final_time"] for summary in own),
        "longest_lock": fmean(summary["longest_lock"] for summary in own),
    }


def sentence(rows: Sequence[Row]) -> str:
    """Say for each rail what easing costs, gains, or that it makes no difference."""
    parts = []
    for rail in dict.fromkeys(row["rail"] for row in rows):
        own = {row["brake"]: row for row in rows if row["rail"] == rail}
        held = own[HELD]["distance"]
        eased = [row for way, row in own.items() if way not in (HELD, GENTLE)]
        if not math.isfinite(held):
            stopped = [row["brake"] for row in eased if math.isfinite(row["distance"])]
            what = f"{listed(stopped)} it stops" if stopped else "nor does it eased"
            parts.append(f"on {rail} the train, held, does not stop; {what}")
            continue
        costs = [_cost(row) for row in eased if abs(row["share_longer"]) >= CLOSE]
        alike = [row["brake"] for row in eased if abs(row["share_longer"]) < CLOSE]
        if alike:
            costs.append(f"{' or '.join(alike)} it stops there too (within {CLOSE:.0%})")
        parts.append(f"on {rail} the train, held, stops in {held:.0f} m; {', '.join(costs)}")
    return "; ".join(parts) + "."


def _cost(row: Row) -> str:
    if not math.isfinite(row["distance"]):
        return f"{row['brake']} it does not stop in every run"
    word = compared(row["longer_than_held"], "m", 0, "farther", "less far", "as far")
    return f"{row['brake']} it runs {word} ({abs(row['share_longer']):.0%})"


def draw(stops: Mapping[tuple[str, str], Stop], rows: Sequence[Row]) -> Figure:
    """Draw speed over the way to the platform end, for the classroom: large, and labelled."""
    with drawing(7.4, nrows=2, sharex=True) as (figure, panels):
        for axes, rail in zip(panels, DRAWN_RAILS, strict=True):
            own = {row["brake"]: row for row in rows if row["rail"] == rail}
            _draw_rail(axes, rail, {way: stops[rail, way] for way in DRAWN_WAYS}, own)
        panels[1].set_xlabel("distance from the platform end [m]", fontsize=12)
    return figure


_LOOKS = {
    HELD: (style.BLACK, "-", 3.4),
    EASED: (style.VERMILION, "-", 2.2),
    RELEASED: (style.BLUE, "--", 2.2),
    GENTLE: (style.GREEN, "-.", 2.2),
}
"""Colour, line and width of each way."""

_PLACES = {EASED: 12.0, RELEASED: 30.0, HELD: 48.0}
"""How high the label of a way stands above where it stops. [mph]"""


def _draw_rail(axes: Axes, rail: str, stops: Mapping[str, Stop], rows: Mapping[str, Row]) -> None:
    end = rows[HELD]["distance"]
    axes.axhline(0.0, color=style.INK, linewidth=1.0)
    axes.add_patch(Rectangle((-320.0, -9.0), 320.0, 8.0, color=style.GREY, linewidth=0))
    axes.text(-160.0, -5.2, "platform", fontsize=11, color=style.PAPER, ha="center", va="center")
    for way in (GENTLE, RELEASED, EASED, HELD):
        colour, line, width = _LOOKS[way]
        traces = stops[way].traces
        place = traces["distance"] - end - (EARLIER if way == GENTLE else 0.0)
        speed = traces["train_speed"] / MPH
        axes.plot(place, speed, color=colour, linestyle=line, linewidth=width)
        axes.plot(rows[way]["past_the_platform_end"], 0.0, "o", color=colour, markersize=8)
        if way in _PLACES:
            _label_stop(axes, rows[way], colour, _PLACES[way])
    gentle = f"step 1 only, {EARLIER:.0f} m sooner:\n{_where(rows[GENTLE])}"
    axes.text(-1560.0, 7.0, gentle, fontsize=11, color=_LOOKS[GENTLE][0], va="center")
    axes.text(-1560.0, 66.0, RAILS[rail][1], fontsize=13, fontweight="bold")
    axes.set_xlim(-1580, 900)
    axes.set_ylim(-10.0, 64)
    axes.set_yticks(range(0, 61, 20))
    axes.tick_params(labelsize=11)
    axes.set_ylabel("speed [mph]", fontsize=12)


def _label_stop(axes: Axes, row: Row, colour: str, height: float) -> None:
    """Write what happened over the place where the train stopped, on a stem."""
    place = row["past_the_platform_end"]
    words = {HELD: "step 3 held", EASED: "eased when wheels slide"}
    axes.plot([place, place], [0.0, height], color=colour, linewidth=0.9)
    axes.text(
        place + 12.0,
        height,
        f"{words.get(row['brake'], row['brake'])}:\n{_where(row)}",
        fontsize=11,
        color=colour,
        va="center",
    )


def _where(row: Row) -> str:
    past = round(row["past_the_platform_end"])
    if past == 0:
        return "stops at the platform end"
    return f"stops {past} m past it" if past > 0 else f"stops {-past} m short of it"


EXPERIMENT = Experiment(
    "why_holding_beats_easing",
    "Why does holding the brake beat easing it when slip control works?",
    investigate,
    n_seeds=4,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())
