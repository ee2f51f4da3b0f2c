"""The commands `new`, `keys` and `check`: files of one's own, written, looked up and checked.

They raise `InputError` for what cannot be used. Slow imports stand inside the functions.
"""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from slipbench.commands.line import deliver, get_ready, picture_names, results_folder
from slipbench.commands.options import add_out, add_overwrite, read_strategy
from slipbench.commands.own_texts import driver_text, rail_text, train_text
from slipbench.commands.parser import OWN_TRAIN, Commands
from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown

if TYPE_CHECKING:
    from slipbench.scenario.checking import Checked

KINDS = ("train", "rail", "driver", "scenario", "strategy")
MOST_TOLD = 20
"""Mistakes of a file that are told; of more their number."""

_COMPILED = ("loop.run_compiled",)


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    new = commands.add_parser(
        "new", group=OWN_TRAIN, help="write a train, rail, driver, scenario or strategy to change"
    )
    new.add_argument("kind", metavar="KIND", help=f"one of: {', '.join(KINDS)}")
    new.add_argument("file", metavar="FILE", help="the file written (.toml; .py for a strategy)")
    new.add_argument(
        "--from",
        dest="base",
        metavar="NAME",
        help="shipped train, rail, driver or scenario its values are taken from (an invented unit "
        "of four cars, wet leaf, full service, dry rail)",
    )
    add_overwrite(new)
    new.set_defaults(act=new_command)

    keys = commands.add_parser(
        "keys", group=OWN_TRAIN, help="tell the keys of a file: spelling, unit, range, meaning"
    )
    keys.add_argument("word", nargs="?", metavar="PART|KEY", help="a table or a key (all tables)")
    keys.set_defaults(act=keys_command)

    check = commands.add_parser(
        "check", group=OWN_TRAIN, help="find every mistake of a file, and say what it makes"
    )
    check.add_argument("file", metavar="FILE", help="a train, rail, driver or scenario file")
    add_out(check, "check")
    check.set_defaults(act=check_command)


def new_command(arguments: argparse.Namespace) -> int:
    """Write an annotated file that runs as it is."""
    from slipbench.results.files import named_path, refuse_foreign, write_file

    kind = arguments.kind
    if kind not in KINDS:
        raise InputError(f"new {shown(kind)}: no such kind; allowed: {', '.join(KINDS)}")
    path = named_path(arguments.file, "FILE")
    suffix = ".py" if kind == "strategy" else ".toml"
    if path.suffix != suffix:
        raise InputError(f"new {kind} {shown(arguments.file)}: must end in {suffix}")
    if kind == "strategy" and arguments.base is not None:
        raise InputError("new strategy --from: copy the file of a shipped one instead, such as "
                         "slipbench guide own-strategy shows")  # fmt: skip
    refuse_foreign(path, arguments.overwrite)
    if kind == "strategy":
        from slipbench.guide.pages import first_code

        text = first_code("own-strategy").replace('name="my_idea"', f'name="{_word(path.stem)}"')
        then = f"slipbench stop wet_leaf --strategy {shlex.quote(str(path))}"
    else:
        from slipbench.results.template import template

        try:
            text = template(kind, str(path), arguments.base)
        except InputError as problem:
            raise InputError(str(problem).replace(f"--{kind}: ", "--from: ", 1)) from None
        then = f"slipbench check {shlex.quote(str(path))}"
    write_file(path, text.encode())
    print(f"written: {path}\nnext: {then}")
    return 0


def _word(stem: str) -> str:
    """Return a file's name as a name of a strategy."""
    word = "".join(c if c.isascii() and (c.isalnum() or c == "_") else "_" for c in stem)
    return word if word[:1].isalpha() else f"my_{word}"


def keys_command(arguments: argparse.Namespace) -> int:
    """Print spelling, unit, range, default and meaning of keys."""
    from slipbench.guide.key_list import keys_text

    print(keys_text(arguments.word))
    return 0


def check_command(arguments: argparse.Namespace) -> int:
    """Print every mistake of a file, one line each; if there is none, what it makes."""
    from slipbench.scenario.checking import check_file

    checked = check_file(Path(arguments.file))
    if checked.scenario is None:
        return _tell_mistakes(arguments.file, checked)
    print(f"{arguments.file}: a {checked.kind} file without a mistake\n")
    if checked.kind in ("rail", "driver"):
        return _show_part(arguments, checked)
    return _show_train(arguments, checked)


def _show_part(arguments: argparse.Namespace, checked: Checked) -> int:
    """Print what a rail or a driver is, and draw it."""
    kind, scenario = checked.kind, checked.scenario
    assert scenario is not None
    folder = results_folder(arguments.out, "check", picture_names(kind), arguments.overwrite)
    known = read_strategy("none", compile_files=False)
    get_ready(["slipbench.figures.own_sheets"], _COMPILED, [known])

    def draw() -> dict[str, bytes]:
        from slipbench.figures import style
        from slipbench.figures.own_sheets import draw_driver_sheet, draw_rail_sheet
        from slipbench.stop.simulation import simulate

        if kind == "rail":
            figure = draw_rail_sheet(scenario)
        else:
            figure = draw_driver_sheet(simulate(scenario, known.controller))
        return {f"{kind}.{ending}": data for ending, data in style.save(figure).items()}

    told = rail_text if kind == "rail" else driver_text
    text = f"{told(scenario)}\n\n{_next(kind, arguments.file)}"
    deliver(text, folder, {}, "check", arguments.overwrite, draw)
    return 0


def _show_train(arguments: argparse.Namespace, checked: Checked) -> int:
    """Run the train on dry rail, print what it can do and draw it."""
    scenario = checked.scenario
    assert scenario is not None
    names = [
        *picture_names("train"),
        *(picture_names("rail") if checked.kind == "scenario" else []),
    ]
    folder = results_folder(arguments.out, "check", names, arguments.overwrite)
    known = read_strategy("none", compile_files=False)
    get_ready(["slipbench.stop.abilities"], _COMPILED, [known])
    from slipbench.running.progress import progress
    from slipbench.stop.abilities import SPEEDS, find_abilities

    with progress(scenario.brake.emergency_position * len(SPEEDS)) as bar:
        found = find_abilities(scenario, known.controller, tell=bar.done)

    def draw() -> dict[str, bytes]:
        from slipbench.figures import style
        from slipbench.figures.own_sheets import draw_rail_sheet
        from slipbench.figures.train_sheet import draw_train_sheet

        drawn = {"train": draw_train_sheet(found)}
        if checked.kind == "scenario":
            drawn["rail"] = draw_rail_sheet(scenario)
        return {
            f"{name}.{kind}": data
            for name, figure in drawn.items()
            for kind, data in style.save(figure).items()
        }

    shown = f"{scenario!r}\n\n" if checked.kind == "scenario" else ""
    text = f"{shown}{train_text(found)}\n\n{_next(checked.kind, arguments.file)}"
    deliver(text, folder, {}, "check", arguments.overwrite, draw)
    return 0


def _next(kind: str, file: str) -> str:
    """Return what to do with a file that can be used."""
    name = shlex.quote(file)
    options = {"train": f"wet_leaf damp_oxide --train {name}", "rail": f"wet_leaf --rail {name}"}
    options["driver"] = f"wet_leaf --driver {name}"
    return f"next: slipbench compare {options.get(kind, name)}"


def _tell_mistakes(file: str, checked: Checked) -> int:
    problems = checked.problems
    for problem in problems[:MOST_TOLD]:
        print(problem)
    left = len(problems) - MOST_TOLD
    more = f", the first {MOST_TOLD} of them told" if left > 0 else ""
    raise InputError(f"{file}: {len(problems)} mistake{'s' * (len(problems) > 1)}{more}")
