"""What a stop's numbers depend on besides scenario, strategy and seed: sources and machine."""

from __future__ import annotations

import ast
import hashlib
import importlib.util
import platform
import sys
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

from slipbench.ground.version import VERSION
from slipbench.results.canonical import as_json, short_hash

STOP_MODULE = "slipbench.running.task"
"""The module whose imports, followed through this package, are all that makes a stop."""

_STATEMENTS = ("body", "orelse", "finalbody", "handlers", "cases")
"""Where a syntax tree's nodes keep the statements below them."""


def sources_of(module: str, package: str) -> dict[str, Path]:
    """Return the source files of a module and of all it imports from a package, by module name.

    Imports inside functions count. Names are looked up as files, nothing is executed.
    """
    spec = importlib.util.find_spec(package)
    roots = list(spec.submodule_search_locations or ()) if spec else []
    found: dict[str, Path] = {}
    waiting = [module]
    while waiting:
        name = waiting.pop()
        path = _file_of(name, package, roots)
        if path is None or name in found:
            continue
        found[name] = path
        waiting.extend(imported_names(path))
        if "." in name:
            waiting.append(name.rpartition(".")[0])
    return found


def imported_names(path: Path) -> list[str]:
    """Return every module name a source file may import; `from a import b` gives a and a.b."""
    names: list[str] = []
    waiting: list[ast.AST] = [ast.parse(path.read_bytes())]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names.append(node.module)
            names += [f"{node.module}.{alias.name}" for alias in node.names]
        for part in _STATEMENTS:  # no import stands inside an expression
            waiting.extend(getattr(node, part, ()))
    return names


def _file_of(name: str, package: str, roots: Iterable[str]) -> Path | None:
    if name != package and not name.startswith(f"{package}."):
        return None
    parts = name.split(".")[1:]
    for root in roots:
        base = Path(root, *parts)
        for path in (base.with_suffix(".py"), base / "__init__.py"):
            if path.is_file() and (parts or path.name == "__init__.py"):
                return path
    return None


def hash_of_files(files: Mapping[str, Path]) -> str:
    """Return a hash over the names and contents of source files."""
    digest = hashlib.sha256()
    for name in sorted(files):
        digest.update(name.encode() + b"\0" + files[name].read_bytes() + b"\0")
    return digest.hexdigest()[:32]


@lru_cache(maxsize=1)
def versions() -> Mapping[str, str]:
    """Return what must be equal for two stops to belong together: sources and libraries."""
    libraries = {name: version(name) for name in ("numba", "llvmlite", "numpy", "scipy")}
    return {
        "slipbench": VERSION,
        "sources": hash_of_files(sources_of(STOP_MODULE, "slipbench")),
        "python": platform.python_version(),
        **libraries,
    }


@lru_cache(maxsize=1)
def versions_text() -> str:
    """Return `versions()` as canonical text."""
    return as_json(dict(versions()))


@lru_cache(maxsize=1)
def machine_text() -> str:
    """Return the machine type as canonical text: processor, its features, system, C library.

    Library maths may differ in the last bit between machine types, so it is kept with every stop.
    """
    from llvmlite import binding

    features = binding.get_host_cpu_features()
    return as_json(
        {
            "processor": binding.get_host_cpu_name(),
            "features": sorted(name for name, is_there in features.items() if is_there),
            "architecture": platform.machine(),
            "system": sys.platform,
            "libc": " ".join(platform.libc_ver()),
        }
    )


def machine_hash() -> str:
    """Return the hash of the machine type."""
    return short_hash(machine_text())


def differing(before: Mapping[str, str], after: Mapping[str, str]) -> str:
    """Return what differs between two sets of versions, as `name old -> new, ...`; may be empty."""
    names = [*before, *(name for name in after if name not in before)]
    return ", ".join(
        f"{name} {before.get(name, 'none')} -> {after.get(name, 'none')}"
        for name in names
        if before.get(name) != after.get(name)
    )
