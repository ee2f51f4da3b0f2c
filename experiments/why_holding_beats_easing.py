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
import textwrap
from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench import Stop, simulate
from slipbench.experiments.asked import own_rails, own_scenario, own_strategy
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
from slipbench.results.shown import MILES, Shown
from slipbench.results.wording import compared, listed, rounds_to_nothing
from slipbench.scenario import Driver, Easing, HandleEntry, Routine, Scenario
from slipbench.statistics.intervals import bootstrap_mean

SPEED, EARLIER = 55 * MPH, 300.0
"""Initial speed [m/s]; and how much earlier the early and gentle way begins [m]."""

SLOWEST = 5.0
"""Train speed above which friction is averaged. [m/s]"""

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
TWO, NONE = "eased to step 2", "eased to release"
_AT_ONCE = (HandleEntry(at_time=0.0, position=3),)
WAYS: Mapping[str, Driver] = {
    HELD: Driver(programme=_AT_ONCE),
    TWO: Driver(programme=_AT_ONCE, easing=Easing(position=2)),
    EASED: Driver(programme=_AT_ONCE, easing=Easing(position=1)),
    NONE: Driver(programme=_AT_ONCE, easing=Easing(position=0)),
    RELEASED: Driver(routine=Routine(kind="release_and_reapply", position=3, n_repeats=400)),
    GENTLE: Driver(programme=(HandleEntry(at_time=0.0, position=1),)),
}
QUICK_WAYS = (HELD, TWO, EASED, RELEASED, GENTLE)
DRAWN_WAYS = (HELD, TWO, EASED, NONE, RELEASED, GENTLE)

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
    scenario = own_scenario(RAILS[rail][0] if rail in RAILS else rail)
    changes: dict[str, Any] = {"initial_speed": SPEED, "driver": WAYS[way]}
    if rail == NO_CLEANING:
        changes["rail.sections.*.recovered_friction"] = scenario.rail.sections[0].friction
    return scenario.replace(changes)


def investigate(options: Options) -> Answer:
    """Run every way of braking on every rail."""
    strategy = own_strategy("slip_band")
    rails = own_rails(DRAWN_RAILS if options.is_quick else tuple(RAILS))
    drawn = [rail for rail in rails if rail in DRAWN_RAILS or rail not in RAILS]
    ways = QUICK_WAYS if options.is_quick else tuple(WAYS)
    cases = [(rail, way) for rail in rails for way in ways]
    found = over_seeds([(scenario_with(*case), strategy) for case in cases], options.n_seeds)
    by_case = dict(zip(cases, found, strict=True))
    rows = [_row(rail, way, by_case[rail, way], by_case[rail, HELD]) for rail, way in cases]
    stops = {
        (rail, way): simulate(scenario_with(rail, way), strategy)
        for rail in drawn
        for way in ways
        if way in DRAWN_WAYS
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


def headline(rows: Sequence[Row], shown: Shown = MILES) -> str:
    """Return the lesson in one line, from the rows: what easing costs on each rail at most."""
    parts = []
    for rail in dict.fromkeys(row["rail"] for row in rows):
        own = [r for r in rows if r["rail"] == rail and r["brake"] not in (HELD, GENTLE)]
        words = rail.replace("_", " ")
        if not all(math.isfinite(row["longer_than_held"]) for row in own):
            parts.append(f"on {words} it may not stop")
            continue
        worst = max(own, key=lambda row: row["longer_than_held"])
        longer = worst["longer_than_held"] / shown.per_length
        by = compared(longer, shown.length, 0, "farther", "less far", "nothing")
        alike = worst["share_longer"] < CLOSE
        parts.append(f"{'no farther' if alike else f'up to {by}'} on {words}")
    return f"Eased, the train runs {listed(parts)}"


def draw(
    stops: Mapping[tuple[str, str], Stop], rows: Sequence[Row], shown: Shown = MILES
) -> Figure:
    """Draw speed over the way to the platform end, and why: the friction under the last axle.

    Left of each row the stops, right the reason: eased, the wheels slide less and clean less, so
    the last axle meets a poorer rail. The early and gentle way is a line of words: it is another
    bargain, paid in metres before the station.

    Parameters
    ----------
    stops : mapping     rail and way to its stop, with traces
    rows : sequence     of the table
    shown : Shown       units of speed and way
    """
    rails = list(dict.fromkeys(rail for rail, _ in stops))
    with drawing(
        1.0 + 3.2 * len(rails), nrows=len(rails), ncols=2, width_ratios=(2.3, 1.0), squeeze=False
    ) as (figure, panels):
        for (left, right), rail in zip(panels, rails, strict=True):
            own = {row["brake"]: row for row in rows if row["rail"] == rail}
            ways = [way for way in DRAWN_WAYS if (rail, way) in stops and way in own]
            _draw_rail(left, rail, {way: stops[rail, way] for way in ways}, own, shown)
            _draw_reason(right, {way: stops[rail, way] for way in ways if way != GENTLE})
        start = shown.said_speed(next(iter(stops.values())).scenario.initial_speed)
        said = textwrap.fill(f"{headline(rows, shown)} (step 3 from {start}).", 84)
        figure.suptitle(said, x=0.012, ha="left", fontsize=10.5, fontweight="bold")
    return figure


_LOOKS = {
    HELD: (style.BLACK, "-", 3.0),
    TWO: (style.PURPLE, (0, (5, 1.5)), 2.0),
    EASED: (style.VERMILION, "-", 2.0),
    NONE: (style.ORANGE, (0, (1, 1)), 2.0),
    RELEASED: (style.BLUE, "--", 2.0),
    GENTLE: (style.GREEN, "-.", 2.0),
}
"""Colour, line and width of each way."""

_WORDS = {HELD: "step 3 held"}


def _draw_rail(
    axes: Axes, rail: str, stops: Mapping[str, Stop], rows: Mapping[str, Row], shown: Shown
) -> None:
    end, per = rows[HELD]["distance"], shown.per_length
    axes.axhline(0.0, color=style.INK, linewidth=1.0)
    for way in reversed(list(stops)):
        if way == GENTLE:
            continue
        colour, line, width = _LOOKS[way]
        traces = stops[way].traces
        axes.plot(
            (traces["distance"] - end) / per, traces["train_speed"] / shown.per_speed,
            color=colour, linestyle=line, linewidth=width,
            label=f"{_WORDS.get(way, way)}: {_where(rows[way], shown)}",
        )  # fmt: skip
        place = (traces["distance"][-1] - end) / per
        axes.plot([place], [0.0], "o", color=colour, markersize=6, clip_on=False, zorder=5)
    axes.axvline(0.0, color=style.INK, linewidth=0.8)
    handles, labels = axes.get_legend_handles_labels()
    axes.legend(
        handles[::-1], labels[::-1], loc="upper left", bbox_to_anchor=(-0.1, -0.24), ncols=2,
        handlelength=2.4, columnspacing=1.0, borderaxespad=0.1,
    )  # fmt: skip
    title = RAILS[rail][1] if rail in RAILS else f"On {rail.replace('_', ' ')}"
    axes.annotate(title, (0.0, 1.0), (0, 4), xycoords="axes fraction",
                  textcoords="offset points", fontweight="bold")  # fmt: skip
    if GENTLE in rows:
        said = f"{GENTLE}, step 1\nbegun {shown.said_length(EARLIER)} sooner:\n"
        axes.annotate(f"{said}{_where(rows[GENTLE], shown)}", (0.03, 0.06),
                      xycoords="axes fraction", color=_LOOKS[GENTLE][0])  # fmt: skip
    axes.set_ylim(0.0, 1.08 * stops[HELD].scenario.initial_speed / shown.per_speed)
    axes.set_ylabel(f"speed [{shown.speed}]")
    axes.set_xlabel(f"distance past the platform end [{shown.length}]")
    axes.grid(axis="y")


def _draw_reason(axes: Axes, stops: Mapping[str, Stop]) -> None:
    """Draw the mean friction the last axle met under each way, over that of the first axle."""
    names = list(stops)
    for i, way in enumerate(names):
        traces = stops[way].traces
        is_fast = traces["train_speed"] > SLOWEST
        means = traces["friction"][is_fast].mean(axis=0)
        colour = _LOOKS[way][0]
        axes.plot([means[0], means[-1]], [i, i], color=colour, linewidth=1.6)
        axes.plot([means[-1]], [i], "o", color=colour, markersize=7)
        axes.plot([means[0]], [i], "|", color=colour, markersize=9, markeredgewidth=1.6)
    axes.set_yticks(range(len(names)), [_WORDS.get(n, n).replace(" and ", "\nand ") for n in names])
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_xlim(left=0.0)
    axes.annotate("bar: first axle, dot: last", (0.0, 1.0), (0, 4), xycoords="axes fraction",
                  textcoords="offset points")  # fmt: skip
    axes.set_xlabel("friction met, mean [-]")
    axes.grid(axis="x")


def _where(row: Row, shown: Shown) -> str:
    past = row["past_the_platform_end"]
    if not math.isfinite(past):
        return "does not stop"
    if rounds_to_nothing(past / shown.per_length, 0):
        return "stops there"
    side = "past" if past > 0 else "short"
    return f"{shown.said_length(abs(past))} {side}"


EXPERIMENT = Experiment(
    "why_holding_beats_easing",
    "Why does holding the brake beat easing it when slip control works?",
    investigate,
    n_seeds=4,
    sets={"driver": "the way of driving is its question"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())
