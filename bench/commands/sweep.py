"""The command `sweep`: one value in steps, and what distance, wheels and air do. Thin."""

from __future__ import annotations

import argparse
import csv
import io
from typing import TYPE_CHECKING

from slipbench.commands.line import (
    deliver,
    get_ready,
    picture_names,
    results_folder,
)
from slipbench.commands.options import (
    add_out,
    add_scenario,
    add_seeds,
    add_stop_limit,
    add_strategy,
    add_workers,
    check_seeds,
    check_workers,
    read_scenario,
    read_settings,
    stop_limit,
)
from slipbench.commands.parser import COMPARE, Commands

if TYPE_CHECKING:
    from slipbench.campaign.sweep import Swept

DEFAULT_SEEDS = 4
_FILES = ("sweep.csv", "table.txt")


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    sweep = commands.add_parser(
        "sweep", group=COMPARE, help="vary one value in steps: distance, flats and air against it"
    )
    sweep.add_argument(
        "setting",
        metavar="KEY=FROM:TO[:N]",
        help="a key of the scenario, film.* or a parameter, with units; N values (7)",
    )
    add_scenario(sweep)
    add_strategy(sweep, several=True)
    add_seeds(sweep, DEFAULT_SEEDS, str(DEFAULT_SEEDS))
    add_workers(sweep)
    add_stop_limit(sweep)
    add_out(sweep, "sweep")
    sweep.set_defaults(act=sweep_command)


def sweep_command(arguments: argparse.Namespace) -> int:
    """Run a sweep; print its table, write CSV and picture."""
    from slipbench.campaign.sweep import read_setting, run_sweep
    from slipbench.ground.caution import CAUTION
    from slipbench.running.progress import progress
    from slipbench.running.runners import make_runner

    check_seeds(arguments.seeds)
    check_workers(arguments.workers)
    scenario = read_scenario(arguments.scenario, arguments)
    strategies, labels = read_settings(arguments.strategy, arguments.compile)
    own = [known.controller.name for known in strategies]
    names = [label or name for label, name in zip(labels or own, own, strict=True)]
    setting = read_setting(arguments.setting, [known.controller for known in strategies])
    written = [*_FILES, *picture_names("sweep")]
    folder = results_folder(arguments.out, "sweep", written, arguments.overwrite)
    get_ready(["slipbench.stop.simulation"], ["loop.run_compiled"], strategies)
    n_stops = len(setting.values) * len(strategies) * arguments.seeds
    runner = make_runner(arguments.workers, None, stop_limit(arguments))
    try:
        with progress(n_stops) as bar:
            swept = run_sweep(
                scenario, strategies, names, setting, arguments.seeds, runner, bar.done
            )
    finally:
        runner.close()
    table = sweep_text(swept)
    files = {
        "sweep.csv": sweep_csv(swept).encode(),
        "table.txt": f"{table}\n\n{CAUTION}\n".encode(),
    }
    deliver(table, folder, files, "sweep", arguments.overwrite, lambda: _pictures(swept))
    return 0


def _pictures(swept: Swept) -> dict[str, bytes]:
    from slipbench.figures import style
    from slipbench.figures.sweep import draw_sweep
    from slipbench.strategies.registry import known_controllers

    looks = style.looks([*known_controllers(), *swept.strategies])
    drawn = style.save(draw_sweep(swept, looks))
    return {f"sweep.{kind}": data for kind, data in drawn.items()}


def sweep_text(swept: Swept) -> str:
    """Return a sweep as a table: a block a strategy, a row a value."""
    from slipbench.campaign.sweep import objectives, spread_text
    from slipbench.results.tables import plain_table

    setting, told = swept.setting, objectives()
    heads = [setting.label.replace(" [", "\n["), *(f"{o.name}\n[{o.unit}]" for o in told)]
    rows: list[list[str] | str] = []
    for j, label in enumerate(swept.strategies):
        rows += ["", label] if rows else [label]
        for i, value in enumerate(setting.values):
            cells = [spread_text(swept.numbers(o)[i, j], o.decimals) for o in told]
            rows.append([setting.written(value), *cells])
    n_seeds = len(swept.summaries[0][0])
    what = setting.varied
    doc = what.meaning.rstrip(".")
    note = f"{what.name}: {'a multiplier, ' if what.is_multiplier else ''}{doc or 'a parameter'}."
    seeds = f"Mean of {n_seeds} seeds (least to greatest)." if n_seeds > 1 else "One seed."
    lines = [f"{swept.scenario.name}", "", plain_table(heads, rows, n_left=0), "", note, seeds]
    lines += [f"no number: {reason}" for reason in swept.failures()]
    return "\n".join(lines)


def sweep_csv(swept: Swept) -> str:
    """Return a sweep as CSV, a row a stop; the varied value first, in SI, its unit in the head."""
    from slipbench.results.cells import cell
    from slipbench.results.quantities import flat, head

    setting = swept.setting
    records = [
        {"value": value, "strategy": label, "seed": seed, **flat(swept.summaries[i][j][seed])}
        for i, value in enumerate(setting.values)
        for j, label in enumerate(swept.strategies)
        for seed in range(len(swept.summaries[i][j]))
    ]
    names = list(dict.fromkeys(name for record in records for name in record))
    unit = setting.varied.unit
    first = setting.varied.name + (f" [{unit}]" if unit not in ("", "-") else "")
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([cell(first if name == "value" else head(name)) for name in names])
    for record in records:
        writer.writerow([_written(record.get(name)) for name in names])
    return stream.getvalue()


def _written(value: object) -> object:
    from slipbench.results.cells import cell

    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value) if isinstance(value, float) else cell(value)
