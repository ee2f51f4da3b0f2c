"""What `list`, `show` and `stop` print, and that the light commands stay light."""

import json
import subprocess
import sys

import pytest

import slipbench
import slipbench.compiling.cache
import slipbench.stop.stop
from slipbench.ground.caution import CAUTION
from slipbench.scenario import driver_names, load_scenario, scenario_names, train_names
from slipbench.strategies.registry import known_controllers

STOP = ("stop", "dry", "--strategy", "none", "--speed", "20mph")


def python(code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )


@pytest.mark.parametrize("argv", [["--version"], ["--help"], ["compare", "--help"], ["show", "x"]])
def test_light_commands_import_nothing_heavy(argv):
    done = python(
        "import sys\nfrom slipbench.commands.main import main\n"
        f"main({argv!r})\n"
        "heavy = {'numba', 'scipy', 'matplotlib', 'tqdm'} & set(sys.modules)\n"
        "sys.exit(' '.join(heavy) or 0)\n"
    )
    assert done.returncode == 0, done.stderr


def test_list_compiles_nothing():
    done = python(
        "import sys\nfrom slipbench.commands.main import main\n"
        "main(['list'])\n"
        "sys.exit('slipbench.kernel.loop' in sys.modules)\n"
    )
    assert done.returncode == 0, done.stderr


def test_version(run):
    assert run("--version").out == f"slipbench {slipbench.__version__}\n"


def test_caution_is_one_text():
    assert slipbench.stop.stop.CAUTION == CAUTION


@pytest.mark.parametrize(
    "argv", [("--help",), ("stop", "--help"), ("list",), ("show", "wet"), STOP], ids=" ".join
)
def test_output_ends_with_the_caution(argv, run):
    ran = run(*argv)
    assert ran.code == 0
    assert " ".join(ran.out.split()).endswith(CAUTION)


def test_list_has_a_line_for_everything(run):
    lines = [line.split() for line in run("list").out.splitlines() if line.startswith("  ")]
    parts = [*scenario_names(), *train_names(), *driver_names()]
    assert [words[0] for words in lines] == [*parts, *known_controllers()]
    text = run("list").out
    assert load_scenario("frost").title in text
    assert f"[slipbench {slipbench.__version__}]" in text


def test_show_prints_every_value_with_unit_mark_and_source(run):
    text = run("show", "wet_leaf").out
    lines = text.splitlines()
    for value in load_scenario("wet_leaf").values():
        if "vehicles" in value.path:
            continue
        line = next(line for line in lines if value.path in line.split())
        assert value.unit in line.split() or " " in value.unit or not value.unit
        assert value.source.partition(": ")[2] in line or value.source in line
    assumed = [line for line in lines if line.startswith("assumed")]
    assert any("rail.sections.0.friction " in line for line in assumed)
    assert any(line.startswith("assumed*") and "run.maximum_step" in line for line in assumed)


def test_show_merges_only_vehicles_that_agree(run):
    text = run("show", "wet_leaf").out
    assert "train.vehicles.*.wheel_diameter" in text
    for i in range(4):
        assert f"train.vehicles.{i}.wheelset_inertia" in text


def test_stop_prints_the_stop(run):
    ran = run(*STOP, "--seed", "3")
    assert ran.out.startswith("dry, none, seed 3: stopped in ")
    assert ran.err == ""


def test_stop_json_is_json_only(run):
    record = json.loads(run(*STOP, "--json").out)
    assert record["scenario"] == "dry"
    assert record["strategy"] == "none"
    assert record["initial_speed"] == pytest.approx(20 * 0.44704, abs=1e-12)
    assert record["is_stopped"] is True
    assert len(record["locked_time"]) == load_scenario("dry").train.n_axles


def test_stop_json_writes_null_for_what_does_not_exist(tmp_path, run):
    path = tmp_path / "short.toml"
    path.write_text('based_on = "dry"\n[run]\nmaximum_distance_m = 20\n')
    record = json.loads(run("stop", path, "--strategy", "none", "--speed", "20mph", "--json").out)
    assert record["stopping_distance"] is None
    assert record["is_stopped"] is False


def test_own_file_runs_plain_and_compiled_alike(strategy_file, run):
    line = ("stop", "dry", "--speed", "20mph", "--json", "--strategy", f"{strategy_file}:MINE")
    plain, compiled = run(*line), run(*line, "--compile")
    assert json.loads(plain.out) == json.loads(compiled.out)
    assert json.loads(plain.out)["vent_count"] > 0


def test_notice_before_compiling(monkeypatch, run):
    monkeypatch.setattr(slipbench.compiling.cache, "is_cold", lambda *functions: True)
    ran = run(*STOP)
    assert ran.err.startswith("slipbench: compiling the physics once")
    assert ran.err.count("\n") == 1


def test_is_cold_notices_a_function_never_compiled():
    assert slipbench.compiling.cache.is_cold("loop.no_such_function")


def test_reader_that_leaves_early_gets_no_traceback():
    done = subprocess.run(
        f"{sys.executable} -m slipbench show wet | head -n 1",
        shell=True,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.stdout.startswith("mark")
    assert done.stderr == ""
