"""How deep should wheels slip, for a short or a long train, on rails of different kinds?

Question: wheels that slip little lose least where the creep curve falls; wheels that slip deep
clean more. Which slip stops the train shortest? Does it hang on the length of the train and on the
shape of the creep curve?
Source: both effects are known (gross sliding that cleans: Uchida, Ohyama and Nomura, RTRI Report
2000 and 2001, abstracts only); the film is `wet_leaf` with its creep curve replaced: the shapes are
assumed. That cleaning is full up to half slip and less beyond (`rail.full_cleaning_slip` 0.5) is
assumed too and pulls the best slip towards itself, so it is moved as well.
Scenario: the Elderwick unit (invented) with 2 to 12 cars, `wet_leaf`, step 3 from 60 mph
(`--quick`: 40 mph); strategy `deep_slip`, its slip target from 0.1 to 0.8.
Run: `python -m slipbench.experiments.how_deep_should_it_slip`
"""

import sys
from collections.abc import Mapping, Sequence
from statistics import fmean

from matplotlib.figure import Figure

from slipbench import controllers
from slipbench.experiments.asked import own_scenario
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
from slipbench.experiments.who_cleans_the_rail import train_of
from slipbench.figures import style
from slipbench.results.wording import listed
from slipbench.scenario import Scenario

LENGTHS, QUICK_LENGTHS = (2, 4, 8, 12), (2, 8)
TARGETS, QUICK_TARGETS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8), (0.1, 0.5)
FULL_CLEANING, MOVED = 0.5, (0.3, 0.8)
"""Slip up to which all sliding work cleans, on the shipped rail; and what else it might be. [-]"""

SHAPES: Mapping[str, Mapping[str, float]] = {
    "steeply falling": {"friction_ratio": 0.4},
    "falling": {},
    "flat": {"friction_ratio": 1.0, "adhesion_reduction": 1.0, "slip_reduction": 1.0},
    "rising": {"friction_ratio": 1.0, "adhesion_reduction": 0.03, "slip_reduction": 0.004},
}
"""Creep curves: what is changed of the film. A soft contact rises up to a slip of some 0.5."""

QUICK_SHAPES = ("steeply falling", "flat")
SHOWN_LENGTH = 4
COLUMNS = (
    Column("creep_curve"),
    Column("cars", "", 0),
    Column("full_cleaning_up_to", "-", 1),
    Column("slip_target", "-", 1),
    Column("distance", "m", 0),
    Column("longer_than_best", "-", 3),
)


def scenario_with(shape: str, n_cars: int, full: float, *, is_quick: bool = False) -> Scenario:
    """Return the stop on a creep curve."""
    changes: dict[str, float] = {"initial_speed": (40 if is_quick else 60) * MPH}
    changes |= {f"rail.sections.*.{name}": value for name, value in SHAPES[shape].items()}
    changes["rail.full_cleaning_slip"] = full
    return train_of(own_scenario("wet_leaf").replace(changes), n_cars)


def investigate(options: Options) -> Answer:
    """Run every target on every curve and length, and some with cleaning moved."""
    lengths = QUICK_LENGTHS if options.is_quick else LENGTHS
    targets = QUICK_TARGETS if options.is_quick else TARGETS
    groups = [
        (shape, cars, FULL_CLEANING)
        for shape in (QUICK_SHAPES if options.is_quick else SHAPES)
        for cars in lengths
    ]
    if not options.is_quick:
        groups += [("falling", SHOWN_LENGTH, full) for full in MOVED]
    strategy = controllers.by_name("deep_slip")
    found = iter(
        over_seeds(
            [
                (
                    scenario_with(*group, is_quick=options.is_quick),
                    strategy.with_parameters(target_slip=target),
                )
                for group in groups
                for target in targets
            ],
            options.n_seeds,
        )
    )
    rows = []
    for shape, cars, full in groups:
        distances = [fmean(map(distance_of, next(found))) for _ in targets]
        for target, distance in zip(targets, distances, strict=True):
            row = {"creep_curve": shape, "cars": cars, "full_cleaning_up_to": full}
            row |= {"slip_target": target, "distance": distance}
            rows.append({**row, "longer_than_best": distance / min(distances) - 1.0})
    note = (
        f"Means over {options.n_seeds} seed(s). The strategy's target cannot be below 0.1. Best is "
        "the best of these targets\nfor the same curve and length."
    )
    return Answer(COLUMNS, rows, sentence(rows), {"how_deep_should_it_slip": draw(rows)}, [note])


def best_targets(rows: Sequence[Row]) -> dict[tuple[str, int, float], float]:
    """Return the best slip target of each curve, length and cleaning. [-]"""
    return {
        (row["creep_curve"], row["cars"], row["full_cleaning_up_to"]): row["slip_target"]
        for row in rows
        if row["longer_than_best"] == 0.0
    }


def sentence(rows: Sequence[Row]) -> str:
    """Say which target is best on each curve, and for which lengths of train."""
    best, lowest = best_targets(rows), min(row["slip_target"] for row in rows)

    def label(target: float) -> str:
        return f"{target:g} or less" if target == lowest else f"{target:g}"

    parts = []
    for shape in dict.fromkeys(row["creep_curve"] for row in rows):
        own: dict[float, list[int]] = {}
        for (curve, cars, full), target in best.items():
            if curve == shape and full == FULL_CLEANING:
                own.setdefault(target, []).append(cars)
        said = [f"{label(target)} for {_cars(cars)}" for target, cars in own.items()]
        parts.append(f"on a {shape} curve {listed(said) or 'none: no train stops'}")
    moved = [
        f"{target:g} if cleaning is full up to {full:g}"
        for (_, _, full), target in best.items()
        if full != FULL_CLEANING
    ]
    more = f"; on the falling one, {SHOWN_LENGTH} cars, {', '.join(moved)}" if moved else ""
    return f"the best slip is {', '.join(parts)}{more}."


def _cars(lengths: Sequence[int]) -> str:
    return f"{listed([str(cars) for cars in sorted(lengths)])} cars"


def draw(rows: Sequence[Row]) -> Figure:
    """Draw distance over slip target, a panel a curve, a line a length, the best one filled."""
    shapes = list(dict.fromkeys(row["creep_curve"] for row in rows))
    lengths = sorted({row["cars"] for row in rows})
    with drawing(3.4, ncols=len(shapes), sharey=True) as (figure, panels):
        for axes, shape in zip(panels, shapes, strict=True):
            for i, cars in enumerate(lengths):
                own = [
                    row
                    for row in rows
                    if (row["creep_curve"], row["cars"]) == (shape, cars)
                    and row["full_cleaning_up_to"] == FULL_CLEANING
                ]
                colour, marker = style.COLOURS[i], style.MARKERS[i]
                targets, distances = ([row[k] for row in own] for k in ("slip_target", "distance"))
                line = ("-", "--", "-.", ":")[i % 4]
                axes.plot(targets, distances, color=colour, linestyle=line, linewidth=1.4)
                best = min(own, key=lambda row: row["distance"])
                axes.plot(
                    best["slip_target"], best["distance"], marker, color=colour, markersize=7.5,
                    linestyle=line,
                    label=f"{cars} cars",
                )  # fmt: skip
            axes.annotate(f"{shape} curve", (0.0, 1.0), (0, 4), xycoords="axes fraction",
                          textcoords="offset points", fontweight="bold")  # fmt: skip
            axes.set_xlim(0.0, 0.9)
            axes.set_xticks((0.0, 0.2, 0.4, 0.6, 0.8))
            axes.set_xlabel("slip of all wheels [-]")
            axes.grid(axis="y")
        panels[0].set_ylim(bottom=0.0)
        panels[0].set_ylabel("stopping distance [m]")
        panels[0].legend(title="mark: best slip of", loc="lower left", fontsize=8.0)
    return figure


EXPERIMENT = Experiment(
    "how_deep_should_it_slip",
    "How deep should wheels slip, for a short or a long train, on different creep curves?",
    investigate,
    sets={"strategy": "the depth of slip is its question, held by deep_slip"},
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())
