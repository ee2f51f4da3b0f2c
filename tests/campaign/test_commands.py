"""The commands, run in this process on small scenarios."""

import argparse
import sqlite3

import pytest

from slipbench.campaign.store import Store
from slipbench.campaign.tuning.tuned_reader import load_tuned
from slipbench.commands import campaign, studies, tuning, verdict
from slipbench.commands.parser import Commands
from slipbench.ground.errors import InputError
from slipbench.results.scenario_file import scenario_file
from slipbench.scenario import load_scenario
from slipbench.strategies.registry import find_controller


@pytest.fixture
def run(small, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "small.toml").write_text(scenario_file(small), encoding="utf-8")

    def act(line):
        parser = argparse.ArgumentParser(exit_on_error=False)
        commands = Commands(parser, parser_class=argparse.ArgumentParser)
        for family in (campaign, tuning, studies, verdict):
            family.add_parsers(commands)
        arguments = parser.parse_args([*line.split(), "--workers", "1", "--quiet"])
        return arguments.act(arguments)

    return act


def test_campaign_runs_resumes_and_exports(run, tmp_path, capsys):
    line = "campaign small.toml --strategy slip_band,none --random-rails 2 --export c.csv"
    assert run(line) == 0
    first = capsys.readouterr().out
    assert "4 stops: 4 run now" in first and "approves nothing" in first
    assert len((tmp_path / "c.csv").read_text(encoding="utf-8").splitlines()) == 5
    assert run(line) == 0
    assert "0 run now, 4 found stored" in capsys.readouterr().out
    with pytest.raises(InputError, match=r"small\.0\.0' has changed.*--branch"):
        run(f"{line} --speed 9m/s")
    assert run(f"{line} --speed 9m/s --branch slower") == 0


def test_a_smaller_campaign_is_judged_by_its_own_stops(run, capsys):
    line = "campaign small.toml --strategy slip_band,none --objectives distance"
    run(f"{line} --random-rails 3 --seeds 2")
    capsys.readouterr()
    run(f"{line} --random-rails 2")
    text = capsys.readouterr().out
    assert "2 stops" not in text and "4 stops: 0 run now" in text and "; 2 rails" in text


def test_campaign_varies_parameters_and_assumptions(run, capsys):
    vary = "--vary fill_slip=0.05,0.1 --vary film.friction=0.5:1 --design grid --points 2"
    assert run(f"campaign small.toml --strategy slip_band {vary} --objectives distance") == 0
    assert "6 stops: 6 run now" in capsys.readouterr().out


def test_tune_writes_what_other_commands_read(run, tmp_path, capsys):
    options = "--trade distance --training 2 --held-out 2 --budget 44 --parameters fill_slip"
    assert run(f"tune small.toml --strategy slip_band {options} --out t.sqlite") == 0
    text = capsys.readouterr().out
    assert "Held-out rails (2)" in text
    assert load_tuned(tmp_path / "t.toml").name == "slip_band"
    assert {"t.png", "t.svg"} <= {path.name for path in tmp_path.iterdir()}
    assert run("campaign small.toml --strategy slip_band,t.toml --random-rails 2") == 0
    assert "slip_band@t" in capsys.readouterr().out
    known = find_controller(str(tmp_path / "t.toml"))  # as every other command finds it
    tuned = load_tuned(tmp_path / "t.toml")
    assert known.controller.name == "slip_band@t"
    assert known.controller.values == tuned.values != find_controller("slip_band").controller.values


def test_sensitivity_names_the_factors(run, capsys):
    options = "--vary film.friction=0.5:2:log --size 1 --objectives distance"
    assert run(f"sensitivity small.toml --strategy slip_band {options}") == 0
    assert "film.friction" in capsys.readouterr().out


def test_worst_rail_writes_a_scenario(run, tmp_path, capsys):
    options = "--budget 13 --patches 1 --harm distance --to worst.toml"
    assert run(f"worst-rail small.toml --strategy none {options}") == 0
    assert "written: worst.toml" in capsys.readouterr().out
    assert load_scenario(tmp_path / "worst.toml").rail.sections[0].friction < 0.03


def test_verdict_names_what_it_hangs_on_and_draws_the_plane(run, tmp_path, capsys):
    vary = "--vary film.friction=0.5:2:log --vary equipment.wear=0:2"
    options = f"{vary} --size 4 --nodes 2 --each 2 --out v.sqlite"
    assert run(f"verdict small.toml --strategy slip_band --eased-to 1 {options}") == 0
    text = capsys.readouterr().out
    assert "held stops shorter than eased to step 1 in" in text and "plane of" in text
    assert {"v.txt", "v.png", "v.svg"} <= {path.name for path in tmp_path.iterdir()}


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("verdict small.toml --strategy slip_band", "compares two strategies"),
        ("verdict small.toml --strategy none,slip_band --eased-to 1", "name one strategy"),
        ("verdict small.toml --strategy none,none", "name two different"),
        ("verdict small.toml --strategy none,slip_band --size 5", "a power of two"),
        ("verdict small.toml --strategy none,slip_band --vary film.friction=1:2", "two or more"),
        ("verdict small.toml --strategy none --eased-to 9", "allowed: 0 to 3"),
        ("campaign none.toml", "no such file"),
        ("campaign small.toml --strategy slip_bend", "did you mean slip_band"),
        ("campaign small.toml --strategy none --vary x", "write KEY=LOW:HIGH"),
        ("campaign small.toml --strategy none --objectives speed", "objective 'speed'"),
        ("campaign small.toml --strategy none --baseline x", "--baseline 'x'"),
        ("tune small.toml --strategy none --budget 100", "no parameters to vary"),
        ("worst-rail small.toml --strategy none --friction 0.1", "write LOW:HIGH"),
        ("worst-rail small.toml --strategy none --friction 0.2:0.1", "lower one first"),
        ("sensitivity small.toml --strategy slip_band --method indices --size 3", "power of two"),
        ("campaign small.toml --strategy none --out none/c.sqlite", "folder is missing"),
        ("campaign small.toml --strategy none --export none/c.csv", "folder is missing"),
        ("tune small.toml --strategy slip_band --budget 99 --start x", "write midpoints or"),
        ("tune small.toml --strategy slip_band --budget 99 --parameters ,", "one is given twice"),
        ("campaign small.toml --strategy none --export x.txt", "must end in .csv or .parquet"),
        ("worst-rail small.toml --strategy none --friction 0.1:3", "allowed: 0.002 to 0.9"),
        ("worst-rail small.toml --strategy none --patches 99999", "allowed: 1 to 100"),
        ("worst-rail small.toml --strategy none --budget 5", "allowed: at least 13"),
        ("sensitivity small.toml --strategy none --vary x=1:2", "no parameter .x."),
    ],
)
def test_bad_input_is_one_line(run, line, message):
    with pytest.raises(InputError, match=message) as problem:
        run(line)
    assert "\n" not in str(problem.value)


def test_a_full_disk_is_one_line_and_what_is_stored_stays(run, tmp_path, monkeypatch):
    add = Store.add

    def fill(store, task, outcome):
        if len(store) == 2:
            raise sqlite3.OperationalError("database or disk is full")
        add(store, task, outcome)

    line = "campaign small.toml --strategy none --random-rails 4 --out c.sqlite"
    with monkeypatch.context() as patch:
        patch.setattr(Store, "add", fill)
        with pytest.raises(InputError, match=r"c\.sqlite: cannot be used any longer: .* is full"):
            run(line)
    with Store(tmp_path / "c.sqlite", is_writer=False) as store:
        assert len(store) == 2
    assert run(line) == 0


@pytest.mark.parametrize(
    "option", ["--points 0", "--random-rails x", "--overrun-beyond -1", "--workers 5000"]
)
def test_numbers_out_of_range_are_refused(run, option):
    with pytest.raises((argparse.ArgumentError, SystemExit)):
        run(f"campaign small.toml {option}")


def test_tune_all_gives_every_strategy_the_same_effort(run, tmp_path, capsys):
    options = "--trade distance --training 1 --held-out 1 --budget 14 --out all"
    chosen = "--strategy none,speed_difference,peak_follower"
    assert run(f"tune-all {chosen} small.toml {options}") == 0
    text = capsys.readouterr().out
    assert "on 1 held-out rails, every rail with a train of its own" in text
    made = {path.stem for path in (tmp_path / "all").glob("*.toml")}
    assert made == {
        "one_effort",
        "speed_difference",
    }  # of the others one has nothing to tune, one sees truth
    table = (tmp_path / "all" / "table.txt").read_text()
    assert "speed_difference" in table and "peak_follower" not in table


def test_tune_all_refuses_what_cannot_be_tuned(run):
    with pytest.raises(InputError, match="none of these strategies has parameters to tune"):
        run("tune-all --strategy none,peak_follower small.toml --budget 14")
