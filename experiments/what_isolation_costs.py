"""What does it cost to isolate slip control when the train slides?

Question: a driver in emergency on a slippery rail may press the button that takes slip control out
for two minutes. Is the stop shorter? What happens to wheels and rail? And pressed when slow?
Source: the button as common practice describes it (no source); that locked wheels hardly clean is
this project's assumption (`rail.locked_cleaning_share` 0.05), so the answer is given over it, and
over the fall of the creep curve (`friction_ratio`; 1 is flat).
Scenario: the Elderwick unit (invented), `wet_leaf`, emergency from 70 mph, strategy `slip_band`;
the button is left alone, pressed at once, or pressed below 20 mph.
Run: `python -m slipbench.experiments.what_isolation_costs`
"""

import math
import sys
from collections.abc import Sequence
from statistics import fmean
from typing import Any

from matplotlib.figure import Figure

from slipbench.experiments.asked import own_scenario, own_strategy
from slipbench.experiments.notebook import (
    MPH,
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    distance_of,
    drawing,
    summaries,
)
from slipbench.figures import style
from slipbench.results.wording import rounds_to_nothing, stops
from slipbench.scenario import Driver, HandleEntry, IsolationPress, Scenario

SHARE, CURVE = 0.05, 0.7
"""Of the shipped rail."""

SHARES, CURVES = (0.0, 0.05, 0.2, 0.5, 1.0), (0.4, 0.7, 1.0)
PRESSES: dict[str, tuple[IsolationPress, ...]] = {
    "left alone": (),
    "pressed at once": (IsolationPress(at_time=0.1),),
    "pressed below 20 mph": (IsolationPress(at_speed=20 * MPH),),
}
COLUMNS = (
    Column("button"),
    Column("locked_cleaning_share", "-", 2),
    Column("friction_ratio", "-", 1),
    Column("distance", "m", 0),
    Column("longest_lock", "s", 1),
    Column("locked_wheel_distance", "m", 0),
    Column("heat_from_locked_wheels", "MJ", 2),
    Column("flat_risk", "-", 2),
)


def scenario_with(button: str, share: float, curve: float) -> Scenario:
    """Return the stop from 70 mph in emergency."""
    emergency = (HandleEntry(at_time=0.0, position=4),)
    return own_scenario("wet_leaf").replace(
        {
            "initial_speed": 70 * MPH,
            "driver": Driver(programme=emergency, presses=PRESSES[button]),
            "rail.locked_cleaning_share": share,
            "rail.sections.*.friction_ratio": curve,
        }
    )


def investigate(options: Options) -> Answer:
    """Run the three drivers over the cleaning share and over the creep curve."""
    shares = SHARES[1::3] if options.is_quick else SHARES
    curves = CURVES[-1:] if options.is_quick else CURVES
    places = [(share, CURVE) for share in shares]
    places += [(SHARE, curve) for curve in curves if curve != CURVE]
    cases = [(button, *place) for place in places for button in PRESSES]
    strategy, n = own_strategy("slip_band"), options.n_seeds
    found = summaries(
        [Run(scenario_with(*case), strategy, seed) for case in cases for seed in range(n)]
    )
    rows = [_row(case, found[i * n : (i + 1) * n]) for i, case in enumerate(cases)]
    note = (
        "Heat is that of all locked wheels, to wheel and rail; locked wheel distance is that of\n"
        "the worst axle. A dash: the train did not stop within the limits of the scenario."
    )
    return Answer(COLUMNS, rows, sentence(rows), {"what_isolation_costs": draw(rows)}, [note])


def _row(case: tuple[str, float, float], own: Sequence[Row]) -> Row:
    return {
        "button": case[0],
        "locked_cleaning_share": case[1],
        "friction_ratio": case[2],
        "distance": fmean(distance_of(s) for s in own),
        "longest_lock": fmean(s["longest_lock"] for s in own),
        "locked_wheel_distance": fmean(max(s["locked_distance"]) for s in own),
        "heat_from_locked_wheels": fmean(sum(s["locked_energy"]) for s in own) / 1e6,
        "flat_risk": fmean(s["flat_risk"] for s in own),
    }


def _pick(rows: Sequence[Row], button: str, share: float, curve: float) -> Row:
    wanted = (button, share, curve)
    keys = ("button", "locked_cleaning_share", "friction_ratio")
    return next(row for row in rows if tuple(row[key] for key in keys) == wanted)


def sentence(rows: Sequence[Row]) -> str:
    """Say what the button does on the shipped rail, and where it would shorten the stop."""
    alone, at_once, late = (_pick(rows, button, SHARE, CURVE) for button in PRESSES)
    places = {(row["locked_cleaning_share"], row["friction_ratio"]) for row in rows}
    shorter = [
        f"share {share:g}, curve {curve:g}"
        for share, curve in sorted(places)
        if _pick(rows, "pressed at once", share, curve)["distance"]
        < _pick(rows, "left alone", share, curve)["distance"]
    ]
    where = (
        f"shortens the stop at: {'; '.join(shorter)}"
        if shorter
        else ("shortens it nowhere in this table")
    )
    return (
        f"left alone the train {stops(alone['distance'])}; pressed at once it "
        f"{stops(at_once['distance'])}, {_slid(at_once)}; pressed below 20 mph it "
        f"{stops(late['distance'])}, {_slid(late)}; pressing at once {where}."
    )


def _slid(row: Row) -> str:
    if rounds_to_nothing(row["locked_wheel_distance"], 0):
        return "no wheel locked"
    return f"a wheel locked for {row['locked_wheel_distance']:.0f} m"


def draw(rows: Sequence[Row]) -> Figure:
    """Draw the message above, distance and locked way with and without; the assumptions below."""
    with drawing(5.4, nrows=2, ncols=2, height_ratios=(1.0, 1.5)) as (figure, panels):
        _draw_message(panels[0], [_pick(rows, button, SHARE, CURVE) for button in PRESSES])
        _draw_assumptions(panels[1], rows)
    return figure


def _draw_message(panels: Any, rows: Sequence[Row]) -> None:
    for axes, key, label in (
        (panels[0], "distance", "stopping distance [m]"),
        (panels[1], "locked_wheel_distance", "way of a locked wheel [m]"),
    ):
        values = [row[key] for row in rows]
        longest = max([value for value in values if math.isfinite(value)], default=1.0) or 1.0
        for i, value in enumerate(values):
            is_there = math.isfinite(value)
            axes.barh(i, value if is_there else 0.0, height=0.6, color=style.COLOURS[i])
            said = f"{value:.0f}" if is_there else "does not stop"
            axes.annotate(said, (value if is_there else 0.0, i), (4, 0), va="center",
                          textcoords="offset points")  # fmt: skip
        axes.set_yticks(range(len(rows)), [row["button"] for row in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.set_xlim(0.0, 1.25 * longest)
        axes.set_xlabel(label)
        style.bare(axes)
    panels[1].set_yticklabels([])


def _draw_assumptions(both: Any, rows: Sequence[Row]) -> None:
    panels = (
        ("locked_cleaning_share", "friction_ratio", CURVE, "cleaning share of a locked wheel [-]"),
        ("friction_ratio", "locked_cleaning_share", SHARE, "friction ratio A (1: flat curve) [-]"),
    )
    for axes, (key, other, held, label) in zip(both, panels, strict=True):
        for i, button in enumerate(PRESSES):
            own = [row for row in rows if row["button"] == button and row[other] == held]
            own.sort(key=lambda row: row[key])
            axes.plot(
                [row[key] for row in own], [row["distance"] for row in own],
                color=style.COLOURS[i], marker=style.MARKERS[i], linestyle=("-", "--", ":")[i],
                label=button,
            )  # fmt: skip
        axes.set_ylim(bottom=0.0)
        axes.set_xlabel(label)
        axes.set_ylabel("stopping distance [m]")
        axes.grid(axis="y")
    both[0].annotate("if assumptions were others:", (0.0, 1.0), (0, 4), xycoords="axes fraction",
                     textcoords="offset points")  # fmt: skip
    both[1].legend(loc="lower left")


EXPERIMENT = Experiment(
    "what_isolation_costs",
    "What does it cost to isolate slip control when the train slides?",
    investigate,
    sets={"driver": "its driver presses the isolation button"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())
