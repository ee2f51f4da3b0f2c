"""Who may import whom: experiments -> controllers -> bench.contract; bench -> kernel -> numba."""

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import bench
from controllers import ALL_CONTROLLERS, by_name

ROOT = Path(bench.__file__).parents[1]
STANDARD = set(sys.stdlib_module_names)
KERNEL = {"__future__", "math", "typing", "numpy", "numba", "bench.kernel"}
STRATEGY = STANDARD | {
    "numpy",
    "numba",
    "controllers",
    "bench.contract",
    "bench.helper",
    "bench.errors",
}


def imports(source: str, package: str = "") -> set[str]:
    """Return every name a source imports, at any depth, `from a import b` as `a.b`."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            parts = package.split(".")[: 1 - node.level or None] if node.level else []
            base = ".".join([*parts, *filter(None, [node.module])])
            found |= {f"{base}.{alias.name}" for alias in node.names}
    return found


def is_below(name: str, prefixes: set[str]) -> bool:
    return any(name == prefix or name.startswith(f"{prefix}.") for prefix in prefixes)


def strangers(path: Path, allowed: set[str] | None, forbidden: set[str]) -> list[str]:
    package = ".".join(path.relative_to(ROOT).parent.parts)
    names = imports(path.read_text(encoding="utf-8"), package)
    bad = {n for n in names if is_below(n, forbidden)}
    return sorted(bad | {n for n in names if allowed is not None and not is_below(n, allowed)})


RULES: list[tuple[str, set[str] | None, set[str]]] = [
    ("bench/**/*.py", None, {"controllers", "experiments", "tests"}),
    ("bench/contact/*.py", None, {"numba", "bench.kernel", "bench.simulation", "bench.scenario"}),
    ("bench/measures/*.py", None, {"bench.kernel", "bench.simulation"}),
    ("bench/scenario/*.py", None, {"numba", "bench.kernel", "bench.simulation", "bench.contract"}),
    ("bench/contract.py", None, {"numba"}),
    ("controllers/*.py", STRATEGY, {"experiments"}),
    ("experiments/*.py", None, {"tests"}),
]


@pytest.mark.parametrize(("pattern", "allowed", "forbidden"), RULES, ids=[r[0] for r in RULES])
def test_imports_go_one_way(pattern: str, allowed: set[str] | None, forbidden: set[str]) -> None:
    for path in ROOT.glob(pattern):
        assert strangers(path, allowed, forbidden) == [], path


def test_kernel_needs_only_numpy_and_numba() -> None:
    """What compiles and keeps it, jit, linking and cache, may use the whole standard library."""
    for path in ROOT.glob("bench/kernel/*.py"):
        allowed = KERNEL | STANDARD if path.name in {"cache.py", "jit.py", "linking.py"} else KERNEL
        assert strangers(path, allowed, set()) == [], path


@pytest.mark.parametrize(
    ("source", "package", "found"),
    [
        ("import numba.core as n", "bench", {"numba.core"}),
        ("def f():\n    from controllers import none", "bench", {"controllers.none"}),
        ("from . import loop", "bench.kernel", {"bench.kernel.loop"}),
        ("from ..errors import InputError", "bench.kernel", {"bench.errors.InputError"}),
    ],
)
def test_no_import_is_overlooked(source: str, package: str, found: set[str]) -> None:
    assert imports(source, package) == found


@pytest.mark.parametrize("module", ["bench", "bench.contract", "bench.errors", "bench.contact"])
def test_importing_stays_light(module: str) -> None:
    code = f"import {module}, sys; print([m for m in ('numba', 'matplotlib') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_strategy_is_forgotten() -> None:
    """A file below controllers is a listed strategy, or a helper that some strategy imports."""
    files = [path for path in ROOT.glob("controllers/*.py") if path.stem != "__init__"]
    used = set().union(*(imports(path.read_text(encoding="utf-8")) for path in files))
    for path in files:
        module = importlib.import_module(f"controllers.{path.stem}")
        if hasattr(module, "update") or hasattr(module, "CONTROLLER"):
            assert module.CONTROLLER in ALL_CONTROLLERS, path
            assert module.CONTROLLER.name == path.stem
        else:
            assert any(is_below(name, {f"controllers.{path.stem}"}) for name in used), path


def test_names_are_unique_and_found() -> None:
    names = [controller.name for controller in ALL_CONTROLLERS]
    assert len(set(names)) == len(names)
    assert [by_name(name) for name in names] == list(ALL_CONTROLLERS)


def test_a_stop_imports_neither_scipy_nor_pictures() -> None:
    """Importing scipy's parts would double the start of a short command; numba names scipy only."""
    code = (
        "import sys, bench\nfrom controllers import by_name\n"
        "scenario = bench.load_scenario('wet_leaf').replace(initial_speed=3.0)\n"
        "bench.simulate(scenario, by_name('none'))\n"  # locks: flats and temperatures as well
        "parts = [f'scipy.{name}' for name in ('linalg', 'special', 'optimize', 'interpolate')]\n"
        "print([name for name in [*parts, 'matplotlib'] if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
