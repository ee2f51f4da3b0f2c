"""Functions, records of parameters and modules stay small enough to be read at once."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.places import ROOT

MOST_LINES, MOST_PARAMETERS, MOST_MODULE_LINES = 40, 8, 450
"""Of a function's body without its docstring, of a function, and of a module."""

ALIKE = "runs as Python and compiled alike, so that it can call nothing of its own"
SCALARS = "compiled, called at every piece of time: what it needs comes as scalars, by design"
ONE_LOOP = (
    "compiled: one loop over records at hand, which a call would have to be handed one by one"
)
WORLD = "fills the kernel's records in their order, one line each"
ESTIMATE = "one estimate, step by step in the order of its equations"
STRATEGY = "one strategy a file; what others share stands in parts/"

EXCEPTIONS: dict[str, str] = {
    "bench/strategies/native/guard.py: guarded": ALIKE,
    "bench/strategies/native/guard.py: update": ALIKE,
    "bench/kernel/axle.py: begin_piece": SCALARS,
    "bench/kernel/creep.py: polach_force": SCALARS,
    "bench/kernel/pneumatics.py: pressure_piece": SCALARS,
    "bench/kernel/priced.py: _pass_stretch": SCALARS,
    "bench/kernel/sensing.py: timed_speed": SCALARS,
    "bench/kernel/sensing.py: sense": SCALARS,
    "bench/kernel/slides.py: log_lock": SCALARS,
    "bench/kernel/slides.py: note_lane": SCALARS,
    "bench/kernel/worth.py: tabulate_passes": SCALARS,
    "bench/kernel/worth.py: node_friction": SCALARS,
    "bench/kernel/worth.py: pass_place": SCALARS,
    "bench/kernel/floor.py: run_floor": ONE_LOOP,
    "bench/kernel/priced.py: run_priced_floor": ONE_LOOP,
    "bench/kernel/sensing.py: sense_together": ONE_LOOP,
    "bench/measured/drive.py: drive_compiled": SCALARS,
    "bench/measured/adhesion.py: estimate_adhesion": ESTIMATE,
    "bench/measured/fit.py: solve": ESTIMATE,
    "bench/measured/model.py: residuals": ESTIMATE,
    "bench/measured/speed.py: _result": ESTIMATE,
    "controllers/cleaning_balance.py": STRATEGY,
    "bench/packing/__init__.py: pack": WORLD,
    "bench/packing/train.py: pack_train": WORLD,
}
"""`file` or `file: function` to why it may be larger; one that is so no longer is taken off."""


def sources(root: Path = ROOT) -> list[Path]:
    folders = ("bench", "controllers", "experiments", "tests")
    found = (path for folder in folders for path in (root / folder).rglob("*.py"))
    return sorted(path for path in found if not any(one.is_symlink() for one in path.parents))


def n_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return the lines of a body, its docstring left out; nested functions count."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    return (function.end_lineno or 0) - body[0].lineno + 1 if body else 0


def n_parameters(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    given = function.args
    return len([*given.posonlyargs, *given.args, *given.kwonlyargs])


def too_large(path: Path, root: Path = ROOT) -> Iterator[str]:
    """Yield `file` for a module that is too long, `file: function` for each such function.

    Of tests the modules alone: a test may need many lines to set up one case.
    """
    text, name = path.read_text(encoding="utf-8"), path.relative_to(root).as_posix()
    if text.count("\n") > MOST_MODULE_LINES:
        yield name
    if name.startswith("tests/"):
        return
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if n_lines(node) > MOST_LINES or n_parameters(node) > MOST_PARAMETERS:
            yield f"{name}: {node.name}"


def test_nothing_is_larger_than_it_may_be() -> None:
    found = {name for path in sources() for name in too_large(path)}
    assert sorted(found - set(EXCEPTIONS)) == []


def test_no_exception_is_left_over() -> None:
    found = {name for path in sources() for name in too_large(path)}
    assert sorted(set(EXCEPTIONS) - found) == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("x = 1\n" * 450, []),
        ("x = 1\n" * 451, ["a.py"]),
        ("def f():\n" + "    x = 1\n" * 40, []),
        ('def f():\n    """Say\n    more."""\n' + "    x = 1\n" * 40, []),
        ("def f():\n" + "    x = 1\n" * 41, ["a.py: f"]),
        ("def f(a, b, c, d, /, e, f, *, g, h): ...", []),
        ("def f(a, b, c, d, /, e, f, *, g, h, i): ...", ["a.py: f"]),
        ("class A:\n    async def f(self, a, b, c, d, e, f, g, h): ...", ["a.py: f"]),
    ],
)
def test_what_is_too_large_is_found(source: str, found: list[str], tmp_path: Path) -> None:
    path = tmp_path / "a.py"
    path.write_text(source, encoding="utf-8")
    assert list(too_large(path, tmp_path)) == found
