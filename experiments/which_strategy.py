"""Which strategy? Every shipped strategy on the rails, distance against flats.

Question: stopping short and keeping wheels round are two aims. Which strategy serves both, on which
rail, and does one beat all others?
Source: the strategies' own docstrings name theirs; rails as `slipbench show RAIL` prints them, most
of their values assumed.
Scenario: the Elderwick unit E4 (invented), step 3, the shipped rails from their own speed and from
two thirds of it. `--quick`: two rails from 30 mph.
Run: `python -m experiments.which_strategy` (the full table with intervals: `slipbench compare
--speed 50mph,75mph,100mph --seeds 4`)
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from bench.compare import Comparison, compare
from bench.figures import style
from bench.registry import known_controllers
from bench.scenario import Scenario, load_scenario
from bench.standing import cases
from experiments.notebook import Answer, Column, Experiment, Options, Row, drawing

MPH = 0.44704

RAILS = ("wet_leaf", "tough_film", "detergent", "damp_oxide", "grease", "frost")
QUICK_RAILS = ("wet_leaf", "detergent")
QUICK = ("none", "slip_band", "deep_slip", "cleaning_balance")

COLUMNS = (
    Column("rail"),
    Column("strategy"),
    Column("distance", "m", 0),
    Column("over_shortest_possible", "-", 2),
    Column("flat_low", "mm", 0),
    Column("flat_high", "mm", 0),
    Column("flat_risk", "-", 3),
    Column("air", "normal L", 0),
    Column("vents_below_6_mph", "-", 0),
)


@dataclass(frozen=True)
class _Plan:
    scenarios: list[Scenario]
    strategies: list[str]


def plan(is_quick: bool) -> _Plan:
    """Return scenarios (rail and speed in their names) and strategies."""
    if is_quick:
        return _Plan([_from(rail, 30 * MPH) for rail in QUICK_RAILS], list(QUICK))
    scenarios = []
    for rail in RAILS:
        fastest = load_scenario(rail).initial_speed
        scenarios += [_from(rail, round(share * fastest / MPH) * MPH) for share in (2 / 3, 1.0)]
    return _Plan(scenarios, [name for name, k in known_controllers().items() if not _knows(k)])


def _from(rail: str, speed: float) -> Scenario:
    name = f"{rail} {speed / MPH:.0f} mph"
    return load_scenario(rail).replace(initial_speed=speed, name=name)


def _knows(known: object) -> bool:
    return bool(known.controller.uses_truth)  # type: ignore[attr-defined]


def investigate(options: Options) -> Answer:
    """Compare, and tell how often the best strategy beats every other."""
    wanted = plan(options.is_quick)
    known = known_controllers()
    n_workers = 1 if options.is_quick else None
    strategies = [known[name] for name in wanted.strategies]
    comparison = compare(wanted.scenarios, strategies, options.n_seeds, n_workers=n_workers)
    rows = [
        _row(comparison, scenario.name, name)
        for scenario in wanted.scenarios
        for name in wanted.strategies
    ]
    notes = [
        "Means over the seeds. Flats are bands of two wear laws, the worst axle's. A strategy that "
        "uses truth is left out. Adhesion of every rail is assumed."
    ]
    answer = sentence(rows, wins_of(comparison, wanted.strategies))
    return Answer(COLUMNS, rows, answer, {"which_strategy": draw(rows)}, notes)


def _row(comparison: Comparison, scenario: str, strategy: str) -> Row:
    runs = [r for r in comparison.rows if (r.scenario, r.controller) == (scenario, strategy)]

    def mean(name: str, scale: float = 1.0) -> float:
        values = [run.summary[name] for run in runs]
        worst = [max(value) if isinstance(value, list | tuple) else value for value in values]
        return scale * sum(float(value or 0.0) for value in worst) / len(worst)

    distance = mean("stopping_distance")
    return {
        "rail": scenario,
        "strategy": strategy,
        "distance": distance,
        "over_shortest_possible": distance / comparison.yardsticks[scenario].shortest_possible,
        "flat_low": mean("flat_length_low", 1e3),
        "flat_high": mean("flat_length_high", 1e3),
        "flat_risk": mean("flat_risk"),
        "air": mean("air_vented_litres"),
        "vents_below_6_mph": mean("low_speed_vents"),
    }


def wins_of(comparison: Comparison, strategies: Sequence[str]) -> dict[str, int]:
    """Return in how many cases each stops shorter than all others at no more flat risk."""
    return {name: sum(case.is_best for case in cases(comparison, name)) for name in strategies}


def sentence(rows: Sequence[Row], wins: dict[str, int]) -> str:
    """Name the strategy with most cases, and say whether that makes it the best of all."""
    n_cases = len({row["rail"] for row in rows})
    best = max(wins, key=lambda name: wins[name])
    if not wins[best]:
        return f"in none of {n_cases} cases is one strategy shortest at no more flat risk."
    own = [row["over_shortest_possible"] for row in rows if row["strategy"] == best]
    return (
        f"{best} stops shorter than every other, at equal or lower flat risk, in {wins[best]} of "
        f"{n_cases} cases; it needs {min(own):.2f} to {max(own):.2f} times the shortest possible "
        "distance."
    )


def draw(rows: Sequence[Row]) -> Figure:
    """Draw distance over the shortest possible against the upper flat length, a panel a rail."""
    rails = list(dict.fromkeys(str(row["rail"]) for row in rows))
    names = list(dict.fromkeys(str(row["strategy"]) for row in rows))
    n_columns = min(3, len(rails))
    n_rows = -(-len(rails) // n_columns)
    heights = (0.3, *[1.0] * n_rows)  # the first row is the legend's
    with drawing(
        1.9 * n_rows + 1.2,
        nrows=n_rows + 1,
        ncols=n_columns,
        squeeze=False,
        height_ratios=heights,
    ) as (fig, whole):
        grid = whole[1:]
        for axes in whole[0]:
            axes.axis("off")
        for axes, rail in zip(grid.flat, rails, strict=False):
            for row in (row for row in rows if row["rail"] == rail):
                i = names.index(str(row["strategy"]))
                axes.plot(
                    row["over_shortest_possible"],
                    row["flat_high"],
                    style.MARKERS[i % len(style.MARKERS)],
                    color=style.COLOURS[i % len(style.COLOURS)],
                    markersize=7,
                    label=row["strategy"],
                    alpha=0.9,
                )
            axes.set_yscale("symlog", linthresh=1.0)
            axes.set_ylim(-0.5, 400.0)
            axes.set_yticks([0, 1, 10, 100], ["0", "1", "10", "100"])
            axes.annotate(rail, (0.97, 0.95), xycoords="axes fraction", ha="right", va="top")
            axes.set_xlim(left=0.98)
            axes.grid()
        for axes in grid[:, 0]:
            axes.set_ylabel("flat, high end [mm]")
        for axes in grid[-1]:
            axes.set_xlabel("distance / shortest possible [-]")
        handles, labels = grid[0, 0].get_legend_handles_labels()
        fig.legend(handles, labels, loc="upper center", ncols=min(6, len(names)), fontsize=8)
    return fig


EXPERIMENT = Experiment(
    "which_strategy", "Which strategy stops short and keeps wheels round?", investigate, n_seeds=2
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())
