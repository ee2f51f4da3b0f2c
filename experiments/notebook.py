"""What all experiments share: options, runs on all cores, table, CSV, picture, sentence.

An experiment is one module: its docstring says question, source, scenario and command; its
function `investigate(options)` returns an `Answer`; its last lines are

    EXPERIMENT = Experiment("what_if", "What if?", investigate)

    if __name__ == "__main__":
        sys.exit(EXPERIMENT.main())
"""

from __future__ import annotations

import argparse
import csv
import io
import math
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

from slipbench import Controller
from slipbench.commands.line import get_ready
from slipbench.commands.options import FOLDER
from slipbench.experiments.asked import NOTHING, PARTS, Asked, asked_now, asking
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored
from slipbench.results.cells import cell
from slipbench.results.output import check_folder, write_folder
from slipbench.results.tables import UNKNOWN, number, plain_table
from slipbench.running.pool import map_in_pool, n_cores
from slipbench.scenario import Scenario

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MPH, YARD = 0.44704, 0.9144
"""A mile an hour [m/s] and a yard [m], by definition."""

ASKED_FOR = {
    "train": ("FILE|NAME", "ask it of this train instead"),
    "rail": ("FILE|NAME", "ask it on this rail instead, alone"),
    "driver": ("FILE|NAME", "ask it of this way of driving instead"),
    "strategy": (
        "A[,B]",
        "ask it of this slip control instead; several if several stand in it",
    ),
}
"""Options for the parts of the user's own case: what stands for the value, and their help."""

MOST_SEEDS = 1000
_FEW_RUNS = 8
"""So few runs are done in this process: starting others takes longer."""

Row = Mapping[str, Any]
T = TypeVar("T")


@dataclass(frozen=True)
class Options:
    """What the command line asked for: a small version, and how many seeds (0 to n - 1)."""

    is_quick: bool = False
    n_seeds: int = 1


@dataclass(frozen=True)
class Column:
    """One column of the table: its key in the rows, its unit, and the decimals of its numbers."""

    name: str
    unit: str = ""
    decimals: int = 0


@dataclass(frozen=True)
class Answer:
    """What an experiment found.

    Attributes
    ----------
    columns : sequence of Column      of table and CSV; columns of text come first
    rows : sequence of mapping        column name to number or text, SI
    sentence : str                    the answer in one sentence, computed from the rows
    figures : mapping                 file name without ending, to figure
    notes : sequence of str           what must be known to read the table
    """

    columns: Sequence[Column]
    rows: Sequence[Row]
    sentence: str
    figures: Mapping[str, Figure] = field(default_factory=dict)
    notes: Sequence[str] = ()


@dataclass(frozen=True)
class Run:
    """One stop to be run."""

    scenario: Scenario
    controller: Controller
    seed: int = 0


@dataclass(frozen=True)
class Experiment:
    """A question, and the function that answers it.

    Attributes
    ----------
    name : str              of the module and of the files
    question : str
    investigate : function  of `Options`, returns an `Answer`
    n_seeds : int           unless the command line says otherwise; `--quick` takes one
    sets : mapping          parts (train, rail, driver, strategy) the question itself sets, and why;
                            all others may be the user's own
    """

    name: str
    question: str
    investigate: Callable[[Options], Answer]
    n_seeds: int = 1
    sets: Mapping[str, str] = field(default_factory=dict)

    def answer(self, options: Options, asked: Asked = NOTHING) -> Answer:
        """Return the answer, asked of the user's own parts.

        Raises
        ------
        InputError   for a part the question itself sets, or one that does not fit
        """
        for part in asked.words():
            if part in self.sets:
                raise InputError(f"--{part}: {self.name} sets it itself: {self.sets[part]}")
        with asking(asked):
            return self.investigate(options)

    def main(self, argv: Sequence[str] | None = None) -> int:
        """Run the experiment from its command line; return the exit code (0, 2 or 130)."""
        try:
            arguments = _parser(self).parse_args(argv)
            if not 1 <= arguments.seeds <= MOST_SEEDS:
                raise InputError(f"--seeds = {arguments.seeds}; allowed: 1 to {MOST_SEEDS}")
            is_default = arguments.seeds == self.n_seeds
            n_seeds = 1 if arguments.quick and is_default else arguments.seeds
            asked = Asked(*(getattr(arguments, part) for part in PARTS))
            self._publish(Options(arguments.quick, n_seeds), asked, Path(arguments.out))
            return 0
        except InputError as problem:
            print(f"{self.name}: {' '.join(str(problem).split())}", file=sys.stderr)
            return 2
        except KeyboardInterrupt:
            print(f"{self.name}: interrupted; nothing was written", file=sys.stderr)
            return 130

    def _publish(self, options: Options, asked: Asked, folder: Path) -> None:
        record, writer = f"{self.name}.json", f"slipbench.experiments.{self.name}"
        check_folder(
            folder, [f"{self.name}.{kind}" for kind in ("csv", "png", "svg")], record, writer
        )
        print(f"{self.question}\n", flush=True)
        get_ready(["slipbench.stop.simulation"], ["loop.run_compiled"], said="")
        answer = self.answer(options, asked)
        files = {f"{self.name}.csv": as_csv(answer).encode()} | _pictures(answer)
        content = {
            "question": self.question,
            "answer": answer.sentence,
            "is_quick": options.is_quick,
            "n_seeds": options.n_seeds,
            **asked.words(),
        }
        print(as_text(answer), flush=True)
        with interrupts_ignored():
            write_folder(folder, files, record, writer, content)
        print(f"\nwritten to {folder}: {', '.join((record, *files))}\n\n{CAUTION}", flush=True)


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        raise InputError(f"{message}; see {self.prog} --help")


def _parser(experiment: Experiment) -> argparse.ArgumentParser:
    parser = _Parser(
        prog=f"python -m slipbench.experiments.{experiment.name}",
        description=experiment.question,
        epilog=CAUTION,
        allow_abbrev=False,
    )
    parser.add_argument("--quick", action="store_true", help="a small version, in seconds")
    folder = FOLDER / experiment.name
    parser.add_argument("--out", metavar="DIR", default=folder, help=f"for the results ({folder})")
    parser.add_argument(
        "--seeds",
        type=int,
        default=experiment.n_seeds,
        help=f"sampling phases and tooth angles to average over ({experiment.n_seeds})",
    )
    for part, (metavar, said) in ASKED_FOR.items():
        own = f"; here {experiment.sets[part]}" if part in experiment.sets else ""
        parser.add_argument(f"--{part}", metavar=metavar, help=f"{said}{own}")
    return parser


def summaries(runs: Sequence[Run]) -> list[dict[str, Any]]:
    """Run stops, on all cores where there are many, and return their summaries in order.

    The numbers depend on scenario, strategy and seed only, so the number of cores changes nothing.
    """
    return in_parallel(_summary, runs)


def in_parallel(function: Callable[[Run], T], runs: Sequence[Run]) -> list[T]:
    """Call a module's function with every run, on all cores where there are many, in order."""
    if len(runs) <= _FEW_RUNS or asked_now().is_own_code:
        return [function(run) for run in runs]
    return map_in_pool(function, runs, n_cores())


def over_seeds(
    cases: Sequence[tuple[Scenario, Controller]], n_seeds: int
) -> list[list[dict[str, Any]]]:
    """Run every case with seeds 0 to n_seeds - 1; return each case's summaries, seeds in order."""
    found = summaries([Run(*case, seed) for case in cases for seed in range(n_seeds)])
    return [found[i : i + n_seeds] for i in range(0, len(found), n_seeds)]


def distance_of(summary: Mapping[str, Any]) -> float:
    """Return the stopping distance, infinite for a train that did not stop. [m]"""
    return float(summary["stopping_distance"]) if summary["is_stopped"] else math.inf


def _summary(run: Run) -> dict[str, Any]:
    from slipbench import simulate

    return dict(simulate(run.scenario, run.controller, run.seed, with_traces=False).summary)


def as_text(answer: Answer) -> str:
    """Return table, notes and sentence for a terminal."""
    headers = [_header(column) for column in answer.columns]
    rows = [[_cell(row[c.name], c) for c in answer.columns] for row in answer.rows]
    is_text = [isinstance(answer.rows[0][c.name], str) for c in answer.columns]
    n_left = is_text.index(False) if False in is_text else len(is_text)
    lines = [plain_table(headers, rows, n_left), *(f"\n{note}" for note in answer.notes)]
    return "\n".join([*lines, "", f"Answer: {answer.sentence}"])


def _header(column: Column) -> str:
    lines = column.name.replace("_", " ").split(" ")
    return "\n".join([*lines, f"[{column.unit}]" if column.unit else ""]).rstrip()


def _cell(value: Any, column: Column) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = number(float(value), column.decimals)
    return text.removeprefix("-") if text.strip("-0.") == "" and text != UNKNOWN else text


def as_csv(answer: Answer) -> str:
    """Return the rows as CSV, units in the head, numbers in full."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([f"{c.name} [{c.unit}]" if c.unit else c.name for c in answer.columns])
    writer.writerows([cell(row[c.name]) for c in answer.columns] for row in answer.rows)
    return stream.getvalue()


def _pictures(answer: Answer) -> dict[str, bytes]:
    from slipbench.figures import style

    files: dict[str, bytes] = {}
    for name, figure in answer.figures.items():
        files |= {f"{name}.{kind}": data for kind, data in style.save(figure).items()}
    return files


@contextmanager
def drawing(height: float, **layout: Any) -> Iterator[tuple[Figure, Any]]:
    """Give a figure in the project's look and its axes; add the caution when the body is done.

    Parameters
    ----------
    height : float   [inch]; the width is that of a page
    **layout         `nrows`, `ncols`, `sharex`, `width_ratios` ... of `Figure.subplots`
    """
    from slipbench.figures import style

    with style.styled():
        figure = style.new_figure(height)
        axes = figure.subplots(**layout)
        yield figure, axes
        figure.tight_layout(rect=(0.0, 0.22 / height, 1.0, 1.0))
        style.write_caution(figure)
