"""The commands `reproduce`, `identify` and `whatif`: the rail that explains a measured stop."""

from __future__ import annotations

import argparse
import shlex
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from slipbench.commands.line import deliver, get_ready, picture_names, results_folder
from slipbench.commands.measured import add_log, add_unit, read_arguments_log, read_unit
from slipbench.commands.options import (
    add_compile,
    add_out,
    add_overwrite,
    count,
    read_settings,
    split_names,
)
from slipbench.commands.parser import MEASURED, Commands
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

if TYPE_CHECKING:
    from slipbench.measured.account import Account
    from slipbench.measured.identify import Identified
    from slipbench.measured.whatif import Whatif
    from slipbench.scenario import Scenario

DRIVE = ["drive.drive_compiled"]


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    again = commands.add_parser(
        "reproduce", group=MEASURED, help="run a measured stop again, wheels under its pressures"
    )
    add_log(again)
    add_unit(again, is_needed=True)
    again.add_argument("--rail", required=True, metavar="FILE|NAME", help="the rail it is run on")
    add_out(again, "reproduce")
    again.set_defaults(act=reproduce_command)
    find = commands.add_parser(
        "identify", group=MEASURED, help="find the rail that explains a measured stop"
    )
    add_log(find)
    add_unit(find, is_needed=True)
    find.add_argument("--to", required=True, metavar="RAIL.toml", help="the rail, as a scenario")
    find.add_argument("--draws", type=count, default=20, metavar="N", help="rails of the band (20)")
    find.add_argument(
        "--rims", action="store_true",
        help="fit as well by how much every rim shows too fast, as its diameter makes it",
    )  # fmt: skip
    add_overwrite(find)
    find.set_defaults(act=identify_command)
    other = commands.add_parser(
        "whatif", group=MEASURED, help="what others would have done on the rail of a measured stop"
    )
    add_log(other)
    add_unit(other, is_needed=True)
    other.add_argument("--rail", required=True, metavar="RAIL.toml", help="written by identify")
    other.add_argument("--strategy", required=True, metavar="A[,B]", help="the alternatives")
    add_compile(other)
    other.add_argument(
        "--driver", default="logged", metavar="A[,B]",
        help="logged (as in the log), held (its hardest position throughout), or a shipped driver "
        "or file (logged)",
    )  # fmt: skip
    other.add_argument(
        "--each", type=count, default=3, metavar="N",
        help="seeds of the equipment on every rail, which tell its scatter from the rail's (3)",
    )  # fmt: skip
    add_out(other, "whatif")
    other.set_defaults(act=whatif_command)


def _account(arguments: argparse.Namespace, rail: str | None = None) -> Account:
    from slipbench.measured.account import make_account

    return make_account(read_arguments_log(arguments), read_unit(arguments, rail))


def _bar(**settings: Any) -> Any:
    from tqdm import tqdm

    return tqdm(disable=not sys.stderr.isatty(), leave=False, file=sys.stderr, **settings)


def reproduce_command(arguments: argparse.Namespace) -> int:
    """Run a measured stop again and print how far the model is from it, axle by axle."""
    names = picture_names("overlay")
    folder = results_folder(arguments.out, "reproduce", names, arguments.overwrite)
    account = _account(arguments, arguments.rail)
    get_ready(["slipbench.measured.drive"], DRIVE)
    from slipbench.measured.reproduce import reproduce, reproduction_text

    found = reproduce(account, account.unit.scenario)

    def draw() -> dict[str, bytes]:
        from slipbench.figures.measured_fit import draw_overlay
        from slipbench.figures.style import save

        files = save(draw_overlay(account, found))
        return {f"overlay.{kind}": data for kind, data in files.items()}

    text = reproduction_text(account, found)
    deliver(text, folder, {}, "reproduce", arguments.overwrite, draw)
    return 0


def identify_command(arguments: argparse.Namespace) -> int:
    """Find the rail of a measured stop; write it, and rails drawn from its band."""
    from slipbench.results.files import named_path, refuse_foreign, refuse_input, write_file

    target = named_path(arguments.to, "--to")
    if target.suffix != ".toml":
        raise InputError(f"--to {arguments.to}: a rail is a file that ends in .toml")
    inputs = [arguments.log, arguments.map or "", arguments.gradient or "", arguments.train]
    draws = target.with_name(f"{target.stem}-draws")
    beside = [target.with_suffix(end) for end in (".json", ".csv", ".png", ".svg")]
    for path in (target, *beside):
        refuse_input(path, "--to", inputs)
        refuse_foreign(path, arguments.overwrite)
    for i in range(1, arguments.draws + 1):
        refuse_foreign(draws / f"draw-{i:02d}.toml", arguments.overwrite, makes_folder=True)
    account = _account(arguments)
    get_ready(["slipbench.measured.fit", "slipbench.measured.drive"], DRIVE)
    found, text = _identified(account, arguments.rims)
    _write_rail(found, target, draws, arguments.draws)
    from slipbench.figures.measured_fit import draw_rail
    from slipbench.figures.style import save

    try:
        for kind, data in save(draw_rail(found)).items():
            write_file(target.with_suffix(f".{kind}"), data)
    except KeyboardInterrupt as end:
        raise type(end)(f"; the rail is in {target}, its picture is not drawn") from None
    print(
        f"{text}\n\nwritten: {target}, {arguments.draws} draws of its band in {draws}, "
        f"{', '.join(path.name for path in beside)}\n\n{CAUTION}"
    )
    return 0


def _identified(account: Account, with_rims: bool) -> tuple[Identified, str]:
    """Return what was identified, and the account of it with the reproduction on that rail."""
    import numpy as np

    from slipbench.measured.fit import PATCHES, fit_rail
    from slipbench.measured.identify import identified_text, identify, stop_scenario
    from slipbench.measured.model import GAIN
    from slipbench.measured.reproduce import reproduce, reproduction_text

    with _bar(total=len(PATCHES) + 2, unit="fit") as bar:
        fit = fit_rail(
            account, lambda text: (bar.set_postfix_str(text), bar.update(), None)[2], with_rims
        )
        bar.set_postfix_str("band")
        found = identify(account, fit)
        bar.update()
        gains = np.exp(fit.theta[GAIN] + fit.theta[fit.layout.axles])
        again = reproduce(account, stop_scenario(found, fit.theta, "identified"), gains)
    text = f"{identified_text(found)}\n\n{reproduction_text(account, again, gains)}"
    return found, text


def _write_rail(found: Identified, target: Path, draws: Path, n: int) -> None:
    from slipbench.measured.identify import draw_files, identified_json, patch_table, rail_file
    from slipbench.results.files import write_file

    name = target.stem[:40]
    write_file(target, rail_file(found, name).encode())
    write_file(target.with_suffix(".json"), identified_json(found).encode())
    write_file(target.with_suffix(".csv"), patch_table(found).encode())
    draws.mkdir(parents=True, exist_ok=True)
    for file, text in draw_files(found, name, n).items():
        write_file(draws / file, text.encode())


def whatif_command(arguments: argparse.Namespace) -> int:
    """Run alternatives on the rails that explain a log; print, and write a page."""
    from slipbench.measured.whatif import (
        check_rail,
        read_draws,
        run_alternatives,
        whatif_csv,
        whatif_text,
    )

    rail = check_rail(arguments.rail)
    names = ["whatif.csv", "whatif.html", *picture_names("alternatives")]
    folder = results_folder(arguments.out, "whatif", names, arguments.overwrite)
    scenarios = read_draws(rail)
    drivers, same = _drivers(arguments.driver, scenarios[0])
    strategies, labels = read_settings(arguments.strategy, arguments.compile)
    own = [known.controller.name for known in strategies]
    told = [label or name for label, name in zip(labels or own, own, strict=True)]
    account = _account(arguments, arguments.rail)
    get_ready(["slipbench.running.runner"], ["loop.run_compiled", *DRIVE], strategies)
    from slipbench.measured.reproduce import reproduce, reproduction_text

    again = reproduce(account, account.unit.scenario)
    each = arguments.each
    total = len(scenarios) * len(strategies) * len(drivers) * each
    with _bar(total=total, unit="stop") as bar:
        pairs = list(zip(told, strategies, strict=True))
        found = run_alternatives(account, str(rail), scenarios, pairs, drivers, bar.update, each)
    text = whatif_text(found, again.distance)
    text += "".join(f"\ndriver {d}: is what the log did" for d in same)
    page = _page(arguments, account, found, again, reproduction_text(account, again), text)
    files = {"whatif.csv": whatif_csv(found).encode(), "whatif.html": page.encode()}
    pictures = partial(_alternatives, found, again.distance)
    deliver(text, folder, files, "whatif", arguments.overwrite, pictures)
    return 0


def _drivers(text: str, logged: Scenario) -> tuple[list[str], list[str]]:
    """Return the drivers asked for, and those of them who do what the log did."""
    from slipbench.measured.whatif import with_driver

    drivers = split_names(text)
    same = [d for d in drivers[1:] if with_driver(logged, d).driver == logged.driver]
    return [d for d in drivers if d not in same], same


def _alternatives(found: Whatif, distance: float) -> dict[str, bytes]:
    from slipbench.figures.measured_fit import draw_alternatives
    from slipbench.figures.style import save

    drawn = save(draw_alternatives(found, distance))
    return {f"alternatives.{kind}": data for kind, data in drawn.items()}


def _page(
    arguments: argparse.Namespace,
    account: Account,
    found: Whatif,
    again: Any,
    residuals: str,
    text: str,
) -> str:
    from slipbench.figures.measured_fit import draw_alternatives, draw_overlay
    from slipbench.figures.measured_page import Section, measured_page
    from slipbench.figures.measured_sheet import draw_along_track, draw_measured_sheet
    from slipbench.figures.style import png
    from slipbench.measured.account import account_text, channel_table

    rail = account.unit.scenario
    fitted = [f"{value.path:<38} {value.value!s:<24.24} {value.source}" for value in rail.values()
              if value.path.startswith("rail.sections.0.")]  # fmt: skip
    sections = [
        Section("The log", channel_table(account.log)),
        Section("What it shows", account_text(account), [
            (png(draw_measured_sheet(account)), "the stop beside its bands"),
            (png(draw_along_track(account)), "adhesion met along the track by axle")]),
        Section("The rail (its first section)", "\n".join(fitted)),
        Section("Reproduced", residuals, [
            (png(draw_overlay(account, again)), "every wheel of the model over that of the log")]),
        Section("What would have been", text, [
            (png(draw_alternatives(found, again.distance)), "alternatives with their bands")]),
    ]  # fmt: skip
    words = ["slipbench", "whatif", arguments.log]
    for name in ("train", "rail", "strategy", "driver"):
        words += [f"--{name}", getattr(arguments, name)]
    return measured_page(f"A measured stop: {account.log.source}", sections, shlex.join(words))
