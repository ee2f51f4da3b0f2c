"""Every public name says what it is, and every name a module lists is there."""

import ast
import importlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.places import ROOT

import slipbench

SOURCES = sorted([*ROOT.glob("bench/**/*.py"), *ROOT.glob("controllers/**/*.py")])
Documented = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def is_public(node: ast.AST) -> bool:
    if not isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
        return False
    return not node.name.startswith("_")


def public_nodes(module: ast.Module) -> Iterator[tuple[str, Documented]]:
    """Yield the module, its public functions and classes, and their public methods.

    Whatever block they stand in: the kernel defines compiled functions inside a `with`.
    """
    yield "module", module
    waiting: list[tuple[str, ast.AST]] = [("", node) for node in module.body]
    while waiting:
        prefix, node = waiting.pop()
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            if is_public(node):
                yield prefix + node.name, node
                if isinstance(node, ast.ClassDef):
                    waiting += [(f"{prefix}{node.name}.", inner) for inner in node.body]
        elif isinstance(node, ast.stmt):
            waiting += [(prefix, inner) for inner in ast.iter_child_nodes(node)]


def complaints(source: str) -> list[str]:
    found = []
    for name, node in public_nodes(ast.parse(source)):
        text = ast.get_docstring(node)
        if not text:
            found.append(f"{name}: no docstring")
        elif len(text.splitlines()) > 1 and text.splitlines()[1].strip():
            found.append(f"{name}: the summary is longer than one line")
    return found


@pytest.mark.parametrize("path", SOURCES, ids=[module_name(path) for path in SOURCES])
def test_public_names_have_a_docstring_with_a_one_line_summary(path: Path) -> None:
    assert complaints(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("source", "n_complaints"),
    [
        ('"""One."""\ndef f():\n    """Two."""\n', 0),
        ('"""One."""\ndef f(): pass\n', 1),
        ('"""One."""\nwith x:\n    @njit\n    def f(): pass\n', 1),
        ('"""One."""\nclass A:\n    """Two."""\n    def f(self): pass\n', 1),
        ('"""One."""\ndef _f(): pass\n', 0),
        ("x = 1\n", 1),
        ('"""One\nand two."""\n', 1),
    ],
)
def test_the_check_sees_what_is_missing(source: str, n_complaints: int) -> None:
    assert len(complaints(source)) == n_complaints


LISTING = [path for path in SOURCES if "\n__all__ = " in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("path", LISTING, ids=[module_name(path) for path in LISTING])
def test_listed_names_resolve(path: Path) -> None:
    module = importlib.import_module(module_name(path))
    assert len(set(module.__all__)) == len(module.__all__)
    for name in module.__all__:
        assert getattr(module, name) is not None


def test_the_public_names_of_the_bench_are_listed_once() -> None:
    assert len(set(slipbench.__all__)) == len(slipbench.__all__)
    assert set(slipbench._HOME) <= set(slipbench.__all__)
    assert dir(slipbench) == sorted([*slipbench.__all__, "__version__", "controllers"])
    for name in slipbench.__all__:
        assert (getattr(slipbench, name).__doc__ or "").strip(), name
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        slipbench.nothing  # noqa: B018
