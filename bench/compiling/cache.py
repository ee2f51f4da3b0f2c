"""Where compiled code is kept, so that an edited source never runs as its old self.

numba's own cache watches only the file that holds a function, not the helpers it calls from other
files: an edited helper would go on running in its old form.  So the cache folder carries a hash of
every compiled source; an edit anywhere means a new folder.
"""

from __future__ import annotations

import getpass
import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any

import numba

from slipbench.compiling.mode import wanted_way

_OURS = re.compile("[0-9a-f]{16}")
"""Names of our folders: a hash. Other folders in the same place are let alone."""

_KEPT_FOLDERS = 8
"""Folders of earlier sources that stay, so switching between two versions does not recompile."""


def hash_of_sources(*places: Path) -> str:
    """Return a short hash over the names and contents of files, and of all Python below folders.

    numba's version and the way of compiling are in it too.
    """
    digest = hashlib.sha256(f"{numba.__version__} {wanted_way()}".encode())
    for place in places:
        for source in [place] if place.is_file() else sorted(place.rglob("*.py")):
            digest.update(source.relative_to(place.parent).as_posix().encode())
            digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder(source_hash: str) -> Path:
    """Return a writable folder for code compiled from these sources, made if it is missing.

    The base is `SLIPBENCH_CACHE`, else `XDG_CACHE_HOME`, else `~/.cache`, else the system's
    temporary folder when none of them can be written.
    """
    named = os.environ.get("SLIPBENCH_CACHE")
    home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    bases = [Path(named)] if named else [Path(home) / "slipbench"]
    for base in [*bases, Path(tempfile.gettempdir()) / f"slipbench-{getpass.getuser()}"]:
        folder = base / source_hash
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            _drop_old_folders(base, keep=folder)
            return folder
    return Path(tempfile.mkdtemp(prefix="slipbench-"))


def _drop_old_folders(base: Path, keep: Path) -> None:
    others = [f for f in base.iterdir() if f.is_dir() and f != keep and _OURS.fullmatch(f.name)]
    others.sort(key=lambda folder: folder.stat().st_mtime, reverse=True)
    for folder in others[_KEPT_FOLDERS:]:
        shutil.rmtree(folder, ignore_errors=True)


_PACKAGE = Path(__file__).parents[1]
_KERNEL = (_PACKAGE / "kernel", _PACKAGE / "compiling")
_STRATEGIES = (*_KERNEL, _PACKAGE / "contract.py", _PACKAGE / "controllers")
_FOLDER = str(cache_folder(hash_of_sources(*_KERNEL)))


def kernel_folder() -> Path:
    """Return the folder of the compiled kernel."""
    return Path(_FOLDER)


@lru_cache(maxsize=1)
def _strategy_folder() -> str:
    """Return the folder of compiled strategies: an edited one must not recompile the kernel."""
    return str(cache_folder(hash_of_sources(*_STRATEGIES)))


@contextmanager
def _compiled_in(folder: str) -> Iterator[None]:
    settings: Any = numba.config
    before = settings.CACHE_DIR
    settings.CACHE_DIR = folder
    try:
        yield
    finally:
        settings.CACHE_DIR = before


def compiled_here() -> AbstractContextManager[None]:
    """Make functions decorated in the `with` body use the kernel's cache folder.

    numba reads its folder when a function is decorated; the caller's own setting is put back.
    """
    return _compiled_in(_FOLDER)


def strategies_compiled_here() -> AbstractContextManager[None]:
    """Do the same for strategies, whose folder follows their own sources as well."""
    return _compiled_in(_strategy_folder())


def is_cold(*functions: str) -> bool:
    """Return whether any of these, written `module.function`, still has to be compiled.

    Without names: the time loop.
    """
    folders = (Path(_FOLDER), Path(_strategy_folder()))
    return not all(
        any(any(folder.rglob(f"{name}-*.nbc")) for folder in folders)
        for name in functions or ("loop.run_compiled",)
    )
