"""The commands `creep` and `conditioning`: thin, one function each.

They raise `InputError` for what cannot be used. Slow imports stand inside the functions.
"""

from __future__ import annotations

import argparse
import csv
import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from slipbench.commands.line import (
    deliver,
    file_word,
    get_ready,
    picture_names,
    results_folder,
)
from slipbench.commands.options import (
    add_out,
    add_scenario,
    add_stop_arguments,
    read_scenario,
    read_strategy,
)
from slipbench.commands.parser import ONE_STOP, Commands
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.figures.conditioning import Conditioning
    from slipbench.figures.creep_curves import CreepCurve
    from slipbench.scenario import Scenario

MOST_SCENARIOS = 7
_BETWEEN_SAMPLES = ("plain.advance_compiled", "plain.observe_compiled", "plain.accept_compiled")


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    creep = commands.add_parser(
        "creep", group=ONE_STOP, help="draw the creep laws on a scenario's rail"
    )
    add_scenario(creep, "+")
    add_out(creep, "creep")
    creep.set_defaults(act=creep_command)

    conditioning = commands.add_parser(
        "conditioning",
        group=ONE_STOP,
        help="draw what each axle finds on the rail and leaves behind",
    )
    add_stop_arguments(conditioning, "conditioning")
    conditioning.set_defaults(act=conditioning_command)


def creep_command(arguments: argparse.Namespace) -> int:
    """Draw every creep law on each scenario's rail, and the largest adhesion over speed."""
    from slipbench.strategies.registry import refuse_twice

    if len(arguments.scenarios) > MOST_SCENARIOS:
        raise InputError(f"{len(arguments.scenarios)} scenarios; allowed: 1 to {MOST_SCENARIOS}")
    scenarios = [read_scenario(name, arguments) for name in arguments.scenarios]
    refuse_twice("scenarios", [(file_word(s.name), s.title) for s in scenarios])
    names = ["creep.csv", *picture_names("adhesion_speed")]
    for scenario in scenarios:
        names += picture_names(f"creep_{file_word(scenario.name)}")
    folder = results_folder(arguments.out, "creep", names, arguments.overwrite)
    get_ready(["slipbench.packing"])
    from slipbench.figures import style
    from slipbench.figures.adhesion_speed import draw_adhesion_speed
    from slipbench.figures.creep_curves import creep_curve, draw_creep_curves, laws_of

    curves = {s.name: [creep_curve(s, law) for law in laws_of(s)] for s in scenarios}
    files = {"creep.csv": _creep_csv(curves).encode()}

    def draw() -> dict[str, bytes]:
        drawn = {f"creep_{file_word(s.name)}": draw_creep_curves(s) for s in scenarios}
        drawn["adhesion_speed"] = draw_adhesion_speed(scenarios)
        return {
            f"{name}.{kind}": data
            for name, figure in drawn.items()
            for kind, data in style.save(figure).items()
        }

    deliver(_creep_table(scenarios, curves), folder, files, "creep", arguments.overwrite, draw)
    return 0


def conditioning_command(arguments: argparse.Namespace) -> int:
    """Run one stop and draw adhesion met by each axle and the cleaning work behind it."""
    scenario = read_scenario(arguments.scenario, arguments)
    known = read_strategy(arguments.strategy, arguments.compile)
    names = ["conditioning.csv", *picture_names("conditioning")]
    folder = results_folder(arguments.out, "conditioning", names, arguments.overwrite)
    get_ready(["slipbench.figures.conditioning"], _BETWEEN_SAMPLES, [known])
    from slipbench.figures import style
    from slipbench.figures.conditioning import draw_conditioning, run_conditioning
    from slipbench.running.runner import as_input_error

    found = as_input_error(
        known,
        lambda: run_conditioning(
            scenario, known.controller, arguments.seed, compiled=known.runs_compiled
        ),
    )
    files = {"conditioning.csv": _conditioning_csv(found).encode()}

    def draw() -> dict[str, bytes]:
        pictures = style.save(draw_conditioning(found))
        return {f"conditioning.{kind}": data for kind, data in pictures.items()}

    text = _conditioning_table(found)
    deliver(text, folder, files, "conditioning", arguments.overwrite, draw)
    return 0


def _creep_table(scenarios: list[Scenario], curves: dict[str, list[CreepCurve]]) -> str:
    from slipbench.results.tables import plain_table

    rows: list[list[str] | str] = []
    for scenario in scenarios:
        head = f"{scenario.name}: {scenario.initial_speed:.2f} m/s, own law {scenario.contact.law}"
        rows += [head] if not rows else ["", head]
        for curve in curves[scenario.name]:
            error = "-" if curve.table_error is None else f"{curve.table_error:.1e}"
            rows.append(
                [
                    f"  {curve.law}",
                    f"{curve.stiffness:.1f}",
                    f"{curve.peak_adhesion:.4f}",
                    f"{100.0 * curve.peak_creepage:.3f}" if curve.peak_creepage < 1.0 else "flat",
                    error,
                ]
            )
    heads = [
        "law",
        "slope at\nzero [-]",
        "peak\nadhesion [-]",
        "at creepage\n[%]",
        "table error\n[mu N]",
    ]
    note = (
        "flat: the curve does not fall, its largest value holds to a locked wheel.\n"
        "table error: largest difference between a law and the table that stands for it in a\n"
        "stop, over the friction limit; - where the law is computed, or a measured curve is read."
    )
    if any(scenario.contact.law == "measured" for scenario in scenarios):
        note += (
            "\nmeasured: the curve's shape; its largest adhesion stands for the friction of the\n"
            "rail (rail.section.friction), which sliding and sand change."
        )
    return f"{plain_table(heads, rows)}\n\n{note}"


def _creep_csv(curves: dict[str, list[CreepCurve]]) -> str:
    from slipbench.figures.creep_curves import CREEPAGES

    rows: list[list[object]] = [["scenario", "law", "creepage", "adhesion"]]
    for name, found in curves.items():
        for curve in found:
            pairs = zip(CREEPAGES.tolist(), curve.adhesion.tolist(), strict=True)
            rows += [[name, curve.law, creepage, adhesion] for creepage, adhesion in pairs]
    return _csv(rows)


def _csv(rows: Iterable[Sequence[object]]) -> str:
    from slipbench.results.cells import cell

    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(map(cell, row) for row in rows)
    return stream.getvalue()


def _conditioning_table(found: Conditioning) -> str:
    import numpy as np

    from slipbench.results.tables import plain_table

    low, high = found.friction_range
    rows = [
        [
            f"{i + 1}",
            f"{found.friction[i]:.4f}",
            f"{low[i]:.4f} to {high[i]:.4f}",
            f"{found.used[i]:.4f}",
            f"{float(np.nanmean(found.work_after[i])) / 1e3:.3f}",
        ]
        for i in range(len(found.friction))
    ]
    heads = [
        "axle",
        "friction\nmet [-]",
        "10 to 90 %\nof the way",
        "adhesion\nused [-]",
        "W left\n[kJ/m]",
    ]
    stop = found.stop
    said = f"{stop.scenario.name}, {stop.controller.name}, seed {stop.seed}: {stop.outcome}"
    law = stop.scenario.rail.cleaning_law
    note = (
        "Means over the braked way above 2 m/s; W left: of one rail, mean over the cells an axle\n"
        "left. Rail memory, and the falling cleaning share of a nearly locked wheel, are\n"
        "this project's own extensions of the recalled cleaning law."
    )
    if law == "contact_only":
        note += "\nUnder contact_only the rail forgets: W is drawn, but no axle profits from it."
    if law == "rail_and_contact":
        note += "\nUnder rail_and_contact an axle also profits from its own pass, in friction met."
    return f"{said}\n\n{plain_table(heads, rows)}\n\n{note}"


def _conditioning_csv(found: Conditioning) -> str:
    numbers = range(1, len(found.friction) + 1)
    heads = [f"friction_met_axle_{i}" for i in numbers]
    heads += [f"work_after_axle_{i}_j_per_m" for i in numbers]
    places, met, works = found.place.tolist(), found.friction_met.T, found.work_after.T
    rows = [
        [
            place,
            *("" if value != value else value for value in (*met[i].tolist(), *works[i].tolist())),
        ]
        for i, place in enumerate(places)
    ]
    return _csv([["place_m", *heads], *rows])
