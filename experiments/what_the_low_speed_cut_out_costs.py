"""What does it cost that slip control is still below walking pace?

Question: equipment commonly cuts slip control out at low speed (6 mph on the shipped units, common
practice without a source), so that the brake holds and nothing blows at the platform. Below it a
wheel that slides locks. How long are the flats, and what becomes of the stopping distance?
Source: none was readable; cut-out speeds of 3 to 5 km/h and of 6 mph are from memory.
Scenario: shipped slippery rails from 75 mph; strategies that lock nothing above walking pace, each
with the equipment's cut-out set to 0 (the strategy's own rule is left), 5 km/h, 6 mph and 10 mph.
Run: `python -m slipbench.experiments.what_the_low_speed_cut_out_costs`
"""

import math
import sys

from matplotlib.figure import Figure

from slipbench.experiments.asked import named, own_rails, own_scenario, own_strategies
from slipbench.experiments.notebook import (
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
from slipbench.results.wording import compared, rounds_to_nothing
from slipbench.strategies.registry import known_controllers

MPH = 0.44704
RAILS = ("wet_leaf", "tough_film", "grease", "frost")
STRATEGIES = ("slip_band", "cleaning_balance", "slip_target")
CUT_OUTS = (0.0, 5.0 / 3.6, 6.0 * MPH, 10.0 * MPH)
SHIPPED = CUT_OUTS[2]
COLUMNS = (
    Column("rail"),
    Column("strategy"),
    Column("cut_out", "m/s", 2),
    Column("distance", "m", 1),
    Column("longest_lock", "s", 2),
    Column("flat_low", "mm", 0),
    Column("flat_high", "mm", 0),
    Column("flat_risk", "-", 3),
    Column("vents_below_6_mph", "-", 1),
)


def investigate(options: Options) -> Answer:
    """Run every strategy on every rail with every cut-out speed; means over the seeds."""
    rails = own_rails(RAILS[:1] if options.is_quick else RAILS)
    strategies = own_strategies(STRATEGIES[:2] if options.is_quick else STRATEGIES)
    cases = [(rail, name, speed) for rail in rails for name in strategies for speed in CUT_OUTS]
    runs = [
        Run(
            own_scenario(rail).replace({"slip_control.cut_out_speed": speed}),
            named(name),
            seed,
        )
        for rail, name, speed in cases
        for seed in range(options.n_seeds)
    ]
    found = summaries(runs)
    n = options.n_seeds
    rows = [_row(case, found[i * n : (i + 1) * n]) for i, case in enumerate(cases)]
    picture = {"what_the_low_speed_cut_out_costs": draw(rows)}
    return Answer(COLUMNS, rows, sentence(rows), picture)


def _row(case: tuple[str, str, float], found: list[dict]) -> Row:  # type: ignore[type-arg]
    def mean(values: list[float]) -> float:
        return sum(values) / len(values)

    return {
        "rail": case[0],
        "strategy": case[1],
        "cut_out": case[2],
        "distance": mean([distance_of(s) for s in found]),
        "longest_lock": mean([s["longest_lock"] for s in found]),
        "flat_low": mean([1e3 * max(s["flat_length_low"]) for s in found]),
        "flat_high": mean([1e3 * max(s["flat_length_high"]) for s in found]),
        "flat_risk": mean([s["flat_risk"] for s in found]),
        "vents_below_6_mph": mean([float(s["low_speed_vents"]) for s in found]),
    }


def _at(rows: list[Row], speed: float) -> list[Row]:
    return [row for row in rows if math.isclose(row["cut_out"], speed)]


def price(rows: list[Row]) -> tuple[float, float, float]:
    """Return what 6 mph adds to the flats' low and high end at most [mm], and to distance [m]."""
    pairs = list(zip(_at(rows, 0.0), _at(rows, SHIPPED), strict=True))
    return (
        max(after["flat_low"] - before["flat_low"] for before, after in pairs),
        max(after["flat_high"] - before["flat_high"] for before, after in pairs),
        max((after["distance"] - before["distance"] for before, after in pairs), key=abs),
    )


def sentence(rows: list[Row]) -> str:
    """Say what a cut-out at 6 mph costs in flats and metres, and what it spares in vents."""
    before, after = _at(rows, 0.0), _at(rows, SHIPPED)
    low, high, metres = price(rows)
    limit = max(row["flat_high"] for row in after)
    quiet = max(row["vents_below_6_mph"] for row in after)
    busy = max(row["vents_below_6_mph"] for row in before)
    longest = max(row["longest_lock"] for row in after)
    lock = (
        "no wheel locks at walking pace"
        if rounds_to_nothing(longest, 1)
        else (f"wheels lock at walking pace for up to {longest:.1f} s")
    )
    flats = (
        "no flat grows"
        if high < 0.5
        else (
            f"flats grow by up to {max(low, 0.0):.0f} mm (low end of the band) to {high:.0f} mm "
            f"(high end), to {limit:.0f} mm at most"
        )
    )
    by = compared(metres, "m", 1, "longer", "shorter", "as long")
    moved = f"stops get up to {by}" if math.isfinite(metres) else "not every stop ends"
    moved = "no stop gets longer or shorter" if by == "as long" else moved
    way = "fall" if quiet < busy else "rise" if quiet > busy else "stay"
    vents = f"{way} from up to {busy:.0f} a stop to {quiet:.0f}"
    if f"{busy:.0f}" == f"{quiet:.0f}":
        vents = f"stay at up to {busy:.0f} a stop"
    return f"cut out at 6 mph, {lock}: {flats}, and {moved}; vents below 6 mph {vents}."


def draw(rows: list[Row]) -> Figure:
    """Draw the band of the longest flat against the cut-out speed, a line a strategy and rail."""
    with drawing(3.4) as (figure, axes):
        strategies = list(dict.fromkeys(row["strategy"] for row in rows))
        looks = style.looks([*known_controllers(), *strategies])
        for name in strategies:
            for j, rail in enumerate(dict.fromkeys(row["rail"] for row in rows)):
                own = [r for r in rows if (r["strategy"], r["rail"]) == (name, rail)]
                axes.plot(
                    [row["cut_out"] / MPH for row in own],
                    [row["flat_high"] for row in own],
                    color=looks[name].colour,
                    marker=looks[name].marker,
                    markersize=looks[name].size(4.5),
                    linewidth=0.9,
                    label=name.replace("_", " ") if j == 0 else None,
                )
        axes.axvline(SHIPPED / MPH, color=style.QUIET, linewidth=0.8, linestyle=":")
        axes.annotate(
            "shipped units", (SHIPPED / MPH, 0.0), (4, 4), textcoords="offset points", fontsize=8.0
        )
        axes.set_xlabel("equipment's cut-out speed [mph]")
        axes.set_ylabel("longest flat,\nhigh end of its band [mm]")
        axes.set_ylim(bottom=0.0)
        axes.legend(title="a line a rail", title_fontsize=8.0)
    return figure


EXPERIMENT = Experiment(
    "what_the_low_speed_cut_out_costs",
    "What does it cost that slip control is still below walking pace?",
    investigate,
    n_seeds=2,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())
