"""Where compiled code is kept, so that an edited source never runs as its old self.

numba's own cache watches only the file that holds a function, not the helpers it calls from other
files: an edited helper would go on running in its old form.  So the cache folder carries a hash of
every compiled source; an edit anywhere means a new folder.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numba

_KEPT_FOLDERS = 4
"""Folders of earlier sources that stay, so switching between two versions does not recompile."""


def hash_of_sources(*packages: Path) -> str:
    """Return a short hash over the names and contents of every Python file below the packages."""
    digest = hashlib.sha256(numba.__version__.encode())
    for package in packages:
        for source in sorted(package.rglob("*.py")):
            digest.update(source.relative_to(package).as_posix().encode())
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
    for base in [*bases, Path(tempfile.gettempdir()) / f"slipbench-{os.getuid()}"]:
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
    others = [f for f in base.iterdir() if f.is_dir() and f != keep and len(f.name) == 16]
    others.sort(key=lambda folder: folder.stat().st_mtime, reverse=True)
    for folder in others[_KEPT_FOLDERS:]:
        shutil.rmtree(folder, ignore_errors=True)


_FOLDER = str(
    cache_folder(
        hash_of_sources(
            Path(__file__).parent,
            Path(__file__).parent.parent / "contract",
            Path(__file__).parents[2] / "controllers",
        )
    )
)


@contextmanager
def compiled_here() -> Iterator[None]:
    """Make functions decorated in the `with` body use this project's cache folder.

    numba reads its folder when a function is decorated; the caller's own setting is put back.
    """
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = _FOLDER
    try:
        yield
    finally:
        numba.config.CACHE_DIR = before


def is_cold(*functions: str) -> bool:
    """Return whether any of these, written `module.function`, still has to be compiled.

    Without names: the time loop.
    """
    return not all(
        any(Path(_FOLDER).rglob(f"{name}-*.nbi")) for name in functions or ("loop.run_compiled",)
    )
