"""What all experiments share: command line, files, table, runs in any number of processes."""

import csv
import importlib
import io
import json
import math

import pytest
from tests.places import ROOT

from slipbench import load_scenario
from slipbench.commands.main import main
from slipbench.controllers import by_name
from slipbench.experiments import QUESTIONS, Listed, notebook
from slipbench.experiments.notebook import (
    Answer,
    Column,
    Experiment,
    Options,
    Run,
    as_csv,
    as_text,
    drawing,
)

COLUMNS = (Column("what"), Column("distance_run", "m", 1))
ROWS = ({"what": "a", "distance_run": 1.25}, {"what": "b", "distance_run": math.inf})


def answer(options: Options) -> Answer:
    with drawing(2.0) as (figure, axes):
        axes.plot([0, options.n_seeds])
    return Answer(
        COLUMNS, ROWS, f"{options.n_seeds} of {options.is_quick}.", {"toy": figure}, ["n"]
    )


TOY = Experiment("toy", "What of it?", answer, n_seeds=3)


def test_table_has_units_and_a_dash_where_nothing_stopped():
    text = as_text(answer(Options()))
    assert "[m]" in text
    assert text.splitlines()[-1] == "Answer: 1 of False."
    assert [line.split()[-1] for line in text.splitlines() if line[:2] in ("a ", "b ")] == [
        "1.2",
        "-",
    ]


def test_negative_nothing_is_written_as_nothing():
    rows = ({"what": "a", "distance_run": -0.01}, {"what": "b", "distance_run": -0.1})
    text = as_text(Answer(COLUMNS, rows, ""))
    assert "-0.0" not in text
    assert "-0.1" in text


def test_csv_has_units_and_full_numbers():
    rows = list(csv.reader(io.StringIO(as_csv(answer(Options())))))
    assert rows == [["what", "distance_run [m]"], ["a", "1.25"], ["b", "inf"]]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "3 of False."),
        (["--quick"], "1 of True."),
        (["--quick", "--seeds", "2"], "2 of True."),
        (["--seeds", "5"], "5 of False."),
    ],
)
def test_options_reach_the_experiment_and_files_are_written(arguments, said, tmp_path, capsys):
    folder = tmp_path / "out"
    assert TOY.main([*arguments, "--out", str(folder)]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("What of it?\n")
    assert f"Answer: {said}" in printed
    assert "approves nothing" in printed
    assert sorted(path.name for path in folder.iterdir()) == [
        "toy.csv",
        "toy.json",
        "toy.png",
        "toy.svg",
    ]
    assert json.loads((folder / "toy.json").read_text())["answer"] == said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--seeds", "0"], ["--seeds = 0", "1 to"]),
        (["--seeds", "many"], ["--seeds", "many"]),
        (["--speed", "9"], ["--speed"]),
    ],
)
def test_broken_line_is_one_line_and_exit_2(arguments, words, tmp_path, capsys):
    assert TOY.main([*arguments, "--out", str(tmp_path / "out")]) == 2
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert all(word in message for word in words)
    assert not (tmp_path / "out").exists()


def test_files_of_others_are_left_alone(tmp_path, capsys):
    (tmp_path / "toy.csv").write_text("mine")
    assert TOY.main(["--out", str(tmp_path)]) == 2
    assert "toy.csv" in capsys.readouterr().err
    assert (tmp_path / "toy.csv").read_text() == "mine"


def short_runs() -> list[Run]:
    short = load_scenario("wet_leaf").replace({"initial_speed": 5.0})
    return [Run(short, by_name("slip_band"), seed) for seed in range(2)]


def test_runs_keep_their_order():
    runs = short_runs()
    both = notebook.summaries(runs)
    assert both == [notebook.summaries([run])[0] for run in runs]


@pytest.mark.slow
def test_number_of_processes_changes_nothing(monkeypatch):
    runs = short_runs()
    here = notebook.summaries(runs)
    monkeypatch.setattr(notebook, "_FEW_RUNS", 0)
    assert notebook.summaries(runs) == here


def test_every_experiment_is_listed_with_its_question():
    shared = {"__init__", "asked", "everything", "notebook"}
    files = {p.stem for p in ROOT.glob("experiments/*.py")} - shared
    assert files == set(QUESTIONS)
    for name, question in QUESTIONS.items():
        module = importlib.import_module(f"slipbench.experiments.{name}")
        assert (module.EXPERIMENT.name, module.EXPERIMENT.question) == (name, question)


def test_the_command_lists_questions_and_hands_options_on(monkeypatch, capsys):
    assert main(["experiment"]) == 0
    told = capsys.readouterr().out
    assert all(name in told and question in told for name, question in QUESTIONS.items())
    given = []
    monkeypatch.setattr(Listed, "main", lambda self, argv: given.append((self.name, argv)) or 0)
    assert main(["experiment", "which_strategy", "--quick", "--seeds", "2"]) == 0
    assert given == [("which_strategy", ["--quick", "--seeds", "2"])]
    assert main(["experiment", "which_strateg"]) == 2
    assert "did you mean which_strategy" in capsys.readouterr().err
