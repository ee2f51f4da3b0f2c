"""What the line promises: groups, options that mean the same, strategies as they are written."""

import argparse
import json

import pytest

from slipbench.commands.main import make_parser
from slipbench.commands.parser import GROUPS
from slipbench.scenario import load_scenario
from slipbench.scenario.assemble import with_values
from slipbench.strategies.registry import find_controller

PARSER = make_parser()
COMMANDS = {command.name: command for command in PARSER.commands.all}
MEANINGS = {
    "--train", "--rail", "--driver", "--speed", "--set", "--strategy", "--compile", "--seed",
    "--workers", "--json",
}  # fmt: skip
STOP = ("stop", "dry", "--speed", "5mph", "--json", "--strategy")


def options(name: str) -> dict[str, argparse.Action]:
    parser = COMMANDS[name].parser
    return {word: action for action in parser._actions for word in action.option_strings}


def test_help_lists_every_command_once_under_its_group(run):
    lines = run("--help").out.splitlines()
    groups = [line[:-1] for line in lines if line.removesuffix(":") in GROUPS]
    assert groups == [group for group in GROUPS if group in groups]
    listed = [line.split()[0] for line in lines if line.startswith("  ")]
    assert sorted(listed) == sorted(COMMANDS)
    assert all(len(line) <= 100 for line in lines)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_keeps_to_the_shared_options(name):
    own = options(name)
    assert not {"--controller", "--controllers", "--rails", "--scenario"} & set(own)
    assert own.get("--strategy") is None or own["--strategy"].metavar in ("A", "A[,B]")
    for word in MEANINGS & set(own):
        other = next(options(n)[word] for n in COMMANDS if word in options(n))
        assert type(own[word].type) is type(other.type) and own[word].nargs == other.nargs, word


@pytest.mark.parametrize("name", COMMANDS)
def test_whatever_reads_a_scenario_can_change_it(name):
    takes = {action.dest for action in COMMANDS[name].parser._actions}
    if takes & {"scenario", "scenarios"}:
        assert {"train", "rail", "driver", "speed", "set"} <= takes
    if "strategy" in takes:
        assert "compile" in takes


def test_parameters_stand_in_label_and_record(run):
    line = "slip_band:look_ahead=60ms:fill_slip=8%"
    record = json.loads(run(*STOP, line).out)
    assert record["strategy"] == line
    known = find_controller(line)
    values = dict(
        zip([p.name for p in known.controller.parameters], known.controller.values, strict=True)
    )
    assert (values["look_ahead"], values["fill_slip"]) == (0.06, 0.08)
    assert find_controller(known.reference).controller == known.controller


def test_two_settings_of_one_strategy_stand_side_by_side(run):
    two = "slip_band,slip_band:fill_slip=20%"
    ran = run(
        *("compare", "wet_leaf", "--speed", "20mph", "--seeds", "1", "--workers", "1"),
        *("--json", "--strategy", two),
    )
    assert ran.code == 0, ran.err
    first, second = json.loads(ran.out)["rows"]
    assert (first["strategy"], second["strategy"]) == tuple(two.split(","))
    assert first["stopping_distance"] != second["stopping_distance"]


def test_a_file_with_one_strategy_needs_no_name(strategy_file, run):
    named, unnamed = (run(*STOP, f"{strategy_file}{name}").out for name in (":MINE", ""))
    assert named == unnamed
    assert json.loads(unnamed)["strategy"] == "mine"


def test_set_takes_keys_as_a_file_spells_them():
    scenario = load_scenario("wet_leaf")
    texts = ("brake.emergency=11.5%g", "rail.section.friction=0.05", "sensing.teeth=90")
    changed = with_values(scenario, texts)
    assert changed.brake.emergency == pytest.approx(0.115 * 9.80665, rel=1e-15)
    assert {section.friction for section in changed.rail.sections} == {0.05}
    assert changed.title.endswith(
        "; brake.emergency=11.5%g, rail.section.friction=0.05, sensing.teeth=90"
    )
    flags = with_values(scenario, ("brake.variable_load=false", "brake.steps=0.3m/s2,0.5m/s2"))
    assert flags.brake.variable_load is False and flags.brake.steps == (0.3, 0.5)


def test_set_is_the_same_as_a_file(tmp_path, run):
    path = tmp_path / "own.toml"
    path.write_text('based_on = "wet_leaf"\n[brake]\nfill_delay_ms = 70\n')
    line = ("--speed", "20mph", "--strategy", "slip_band", "--json")
    by_file = json.loads(run("stop", path, *line).out)
    by_set = json.loads(run("stop", "wet_leaf", *line, "--set", "brake.fill_delay=70ms").out)
    untouched = json.loads(run("stop", "wet_leaf", *line).out)
    assert by_file["stopping_distance"] == by_set["stopping_distance"]
    assert by_set["stopping_distance"] != untouched["stopping_distance"]


def test_parts_come_from_other_scenarios(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(
        'based_on = "frost"\n[brake]\nsteps_m_per_s2 = [0.4, 0.7]\n[driver]\n'
        'handle = [{ at_time_s = 0, position = "emergency" }]\n'
    )
    frost, leaf = load_scenario("frost"), load_scenario("wet_leaf")
    on_rail = load_scenario("wet_leaf", rail="frost")
    assert (on_rail.rail, on_rail.brake) == (frost.rail, leaf.brake)
    assert on_rail.name == "wet_leaf, rail frost"
    assert (
        on_rail.provenance["rail.sections.0.friction"]
        == frost.provenance["rail.sections.0.friction"]
    )
    by_driver = load_scenario("wet_leaf", driver=str(path))
    assert by_driver.driver.programme[0].position == leaf.brake.emergency_position
    both = load_scenario("wet_leaf", train=path, driver=path)
    assert both.brake.n_steps == 2 and both.driver.programme[0].position == 3
