"""What campaign commands work in: the file, the workers, what is said on the way out."""

from __future__ import annotations

import argparse
import shlex
import sqlite3
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from slipbench.commands.line import get_ready
from slipbench.commands.options import (
    FOLDER,
    MOST_WORKERS,
    add_overwrite,
    add_stop_limit,
    count,
    files_read,
    stop_limit,
    whole_number,
)
from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown
from slipbench.results.files import RESULT_SUFFIXES, named_path, refuse_foreign, refuse_input

if TYPE_CHECKING:
    from slipbench.campaign.rig import Rig
    from slipbench.campaign.store import Store
    from slipbench.running.runners import Runner
    from slipbench.scenario import Scenario
    from slipbench.statistics.designs import Space
    from slipbench.strategies.registry import Known


def add_campaign_options(parser: argparse.ArgumentParser, has_one_file: bool = True) -> None:
    """Add what the commands that fill a campaign file share."""
    if has_one_file:
        parser.add_argument(
            "--export", metavar="FILE", help="write all stops to a .csv or .parquet file as well"
        )
    parser.add_argument("--seeds", type=count, default=1, metavar="N", help="runs of each pair (1)")
    parser.add_argument(
        "--design-seed",
        type=whole_number,
        default=0,
        metavar="N",
        help="of designs, random rails (0)",
    )
    parser.add_argument("--out", metavar="FILE", help="campaign file, resumed if it is there")
    parser.add_argument("--branch", default="main", metavar="NAME", help="of the campaign file")
    parser.add_argument("--workers", type=_worker_count, metavar="N", help="processes (one a core)")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="run on a Dask cluster instead")
    parser.add_argument("--device", choices=["cuda"], help="run on this machine's GPUs instead")
    add_stop_limit(parser)
    parser.add_argument("--quiet", action="store_true", help="no progress")
    add_overwrite(parser)


def _worker_count(text: str) -> int:
    value = whole_number(text)
    if not 1 <= value <= MOST_WORKERS:
        raise argparse.ArgumentTypeError(f"{text!r}; allowed: 1 to {MOST_WORKERS}")
    return value


def ready() -> None:
    """Compile what runs stops, before anything is opened."""
    get_ready(["slipbench.stop.simulation"], ["loop.run_compiled"], undone="nothing was run")


def varied(
    texts: Sequence[str],
    strategies: Sequence[Known],
    scenarios: Sequence[Scenario],
    default: Space = (),
) -> Space:
    """Return the factors of `--vary`; `say_varied` tells them once nothing is refused any more.

    Parameters
    ----------
    texts : sequence of str
    strategies : of Known      their parameters may be meant
    scenarios : of Scenario    that are varied
    default : Space            where nothing was given, as far as all the scenarios allow it
    """
    from slipbench.campaign.factors import read_factor
    from slipbench.campaign.variation import fitted
    from slipbench.strategies.registry import refuse_twice

    controllers = [known.controller for known in strategies]
    factors = tuple(read_factor(text, controllers)[0] for text in texts)
    refuse_twice("factors", [(factor.name, "--vary") for factor in factors])
    factors = factors or fitted(default, scenarios)
    return factors


def say_varied(space: Space, strategies: Sequence[Known]) -> None:
    """Say on stderr what is varied, and between what."""
    from slipbench.campaign.factors import factor_lines

    for line in factor_lines(space, [known.controller for known in strategies]):
        print(line, file=sys.stderr)


def campaign_path(arguments: argparse.Namespace, name: str) -> Path:
    """Return the campaign file's path; the default folder is made when it is opened."""
    if arguments.out is not None:
        path = named_path(arguments.out)
        if path.suffix in RESULT_SUFFIXES:
            raise InputError(
                f"--out {path}: results beside the campaign file end in {path.suffix}; "
                "name it otherwise, such as .sqlite"
            )
        return path
    return FOLDER / f"{name}.sqlite"


def make_folder(folder: Path) -> None:
    """Make a folder for results, or say in one line why it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise InputError(f"folder {folder}: cannot be made: {problem.strerror}") from problem


@contextmanager
def opened(arguments: argparse.Namespace, name: str, n_stops: int = 0) -> Iterator[Rig]:
    """Open the campaign file, the workers and a bar; say what is stored if Ctrl-C comes.

    Parameters
    ----------
    name : str      of the campaign, and of its file unless `--out` says otherwise
    n_stops : int   of the bar; 0: none is shown
    """
    from slipbench.campaign.campaign import mixture_notes
    from slipbench.campaign.export import write_export
    from slipbench.campaign.rig import Rig
    from slipbench.campaign.store import Store
    from slipbench.running.progress import progress

    limit = stop_limit(arguments)
    export, path = _export_path(arguments), _checked_path(arguments, name)
    is_new = not path.exists()
    with (
        Store(path, arguments.branch, command=typed_command()) as store,
        _ended_well(store, is_new),
    ):
        runner = _runner(arguments, limit)
        try:
            with progress(n_stops, is_quiet=arguments.quiet or not n_stops) as bar:
                yield Rig(store, runner, bar)
            if name != "campaign":  # which compares them itself
                for note in store.comparison or mixture_notes(store):
                    print(note, file=sys.stderr)
            if export is not None:
                n_rows = write_export(store, export)
                print(f"{n_rows} rows written to {export}", file=sys.stderr)
        finally:
            runner.close()


def _runner(arguments: argparse.Namespace, limit: float) -> Runner:
    from slipbench.running.runners import make_runner

    if arguments.device is None:
        return make_runner(arguments.workers, arguments.scheduler, limit)
    if arguments.scheduler is not None:
        raise InputError("--device and --scheduler: give one of them")
    from slipbench.device.runner import DeviceRunner

    return DeviceRunner(arguments.workers, limit)


def _export_path(arguments: argparse.Namespace) -> Path | None:
    """Return where `--export` writes; refuse what it may not."""
    from slipbench.campaign.export import check_export

    if arguments.export is None:
        return None
    export = named_path(arguments.export, "--export")
    check_export(export, arguments.overwrite)
    refuse_input(export, "--export", files_read(arguments))
    return export


def _checked_path(arguments: argparse.Namespace, name: str) -> Path:
    """Return the campaign file, its folder made; refuse what it and its branch may not be."""
    path = campaign_path(arguments, name)
    refuse_input(path, "--out", files_read(arguments))
    if not arguments.branch.strip() or not arguments.branch.isprintable():
        raise InputError(f"--branch {shown(arguments.branch)}: must be a name")
    if arguments.out is None:
        make_folder(FOLDER)
    return path


@contextmanager
def _ended_well(store: Store, is_new: bool) -> Iterator[None]:
    """Say what is stored where work is broken off; leave no file that holds nothing."""
    try:
        yield
    except KeyboardInterrupt as end:
        said = f"; {len(store)} stops stored in {store.path}; the same command resumes"
        raise type(end)(said) from None
    except InputError:
        if is_new and not len(store):
            store.discard()
        raise
    except (sqlite3.Error, UnicodeError) as problem:  # a full disk, or a file damaged meanwhile
        raise InputError(
            f"campaign {store.path}: cannot be used any longer: {problem}; what is intact in it "
            "stays"
        ) from problem


def typed_command() -> str:
    """Return the line that started this process, as a shell would take it."""
    return shlex.join(["slipbench", *sys.argv[1:]])


def picture_place(arguments: argparse.Namespace, name: str) -> Path:
    """Return where the picture of a campaign stands: beside its file, which it is named after.

    Raises
    ------
    InputError   if something not of ours is there
    """
    beside = campaign_path(arguments, name).with_suffix(".png")
    for path in (beside, beside.with_suffix(".svg")):
        refuse_foreign(path, arguments.overwrite, makes_folder=arguments.out is None)
    return beside


def write_picture(beside: Path, draw: Callable[[], Any]) -> str:
    """Draw and write a picture as PNG and SVG beside a file; return their names."""
    from slipbench.commands.line import drawn_or_refused
    from slipbench.figures.style import save
    from slipbench.results.files import write_file

    written = []
    for kind, data in drawn_or_refused(lambda: save(draw())).items():
        path = beside.with_suffix(f".{kind}")
        write_file(path, data)
        written.append(str(path))
    return ", ".join(written)
