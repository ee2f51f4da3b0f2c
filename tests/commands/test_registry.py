"""Strategies are found through entry points, and in a user's own file."""

from pathlib import Path

import pytest

from slipbench import controllers
from slipbench.ground.errors import InputError
from slipbench.strategies.registry import find_controller, known_controllers

MODULE = """
from slipbench.contract import Controller
def update(o, p, m, c, s): pass
ONE = Controller("visitor", "one strategy", update)
TWO = (ONE, Controller("visitor_too", "another", update))
TWIN = Controller("none", "shares a shipped name", update)
TWICE = (ONE, ONE)
WRONG = {"a": 1}
"""


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Return a function that installs a made-up distribution offering one entry point."""

    def install_one(value: str, distribution: str = "visitors", module: str = "visiting") -> None:
        info = tmp_path / f"{distribution}-2.5.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(
            f"Metadata-Version: 2.1\nName: {distribution}\nVersion: 2.5\n"
        )
        (info / "entry_points.txt").write_text(
            f"[slipbench.controllers]\nguest = {module}:{value}\n"
        )
        (tmp_path / f"{module}.py").write_text(MODULE)
        monkeypatch.syspath_prepend(tmp_path)

    yield install_one
    import sys

    for name in ("visiting", "calling"):
        sys.modules.pop(name, None)


def test_shipped_strategies_come_in_their_order():
    known = known_controllers()
    assert [known.controller for known in known.values()] == list(controllers.ALL_CONTROLLERS)
    assert all(
        entry.is_shipped and entry.origin.startswith("slipbench ") for entry in known.values()
    )


@pytest.mark.parametrize(
    ("value", "names"), [("ONE", ["visitor"]), ("TWO", ["visitor", "visitor_too"])]
)
def test_another_package_adds_strategies_after_the_shipped(install, value, names):
    install(value)
    known = known_controllers()
    assert list(known)[-len(names) :] == names
    assert known["visitor"].origin == "visitors 2.5"
    assert not known["visitor"].is_shipped
    assert find_controller("visitor").controller.title == "one strategy"


@pytest.mark.parametrize(
    ("value", "parts"),
    [
        ("TWIN", ["'none'", "from slipbench ", "from visitors 2.5, entry point 'guest'"]),
        ("TWICE", ["'visitor'", "visitors 2.5"]),
        ("WRONG", ["visitors 2.5", "dict", "Controller"]),
        ("GONE", ["visitors 2.5", "cannot be loaded", "GONE"]),
    ],
)
def test_bad_entry_point_is_refused_in_one_line(install, value, parts):
    install(value)
    with pytest.raises(InputError) as refusal:
        known_controllers()
    assert "\n" not in str(refusal.value)
    for part in parts:
        assert part in str(refusal.value)


def test_two_packages_with_one_name_are_both_named(install):
    install("ONE")
    install("ONE", distribution="callers", module="calling")
    with pytest.raises(InputError, match=r"callers 2\.5.*visitors 2\.5"):
        known_controllers()


def test_list_says_where_a_strategy_comes_from(install, run):
    install("ONE")
    assert "one strategy [visitors 2.5]" in run("list").out


def test_comparison_without_names_leaves_strangers_out(install, run):
    install("ONE")
    ran = run("compare", "dry", "--speed", "5mph", "--workers", "1", "--json")
    assert '"slip_band"' in ran.out
    assert '"visitor"' not in ran.out


def test_file_runs_plain_unless_asked(strategy_file):
    plain = find_controller(f"{strategy_file}:MINE")
    assert not plain.runs_compiled
    assert plain.origin == str(strategy_file)
    assert find_controller(f"{strategy_file}:MINE", compile_file=True).runs_compiled


def test_edited_file_is_read_again(strategy_file):
    find_controller(f"{strategy_file}:MINE")
    strategy_file.write_text(strategy_file.read_text().replace('name="mine"', 'name="more"'))
    assert find_controller(f"{strategy_file}:MINE").controller.name == "more"


def test_file_may_hold_dataclasses_and_lazy_annotations(tmp_path):
    path = tmp_path / "rich.py"
    path.write_text(
        "from __future__ import annotations\nfrom dataclasses import dataclass\n"
        "from slipbench.contract import Controller\n"
        "@dataclass\nclass Plan:\n    slip: float = 0.1\n"
        "def update(o, p, m, c, s): pass\n"
        "A = Controller('rich', 'x', update)\n"
    )
    assert find_controller(f"{path}:A").controller.name == "rich"
