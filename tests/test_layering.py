"""Which room may import which: one table for every room, and everything else fails."""

import ast
import importlib
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.places import ROOT

from slipbench.controllers import ALL_CONTROLLERS, by_name

STANDARD = set(sys.stdlib_module_names)
SCIENCE = {"numpy", "scipy"}
PICTURES = {"matplotlib"}
LINE = {"tqdm"}

MAY_IMPORT: dict[str, set[str]] = {
    "": {"contract", "ground", "scenario", "stop"},  # the public names
    "__main__": {"commands"},
    "ground": set(),
    "compiling": {"ground"},
    "kernel": {"compiling"},
    "contract": {"ground", "kernel"},  # of the kernel: names of columns alone
    "contact": {"ground"},
    "scenario": {"ground"},
    "measures": {"ground"},
    "statistics": {"ground"},
    "packing": {"contact", "contract", "ground", "kernel", "scenario"},
    "exchange": {"compiling", "contract", "ground", "kernel", "packing", "scenario"},
    "strategies": {"compiling", "contract", "exchange", "ground", "kernel", "scenario"},
    "stop": {
        "contract", "ground", "kernel", "measures", "packing", "results", "scenario",
        "strategies",
    },
    "results": {"ground", "scenario"},
    "running": {
        "contract", "ground", "kernel", "results", "scenario", "stop", "strategies",
    },
    "device": {
        "compiling", "ground", "kernel", "packing", "results", "running", "stop", "strategies",
    },
    "conformance": {"contract", "ground", "scenario", "stop", "strategies"},
    "comparison": {
        "contract", "ground", "results", "running", "scenario", "stop", "strategies",
    },
    "campaign": {
        "contract", "ground", "results", "running", "scenario", "statistics", "strategies",
    },
    "assess": {"ground", "measures", "results", "running", "scenario", "strategies"},
    "measured": {
        "compiling", "contract", "ground", "kernel", "packing", "results", "running", "scenario",
        "stop", "strategies",
    },
    "guidance": {
        "campaign", "ground", "results", "running", "scenario", "statistics", "stop",
    },
    "guide": {"contract", "ground", "results", "scenario"},
    "figures": {
        "campaign", "comparison", "contact", "contract", "ground", "guidance", "kernel",
        "measured", "packing", "results", "running", "scenario", "statistics", "stop",
        "strategies",
    },
    "practice": {
        "contract", "figures", "ground", "kernel", "packing", "results", "scenario", "stop",
        "strategies",
    },
    "commands": {
        "assess", "campaign", "comparison", "compiling", "conformance", "device", "figures",
        "ground", "guidance", "guide", "measured", "practice",
        "results", "running", "scenario", "statistics", "stop", "strategies",
        "exchange",
    },
    "controllers": {"compiling", "contract", "ground"},
    "experiments": {
        "", "campaign", "commands", "comparison", "controllers", "figures", "ground",
        "results", "running", "scenario", "statistics", "strategies",
    },
}  # fmt: skip
"""Rooms of the package, and the rooms each may import; "" is the package itself."""

MOST_ARROWS = 160
"""Rooms that import rooms: a house of more is not seen at a glance."""

FOREIGN: dict[str, set[str]] = {
    "ground": {"numpy"},
    "compiling": {"numba", "llvmlite", "numpy"},  # numpy: of what the GPU is taught
    "exchange": {"numpy", "numba"},
    "kernel": {"numpy", "numba"},
    "contract": {"numpy"},
    "contact": SCIENCE,
    "scenario": {"numpy"},
    "measures": SCIENCE,
    "statistics": SCIENCE,
    "packing": {"numpy"},
    "strategies": {"numpy", "numba"},
    "stop": {"numpy"},
    "results": {"numpy", "llvmlite"},
    "running": {"numpy", "tqdm", "distributed"},
    "device": {"numpy", "numba"},
    "conformance": {"numpy"},
    "comparison": SCIENCE,
    "campaign": SCIENCE | {"pyarrow"},
    "assess": {"numpy"},
    "measured": SCIENCE | {"asammdf", "nptdms", "numba", "pyarrow"},
    "guidance": SCIENCE,
    "guide": {"markdown_it"},
    "figures": SCIENCE | PICTURES,
    "practice": {"numpy", "websockets"},
    "commands": LINE | {"numpy"},
    "controllers": {"numpy", "numba"},
    "experiments": SCIENCE | PICTURES | LINE,
}
"""What each room may import beside the standard library and the package."""

KERNEL_STANDARD = {"__future__", "math", "typing"}
"""All that compiled physics needs of the standard library."""


def folder_of(room: str, root: Path = ROOT) -> Path:
    return root / room if room in ("controllers", "experiments") else root / "bench" / room


def sources(room: str, root: Path = ROOT) -> list[Path]:
    if room == "":
        return [root / "bench" / "__init__.py"]
    folder = folder_of(room, root)
    return sorted(folder.rglob("*.py")) if folder.is_dir() else [folder.with_suffix(".py")]


def rooms_found(root: Path = ROOT) -> set[str]:
    """Return every room there is: each module and each folder with Python in it."""
    found = {"controllers", "experiments"}
    for path in (root / "bench").iterdir():
        if path.suffix == ".py":
            found.add("" if path.stem == "__init__" else path.stem)
        elif path.is_dir() and not path.is_symlink() and any(path.rglob("*.py")):
            found.add(path.name)
    return found


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


def room_of(name: str) -> str:
    """Return the room of an imported name of the package; a public name is the package's own."""
    parts = name.split(".")
    return parts[1] if len(parts) > 1 and parts[1] in MAY_IMPORT else ""


def package_of(path: Path, root: Path) -> str:
    parts = path.relative_to(root).parent.parts
    return ".".join(["slipbench", *(parts[1:] if parts[0] == "bench" else parts)])


def strangers(room: str, root: Path = ROOT) -> list[str]:
    """Return `file: name` for each import a room may not have."""
    found = []
    allowed = FOREIGN.get(room, set()) | (KERNEL_STANDARD if room == "kernel" else STANDARD)
    for path in sources(room, root):
        for name in imports(path.read_text(encoding="utf-8"), package_of(path, root)):
            if is_below(name, {"slipbench"}):
                at = room_of(name)
                is_free = at == room or at in MAY_IMPORT.get(room, set())
            else:
                is_free = is_below(name, allowed)
            if not is_free:
                found.append(f"{path.relative_to(root)}: {name}")
    return sorted(found)


def circles(root: Path = ROOT) -> list[str]:
    """Return modules of the package that import each other in a circle, at any depth."""
    trees = {
        ".".join([package_of(path, root), path.stem]).removesuffix(".__init__"): path
        for room in rooms_found(root)
        for path in sources(room, root)
    }
    after = {
        name: {
            found
            for one in imports(path.read_text(encoding="utf-8"), package_of(path, root))
            for found in (one if one in trees else one.rpartition(".")[0],)
            if found in trees and found != name
        }
        for name, path in trees.items()
    }

    def reach(name: str) -> set[str]:
        """Return all that a module imports, at any distance."""
        seen: set[str] = set()
        waiting = [name]
        while waiting:
            for target in after[waiting.pop()] - seen:
                seen.add(target)
                waiting.append(target)
        return seen

    return sorted(name for name in trees if name in reach(name))


def test_every_room_is_listed() -> None:
    assert rooms_found() == set(MAY_IMPORT)


@pytest.mark.parametrize("room", MAY_IMPORT)
def test_imports_go_one_way(room: str) -> None:
    assert strangers(room) == []


def test_no_allowance_is_left_over() -> None:
    """An arrow that nobody needs any more is taken off the table, so that it stays true."""
    for room, allowed in MAY_IMPORT.items():
        used = {
            room_of(name)
            for path in sources(room)
            for name in imports(path.read_text(encoding="utf-8"), package_of(path, ROOT))
            if is_below(name, {"slipbench"})
        }
        assert allowed - used == set(), room


def test_the_rooms_are_bound_by_few_arrows() -> None:
    """The table has what is used and nothing else, so its arrows are those of the code."""
    assert sum(map(len, MAY_IMPORT.values())) < MOST_ARROWS


def test_modules_do_not_import_each_other_in_a_circle() -> None:
    assert circles() == []


PLANTED = [
    ("bench/packing/tools.py", "from slipbench.figures import style"),
    ("bench/kernel/train.py", "import json"),
    ("bench/kernel/train.py", "from slipbench.ground.errors import InputError"),
    ("bench/contact/hertz.py", "def f():\n    from slipbench.kernel import creep"),
    ("bench/measures/air.py", "import slipbench.stop.simulation"),
    ("bench/scenario/run.py", "import numba"),
    ("bench/stop/worth.py", "from slipbench.controllers import none"),
    ("controllers/none.py", "from slipbench.experiments import notebook"),
    ("bench/ground/errors.py", "from slipbench.scenario import Scenario"),
    ("bench/statistics/effects.py", "from ..campaign import store"),
]


@pytest.mark.parametrize(("file", "line"), PLANTED, ids=[f"{f}: {x}" for f, x in PLANTED])
def test_a_planted_import_is_caught(file: str, line: str, tmp_path: Path) -> None:
    room = Path(file).parts[0 if file.startswith("controllers") else 1]
    copy = tmp_path / file
    shutil.copytree((ROOT / file).parent, copy.parent, symlinks=True)
    assert strangers(room, tmp_path) == []
    copy.write_text(f"{copy.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")
    assert len(strangers(room, tmp_path)) == 1


def test_a_forgotten_room_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "bench" / "attic").mkdir(parents=True)
    (tmp_path / "bench" / "attic" / "box.py").touch()
    assert "attic" in rooms_found(tmp_path) - set(MAY_IMPORT)


@pytest.mark.parametrize(
    ("source", "package", "found"),
    [
        ("import numba.core as n", "slipbench", {"numba.core"}),
        (
            "def f():\n    from slipbench.controllers import none",
            "slipbench",
            {"slipbench.controllers.none"},
        ),
        ("from . import loop", "slipbench.kernel", {"slipbench.kernel.loop"}),
        ("from ..ground import errors", "slipbench.kernel", {"slipbench.ground.errors"}),
    ],
)
def test_no_import_is_overlooked(source: str, package: str, found: set[str]) -> None:
    assert imports(source, package) == found


@pytest.mark.parametrize(
    "module", ["slipbench", "slipbench.contract", "slipbench.ground.errors", "slipbench.contact"]
)
def test_importing_stays_light(module: str) -> None:
    code = f"import {module}, sys; print([m for m in ('numba', 'matplotlib') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_strategy_is_forgotten() -> None:
    """A file below controllers is a listed strategy, or a helper that some strategy imports."""
    files = [path for path in ROOT.glob("controllers/*.py") if path.stem != "__init__"]
    used = set().union(*(imports(path.read_text(encoding="utf-8")) for path in files))
    for path in files:
        module = importlib.import_module(f"slipbench.controllers.{path.stem}")
        if hasattr(module, "update") or hasattr(module, "CONTROLLER"):
            assert module.CONTROLLER in ALL_CONTROLLERS, path
            assert module.CONTROLLER.name == path.stem
        else:
            assert any(is_below(name, {f"slipbench.controllers.{path.stem}"}) for name in used), (
                path
            )


def test_names_are_unique_and_found() -> None:
    names = [controller.name for controller in ALL_CONTROLLERS]
    assert len(set(names)) == len(names)
    assert [by_name(name) for name in names] == list(ALL_CONTROLLERS)


def test_a_stop_imports_neither_scipy_nor_pictures() -> None:
    """Importing scipy's parts would double the start of a short command; numba names scipy only."""
    code = (
        "import sys, slipbench\nfrom slipbench.controllers import by_name\n"
        "scenario = slipbench.load_scenario('wet_leaf').replace(initial_speed=3.0)\n"
        "slipbench.simulate(scenario, by_name('none'))\n"  # locks: flats and temperatures as well
        "parts = [f'scipy.{name}' for name in ('linalg', 'special', 'optimize', 'interpolate')]\n"
        "print([name for name in [*parts, 'matplotlib'] if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
