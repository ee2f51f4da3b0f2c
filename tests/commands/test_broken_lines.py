"""Every broken command line gives one clear line, exit code 2, and touches no file."""

from pathlib import Path

import pytest

STRATEGY_HEAD = "from slipbench.contract import Controller, FILL\n"
FILES = {
    "broken.toml": "initial_speed_mph = = 3\n",
    "not_python.txt": "hello\n",
    "raises.py": "x = 1\nraise RuntimeError('on purpose')\n",
    "syntax.py": "x = 1\ndef f(:\n",
    "exits.py": "import sys\nsys.exit(3)\n",
    "imports.py": "import no_such_module_anywhere\n",
    "refused.py": STRATEGY_HEAD + "A = Controller('a', 'a', print, observes=('everything',))\n",
    "fails.py": STRATEGY_HEAD
    + "def update(o, p, m, command, s):\n    command[0, 0] = 1 / 0\n"
    + "A = Controller('fails', 'divides by zero', update)\n",
    "wrong.py": STRATEGY_HEAD
    + "def update(o, p, m, command, s):\n    command[0, 0] = 7\n"
    + "A = Controller('wrong', 'no such valve', update)\n",
    "objects.py": STRATEGY_HEAD
    + "def update(o, p, m, command, s):\n    command[0, 0] = {'a': print}['a'] is None\n"
    + "A = Controller('objects', 'not for a compiler', update)\n",
    "twin.py": STRATEGY_HEAD
    + "def update(o, p, m, command, s):\n    pass\n"
    + "A = Controller('none', 'shares a name', update)\nNUMBER = 7\n",
    "empty.py": "NUMBER = 7\n",
    "several.py": STRATEGY_HEAD
    + "A = Controller('one', 'one', print)\nB = Controller('two', 'two', print)\n",
    "taken/compare.csv": "my own precious table\n",
    "file": "a file, no folder\n",
}
STOP = ["stop", "dry", "--strategy", "none"]
OWN = ["stop", "dry", "--speed", "20mph", "--strategy"]
SET = ["stop", "dry", "--strategy"]
TWICE = ["--set", "rail.section.friction=0.1", "--set", "rail.sections.*.friction=0.2"]
COMPARE = ["compare", "dry", "--speed", "20mph", "--workers", "1"]

CASES = {
    "nothing": ([], ["a command is needed", "compare"]),
    "unknown command": (["frobnicate"], ["frobnicate", "'compare'"]),
    "unknown option": (["--nonsense", "list"], ["--nonsense"]),
    "option of another command": (["list", "--seed", "1"], ["--seed"]),
    "shortened option": ([*STOP, "--spee", "20mph"], ["--spee"]),
    "no scenario": (["show"], ["SCENARIO"]),
    "two scenarios": (["show", "wet", "dry"], ["dry"]),
    "misspelt scenario": (["show", "wet_laef"], ["wet_laef", "wet_leaf"]),
    "missing scenario file": (["show", "no/where.toml"], ["no/where.toml", "no such file"]),
    "scenario is a folder": (["show", "{tmp}/"], ["directory"]),
    "scenario is no TOML": (["show", "{tmp}/broken.toml"], ["broken.toml", "line 1"]),
    "scenario name empty": (["show", ""], ["shipped name"]),
    "stop without strategy": (["stop", "dry"], ["--strategy"]),
    "misspelt strategy": (["stop", "dry", "--strategy", "nine"], ["'nine'", "none"]),
    "unlike any strategy": (["stop", "dry", "--strategy", "qqqq"], ["none", "slip_band"]),
    "negative seed": ([*STOP, "--seed", "-1"], ["--seed", "whole number"]),
    "broken seed": ([*STOP, "--seed", "1.5"], ["--seed", "whole number"]),
    "seed too large": ([*STOP, "--seed", str(2**63)], ["seed", "2**63 - 1"]),
    "bare speed": ([*STOP, "--speed", "75"], ["'75'", "a unit is needed", "mph"]),
    "unknown speed unit": ([*STOP, "--speed", "75 knots"], ["knots", "km/h"]),
    "speed is a word": ([*STOP, "--speed", "fast"], ["fast", "not a speed"]),
    "speed of zero": ([*STOP, "--speed", "0mph"], ["above 0"]),
    "negative speed": ([*STOP, "--speed=-5mph"], ["above 0"]),
    "speed beyond range": ([*STOP, "--speed", "900mph"], ["initial_speed", "120 m/s"]),
    "speed without value": ([*STOP, "--speed"], ["--speed"]),
    "file missing": ([*OWN, "{tmp}/gone.py:A"], ["gone.py", "no such file"]),
    "file is a folder": ([*OWN, "{tmp}:A"], ["path/to/file.py:NAME"]),
    "file without strategy": ([*OWN, "{tmp}/empty.py"], ["empty.py", "in it: none"]),
    "file of several": ([*OWN, "{tmp}/several.py"], ["in it: A, B", "several.py:NAME"]),
    "file of another kind": ([*OWN, "{tmp}/not_python.txt:A"], ["file.py:NAME"]),
    "name not in file": ([*OWN, "{tmp}/twin.py:B"], ["twin.py", "no 'B'", "in it: A"]),
    "name is no controller": ([*OWN, "{tmp}/twin.py:NUMBER"], ["int", "must be a Controller"]),
    "file raises": ([*OWN, "{tmp}/raises.py:A"], ["raises.py", "line 2", "on purpose"]),
    "file is no Python": ([*OWN, "{tmp}/syntax.py:A"], ["syntax.py", "line 2"]),
    "file exits": ([*OWN, "{tmp}/exits.py:A"], ["exits.py", "line 2", "SystemExit"]),
    "file imports nothing": ([*OWN, "{tmp}/imports.py:A"], ["no_such_module_anywhere"]),
    "controller refused": ([*OWN, "{tmp}/refused.py:A"], ["refused.py", "'everything'"]),
    "strategy raises": ([*OWN, "{tmp}/fails.py:A"], ["fails.py", "line 3", "ZeroDivision"]),
    "strategy commands nonsense": ([*OWN, "{tmp}/wrong.py:A"], ["wrong", "axle 1", "valve 7"]),
    "strategy not compilable": ([*OWN, "{tmp}/objects.py:A", "--compile"], ["does not compile"]),
    "two strategies for one stop": (["stop", "dry", "--strategy", "none,none"], ["takes one"]),
    "unknown parameter": ([*SET, "slip_band:fill_slp=0.1"], ["fill_slp", "did you mean fill_slip"]),
    "parameter of none": ([*SET, "none:fill_slip=0.1"], ["fill_slip", "it has none"]),
    "parameter without unit": ([*SET, "slip_band:look_ahead=0.04"], ["unit is needed", "ms"]),
    "parameter of another unit": ([*SET, "slip_band:look_ahead=1m"], ["unknown unit 'm'", "ms"]),
    "parameter out of range": ([*SET, "slip_band:fill_slip=70"], ["fill_slip = 70", "allowed"]),
    "parameter twice": ([*SET, "slip_band:fill_slip=0.1:fill_slip=5%"], ["given twice"]),
    "parameter without value": ([*SET, "slip_band:fill_slip=0.1:x"], ["'x' is no KEY=VALUE"]),
    "set without value": ([*STOP, "--set", "brake.emergency"], ["write KEY=VALUE"]),
    "set of no key": ([*STOP, "--set", "brake.emergncy=1m/s2"], ["did you mean emergency"]),
    "set of a table": ([*STOP, "--set", "brake=1"], ["is a table", "emergency"]),
    "set below a value": ([*STOP, "--set", "brake.emergency.x=1"], ["has no parts"]),
    "set without unit": ([*STOP, "--set", "brake.emergency=1.1"], ["unit is needed", "m/s2, %g"]),
    "set out of range": ([*STOP, "--set", "rail.section.friction=7"], ["friction", "7", "range"]),
    "set twice": ([*STOP, *TWICE], ["given twice"]),
    "set of no count": ([*STOP, "--set", "rail.sections.9.friction=0.1"], ["item from 0 to 0"]),
    "unknown train": ([*STOP, "--train", "no_train"], ["--train", "no_train", "no shipped"]),
    "unknown rail": ([*STOP, "--rail", "wet_laef"], ["--rail", "did you mean wet_leaf"]),
    "unknown driver": ([*STOP, "--driver", "no.toml"], ["--driver", "no such file"]),
    "no seeds": ([*COMPARE, "--seeds", "0"], ["--seeds = 0", "1 to"]),
    "too many seeds": ([*COMPARE, "--seeds", "99999999"], ["--seeds", "10000"]),
    "no workers": ([*COMPARE, "--workers", "0"], ["--workers = 0"]),
    "workers a word": ([*COMPARE, "--workers", "all"], ["--workers", "whole number"]),
    "empty strategy": ([*COMPARE, "--strategy", "none,,"], ["a name is empty"]),
    "strategy twice": ([*COMPARE, "--strategy", "none,none"], ["two strategies", "'none'"]),
    "two of one name": ([*COMPARE, "--strategy", "none,{tmp}/twin.py:A"], ["twin.py", "'none'"]),
    "scenario twice": (["compare", "dry", "dry"], ["two scenarios", "'dry'"]),
    "compare, bare speed": (["compare", "dry", "--speed", "20"], ["a unit is needed"]),
    "compare, strategy raises": (
        [*COMPARE, "--strategy", "{tmp}/fails.py:A", "--json"],
        ["scenario dry, seed 0", "line 3", "ZeroDivision"],
    ),
    "out is a file": ([*COMPARE, "--out", "{tmp}/file"], ["file", "no folder"]),
    "out below a file": ([*COMPARE, "--out", "{tmp}/file/deeper"], ["file", "no folder"]),
    "out is empty": ([*COMPARE, "--out", ""], ["--out", "folder"]),
    "out is taken": ([*COMPARE, "--out", "{tmp}/taken"], ["compare.csv", "was not written by"]),
}


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.mark.parametrize("name", CASES)
def test_broken_line_gives_one_line_and_touches_nothing(name, tmp_path, run, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for file, text in FILES.items():
        (tmp_path / file).parent.mkdir(exist_ok=True)
        (tmp_path / file).write_text(text)
    before = contents(tmp_path)
    argv, expected = CASES[name]

    ran = run(*(word.replace("{tmp}", str(tmp_path)) for word in argv))

    assert ran.code == 2
    assert ran.out == ""
    assert ran.err.startswith("slipbench: ")
    assert ran.err.count("\n") == 1 and ran.err.endswith("\n")
    for part in expected:
        assert part in ran.err
    assert contents(tmp_path) == before
