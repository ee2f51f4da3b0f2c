"""The commands of guidance: braking points by speed, by route, and whether to hold or to ease.

Light to import; whatever is heavy is imported inside the functions.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from slipbench.commands.line import get_ready, picture_names, results_folder
from slipbench.commands.options import (
    add_out,
    add_scenario,
    add_stop_limit,
    add_strategy,
    add_workers,
    check_workers,
    count,
    read_scenario,
    read_strategy,
    seed_number,
    stop_limit,
)
from slipbench.commands.parser import TEACH, Commands
from slipbench.commands.session import typed_command
from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown

if TYPE_CHECKING:
    from slipbench.guidance.answer import Answer
    from slipbench.guidance.leads import Travel
    from slipbench.guidance.points import Question
    from slipbench.guidance.runs import Runs
    from slipbench.strategies.registry import Known

POINTS = "braking-points"
STORE = "stops.sqlite"
"""The stops behind the results, beside them: the same command goes on where it was stopped."""

POINT_FILES = (
    "braking-points.csv", "card.html", "sheet.html", *picture_names("braking_points"),
    *picture_names("braking_walk"),
)  # fmt: skip
ROUTE = "route"
ROUTE_FILES = ("route.csv", "driver-card.html", "manager-sheet.html", *picture_names("route"))
MOST_SPEEDS = 12
FEWEST_DRAWS, MOST_DRAWS = 3, 4096
QUICK_DRAWS = 24


def add_parsers(commands: Commands) -> None:
    """Add the commands."""
    points = commands.add_parser(
        POINTS,
        group=TEACH,
        help="how much earlier to brake on a poor rail, by speed and gradient, and how sure",
    )
    add_scenario(points, "?", "; several, as 40mph,75mph, for those alone", "autumn_guide")
    add_strategy(points, default="slip_band")
    points.add_argument(
        "--step", type=count, metavar="N", help="brake step, held (the scenario's driver)"
    )
    points.add_argument(
        "--gradient", metavar="A[,B]", help="gradients, uphill positive (-2%%,-1%%,0%%,1%%,2%%)"
    )
    points.add_argument(
        "--top-speed", default="125mph", metavar="SPEED",
        help="of the train; no faster speed is asked for (125mph, assumed)",
    )  # fmt: skip
    points.add_argument(
        "--state", action="append", default=[], metavar="WORDS=SCENARIO",
        help="a rail state in words and the scenario whose rail it is, besides good, wet, autumn "
        "and very poor",
    )  # fmt: skip
    points.add_argument(
        "--as-shipped", action="store_true",
        help="take the autumn rail as it is, not calibrated to 300 yards from 75 mph",
    )  # fmt: skip
    _add_confidence(points)
    points.add_argument(
        "--quick", action="store_true", help="40 and 75 mph on the level, few draws, no range"
    )
    add_out(points, POINTS)
    points.set_defaults(act=points_command)
    _add_route(commands)


def _add_route(commands: Commands) -> None:
    route = commands.add_parser(
        ROUTE,
        group=TEACH,
        help="braking points of every stop of a route, by rail state: a driver's card, a sheet",
    )
    route.add_argument("route", metavar="ROUTE", help="a TOML file, or a shipped name (elderwick)")
    add_strategy(route, default="slip_band")
    route.add_argument("--month", metavar="NAME", help="such as November (the file's)")
    route.add_argument(
        "--redeposited", metavar="SHARE",
        help="of the film that is laid down again between two trains, such as 30%% (0%%)",
    )  # fmt: skip
    route.add_argument(
        "--no-range", action="store_true",
        help="one creep curve and cleaning law a film: no range, in half the time",
    )  # fmt: skip
    _add_confidence(route, 40)
    add_out(route, ROUTE)
    route.set_defaults(act=route_command)


def route_command(arguments: argparse.Namespace) -> int:
    """Work out a route; print it, write the driver's card, the manager's sheet and the picture."""
    from dataclasses import replace

    from slipbench.guidance.route import MONTHS, read_route

    route = read_route(arguments.route)
    if arguments.month is not None:
        if arguments.month not in MONTHS:
            raise InputError(f"--month {shown(arguments.month)}; allowed: {', '.join(MONTHS)}")
        route = replace(route, month=arguments.month)
    folder = results_folder(arguments.out, ROUTE, list(ROUTE_FILES), arguments.overwrite)
    check_workers(arguments.workers)
    stop_limit(arguments)
    travel, known = _travel(arguments, route.scenario)
    modules = ["slipbench.guidance.timetable", "slipbench.stop.simulation"]
    get_ready(modules, ["loop.run_compiled"], [known])
    from slipbench.guidance.timetable import n_items, run_route, timetable_csv, timetable_text
    from slipbench.running.pool import n_cores
    from slipbench.running.progress import progress

    with_range = not arguments.no_range
    n_asked = n_items(route, travel, with_range)
    with progress(n_asked, "films in other shapes, stations", arguments.quiet) as bar:
        table = run_route(route, travel, arguments.workers or n_cores(), bar.done, with_range)
    files = {"route.csv": timetable_csv(table).encode()}

    def draw() -> dict[str, bytes]:
        from slipbench.figures import style
        from slipbench.figures.route import draw_route, route_card, route_sheet

        picture = style.save(draw_route(table))
        made = {f"route.{kind}": data for kind, data in picture.items()}
        made["driver-card.html"] = route_card(table).encode()
        made["manager-sheet.html"] = route_sheet(table, picture["svg"], typed_command()).encode()
        return made

    deliver_guidance(timetable_text(table), folder, files, arguments, draw, ROUTE)
    return 0


def _travel(arguments: argparse.Namespace, scenario: str) -> tuple[Travel, Known]:
    from slipbench.guidance.leads import Travel
    from slipbench.guidance.line import films
    from slipbench.guidance.spread import read_spread
    from slipbench.running.candidate import candidate_of
    from slipbench.scenario import load_scenario
    from slipbench.scenario.units import parse_value

    known = read_strategy(arguments.strategy, arguments.compile)
    redeposited = 0.0
    if arguments.redeposited is not None:
        try:
            redeposited = parse_value(arguments.redeposited, "-")
        except InputError as problem:
            raise InputError(f"--redeposited {problem}") from None
        if not 0.0 <= redeposited <= 1.0:
            raise InputError(f"--redeposited {shown(arguments.redeposited)}; allowed: 0% to 100%")
    n_draws = 40 if arguments.draws is None else arguments.draws
    if not FEWEST_DRAWS <= n_draws <= MOST_DRAWS:
        raise InputError(f"--draws {n_draws}; allowed: {FEWEST_DRAWS} to {MOST_DRAWS}")
    travel = Travel(
        load_scenario(scenario), candidate_of(known), films(), read_spread(arguments.spread),
        read_confidence(arguments.confidence), n_draws, arguments.seed, redeposited,
    )  # fmt: skip
    return travel, known


def _add_confidence(parser: argparse.ArgumentParser, n_draws: int = 128) -> None:
    parser.add_argument(
        "--confidence", metavar="SHARE",
        help="of stops that must end before the platform does, such as 90%% (95%%)",
    )  # fmt: skip
    add_draws(parser, n_draws)


def add_draws(parser: argparse.ArgumentParser, n_draws: int) -> None:
    """Add what is drawn, how often, and how it is run."""
    parser.add_argument(
        "--spread", action="append", default=[], metavar="KEY=VALUE",
        help="of rail, equipment and driver: friction, recovery, wear, reaction, reaction_scatter",
    )  # fmt: skip
    parser.add_argument("--draws", type=count, metavar="N", help=f"circumstances drawn ({n_draws})")
    parser.add_argument("--seed", type=seed_number, default=0, help="of the draws (0)")
    add_workers(parser)
    add_stop_limit(parser)
    parser.add_argument("--quiet", action="store_true", help="no progress")


def points_command(arguments: argparse.Namespace) -> int:
    """Work out braking points; print the table, write card, sheet and pictures."""
    folder = results_folder(arguments.out, POINTS, list(POINT_FILES), arguments.overwrite)
    check_workers(arguments.workers)
    limit = stop_limit(arguments)
    question, reference = _questions(arguments)
    speeds, rises = _speeds(arguments), _rises(arguments)
    get_ready(["slipbench.guidance.answer"], ["loop.run_compiled"], undone="nothing was run")
    from slipbench.guidance.answer import answer, most_stops
    from slipbench.guidance.tell import answer_csv, answer_text

    n_places = len(question.rails) * len(speeds) * len(rises)
    n_stops = most_stops(question, n_places, not arguments.quick)
    with opened_runs(folder, arguments, n_stops, limit) as runs:
        found = answer(question, reference, speeds, rises, runs, not arguments.quick)
    text = answer_text(found)
    files = {"braking-points.csv": answer_csv(found).encode()}
    deliver_guidance(text, folder, files, arguments, lambda: _point_pages(found, files))
    return 0


def _point_pages(found: Answer, files: dict[str, bytes]) -> dict[str, bytes]:
    from slipbench.figures import style
    from slipbench.figures.braking_points import draw_points, points_card, points_sheet
    from slipbench.figures.braking_walk import draw_walk, walk_of
    from slipbench.guidance.shapes import ANCHOR
    from slipbench.guidance.states import AUTUMN, GOOD

    pictures = {"braking_points": style.save(draw_points(found))}
    poor = [s for s in found.states if s != GOOD]
    if poor:
        state = AUTUMN if AUTUMN in poor else poor[-1]
        speed = min(ANCHOR, max(found.speeds))
        pictures["braking_walk"] = style.save(draw_walk(walk_of(found.question, state, speed)))
    made = {f"{n}.{kind}": data for n, kinds in pictures.items() for kind, data in kinds.items()}
    titles = {
        "braking_points": "How much earlier to brake, over speed",
        "braking_walk": "Why a poor rail takes longer",
    }
    shown_in_sheet = {titles[name]: kinds["svg"] for name, kinds in pictures.items()}
    made["card.html"] = points_card(found).encode()
    made["sheet.html"] = points_sheet(found, shown_in_sheet, typed_command()).encode()
    return made


def deliver_guidance(
    text: str,
    folder: Path,
    files: dict[str, bytes],
    arguments: argparse.Namespace,
    draw: Callable[[], dict[str, bytes]],
    command: str = POINTS,
) -> None:
    """Print what was found and write its files, pages and pictures last."""
    from slipbench.commands.line import deliver

    deliver(text, folder, files, command, arguments.overwrite, draw)


@contextmanager
def opened_runs(
    folder: Path, arguments: argparse.Namespace, n_stops: int, limit: float
) -> Iterator[Runs]:
    """Give runs whose stops are kept beside the results; say so if Ctrl-C comes."""
    from slipbench.campaign.rig import Rig
    from slipbench.campaign.store import Store
    from slipbench.commands.session import make_folder
    from slipbench.guidance.runs import Runs
    from slipbench.results.canonical import short_hash
    from slipbench.results.identity import versions_text
    from slipbench.running.progress import progress
    from slipbench.running.runners import make_runner

    make_folder(folder)
    path = folder / STORE
    # stops of other versions stay in the file, in a branch of their own
    branch = short_hash(versions_text())[:12]
    with Store(path, branch, command=typed_command()) as store:
        runner = make_runner(arguments.workers, None, limit)
        try:
            with progress(n_stops, is_quiet=arguments.quiet) as bar:
                yield Runs(Rig(store, runner, bar))
        except KeyboardInterrupt as end:
            said = f"; {len(store)} stops stored in {path}; the same command resumes"
            raise type(end)(said) from None
        finally:
            runner.close()


def _questions(arguments: argparse.Namespace) -> tuple[Question, Question | None]:
    """Return what is asked, and the train the rule of thumb is told of."""
    from dataclasses import replace

    from slipbench.guidance.points import Question
    from slipbench.guidance.spread import holding, read_spread
    from slipbench.guidance.states import AUTUMN, STATES, rails_of, read_states
    from slipbench.running.candidate import candidate_of
    from slipbench.scenario import load_scenario

    states = read_states(arguments.state)
    scenario = read_scenario(arguments.scenario, arguments, "75mph")
    if arguments.step is not None:
        most = scenario.brake.n_steps
        if arguments.step > most:
            raise InputError(f"--step {arguments.step}; allowed: 1 to {most}, the brake's steps")
        scenario = scenario.replace({"driver": holding(arguments.step)})
    _refuse_late(scenario.driver.programme)
    known = read_strategy(arguments.strategy, arguments.compile)
    n_draws = arguments.draws or (QUICK_DRAWS if arguments.quick else 128)
    if not FEWEST_DRAWS <= n_draws <= MOST_DRAWS:
        raise InputError(f"--draws {n_draws}; allowed: {FEWEST_DRAWS} to {MOST_DRAWS}")
    question = Question(
        scenario, candidate_of(known), rails_of(states), read_spread(arguments.spread),
        read_confidence(arguments.confidence), n_draws, arguments.seed,
    )  # fmt: skip
    is_own = states.get(AUTUMN) == STATES[AUTUMN] and not arguments.as_shipped
    if not is_own:
        return question, None
    from slipbench.strategies.registry import find_controller

    shipped = candidate_of(find_controller("slip_band"))
    reference = replace(question, scenario=load_scenario(STATES[AUTUMN]), candidate=shipped)
    return question, reference


def _refuse_late(programme: object) -> None:
    from slipbench.scenario import HandleEntry

    assert isinstance(programme, tuple)
    first = programme[0]
    assert isinstance(first, HandleEntry)
    if first.at_time is None or first.at_time > 0.0:
        raise InputError(
            "the scenario's driver does not begin to brake at the start (0 s); give --step, or "
            "--driver with one who does"
        )


def read_confidence(text: str | None) -> float:
    """Return the share of stops an option asks for, 0.5 to 0.999."""
    from slipbench.scenario.units import parse_value

    if text is None:
        return 0.95
    try:
        value = parse_value(text, "-")
    except InputError as problem:
        raise InputError(f"--confidence {problem}") from None
    if not 0.5 <= value <= 0.999:
        raise InputError(f"--confidence {shown(text)}; allowed: 50% to 99.9%, such as 95%")
    return value


def _speeds(arguments: argparse.Namespace) -> list[float]:
    """Return the speeds asked for, none above the train's own. [m/s]"""
    from slipbench.guidance.answer import SPEEDS
    from slipbench.guidance.points import MPH
    from slipbench.scenario.units import parse_speed

    top = parse_speed(arguments.top_speed)
    if arguments.speed is not None:
        found = [parse_speed(word) for word in arguments.speed.split(",")]
        beyond = [speed for speed in found if speed > top + 1e-9]
        if beyond:
            raise InputError(
                f"--speed {beyond[0] / MPH:.0f} mph is above the train's own, "
                f"{top / MPH:.0f} mph; --top-speed sets it"
            )
    else:
        usual = (40 * MPH, 75 * MPH) if arguments.quick else SPEEDS
        found = [speed for speed in usual if speed <= top + 1e-9] or [top]
    if len(set(found)) > MOST_SPEEDS:
        raise InputError(f"--speed: {len(set(found))} speeds; at most {MOST_SPEEDS}")
    if max(found) > 125 * MPH + 1e-9:
        raise InputError(f"--speed {max(found) / MPH:.0f} mph; allowed: up to 125 mph")
    return sorted(set(found))


def _rises(arguments: argparse.Namespace) -> list[float]:
    """Return the gradients asked for, rising ones positive. [-]"""
    from slipbench.guidance.answer import RISES
    from slipbench.scenario.units import parse_value

    if arguments.gradient is None:
        return [0.0] if arguments.quick else list(RISES)
    found = []
    for word in arguments.gradient.split(","):
        try:
            found.append(parse_value(word.strip(), "-"))
        except InputError as problem:
            raise InputError(f"--gradient {problem}") from None
        if not -0.05 <= found[-1] <= 0.05:
            raise InputError(f"--gradient {shown(word)}; allowed: -5% to 5%, with the sign %")
    return sorted(set(found))
