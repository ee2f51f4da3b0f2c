"""Where compiled code is kept, so that an edited source never runs as its old self.

numba's own cache watches only the file that holds a function, not the helpers it calls from other
files: an edited helper would go on running in its old form.  So the cache folder carries a hash of
every compiled source; an edit anywhere means a new folder.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import re
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from functools import lru_cache
from pathlib import Path
from typing import Any

import numba

from slipbench.compiling.checked import checked_files, is_own
from slipbench.compiling.mode import wanted_way

_OURS = re.compile("[0-9a-f]{16}")
"""Names of our folders: a hash. Other folders in the same place are let alone."""

_MARK = "made-by-slipbench"
"""File in a folder that says so; only such folders are ever removed."""

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
    """Return a folder for code compiled from these sources, made if it is missing.

    The base is `SLIPBENCH_CACHE`, else `XDG_CACHE_HOME`, else `~/.cache`. A folder that is not the
    user's own, or that others can write into, is not used, since what is read there is run; nor is
    one that takes no file. Then a private folder serves, for this process and those it starts.
    """
    base = _base()
    if base is not None:
        folder = base / source_hash
        if _is_made(base, folder):
            _drop_old_folders(base, keep=folder)
            return folder
    return _private_base() / source_hash


def _base() -> Path | None:
    named = os.environ.get("SLIPBENCH_CACHE")
    if named:
        return Path(named)
    home = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser(os.path.join("~", ".cache"))
    return Path(home) / "slipbench" if os.path.isabs(home) else None  # of a user without a home


def _is_made(base: Path, folder: Path) -> bool:
    """Make a folder of our own, or say that what is there cannot be one."""
    try:
        base.mkdir(mode=0o700, parents=True, exist_ok=True)
        with suppress(FileExistsError):
            folder.mkdir(mode=0o700)
        is_ours = stat.S_ISDIR(os.lstat(folder).st_mode) and is_own(os.lstat(folder))
        if not is_ours or not is_own(os.stat(base)):
            return False
        if not os.access(folder, os.R_OK | os.W_OK | os.X_OK):
            return False
        with open(folder / _MARK, "w", encoding="utf-8") as stream:
            stream.write("compiled code of slipbench; may be removed\n")
    except (OSError, ValueError):
        return False
    return True


def _private_base() -> Path:
    """Return a folder nobody else can look into, removed when this process ends."""
    base = Path(tempfile.mkdtemp(prefix="slipbench-"))
    os.environ["SLIPBENCH_CACHE"] = str(base)  # for the processes this one starts
    maker = os.getpid()

    def remove() -> None:
        if os.getpid() == maker:
            shutil.rmtree(base, ignore_errors=True)

    atexit.register(remove)
    return base


def _drop_old_folders(base: Path, keep: Path) -> None:
    """Remove all but the newest folders this program made and marked."""
    with suppress(OSError):
        ages = {
            folder: os.lstat(folder).st_mtime
            for folder in base.iterdir()
            if folder != keep and _OURS.fullmatch(folder.name) and _is_marked(folder)
        }
        for folder in sorted(ages, key=ages.__getitem__, reverse=True)[_KEPT_FOLDERS:]:
            shutil.rmtree(folder, ignore_errors=True)


def _is_marked(folder: Path) -> bool:
    with suppress(OSError):
        mark, found = os.lstat(folder / _MARK), os.lstat(folder)
        return stat.S_ISDIR(found.st_mode) and is_own(found) and is_own(mark)
    return False


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


def strategy_folder() -> Path:
    """Return the folder of compiled strategies."""
    return Path(_strategy_folder())


@contextmanager
def _compiled_in(folder: str) -> Iterator[None]:
    settings: Any = numba.config
    before = settings.CACHE_DIR
    settings.CACHE_DIR = folder
    try:
        with checked_files():
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
