"""Files that campaign commands write: where they may go, and each whole or not at all.

A folder's `slipbench-files.json` keeps the hash of every file written into it. A later run replaces
a file only if it still is what was written; whatever else stands there is the user's.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_regular, is_there, place, regular_bytes
from slipbench.ground.telling import shown

OWN_FILES = "slipbench-files.json"
"""The record of a folder."""

RESULT_SUFFIXES = (".toml", ".png", ".svg", ".csv", ".json")
"""Endings of what stands beside a campaign file."""

_KEPT_HASHES = 2  # the one before too: a run may be killed between record and file
PART = ".slipbench-"
"""How the names of temporary files begin; the rest nobody can foresee."""


def named_path(text: str, option: str = "--out") -> Path:
    """Return the path an option names.

    Raises
    ------
    InputError   if it is empty or no path
    """
    if not text.strip() or "\0" in text:
        raise InputError(f"{option} {shown(text)}: must be the path of a file")
    path = Path(text)
    if path.name in ("", "..", OWN_FILES):
        raise InputError(f"{option} {shown(text)}: must be the path of a file")
    is_there(path)
    return path


def refuse_foreign(path: Path, may_overwrite: bool = False, *, makes_folder: bool = False) -> None:
    """Refuse, before anything is computed, a place where a file cannot be written or is not ours.

    Parameters
    ----------
    path : Path
    may_overwrite : bool   a regular file that is not ours, or was changed, may be replaced
    makes_folder : bool    its folder may be missing, and is made later

    Raises
    ------
    InputError   a folder, link or device stands there, or a file that was not written by this
                 program or has been changed since; the folder is missing, or takes no file
    """
    is_occupied = is_there(path)
    if makes_folder and not os.path.lexists(path.absolute().parent):
        parents = path.absolute().parents
        refuse_unwritable(next(folder for folder in parents if os.path.lexists(folder)))
        return
    if not path.absolute().parent.is_dir():
        if os.path.lexists(path.parent):
            raise InputError(f"{place(path.parent)}: is there and is no folder; name another")
        raise InputError(f"{place(path)}: its folder is missing; make it first")
    if is_occupied and (path.is_symlink() or not is_regular(path)):
        raise InputError(f"{place(path)}: is there and is no regular file; name another")
    refuse_unwritable(path.absolute().parent)
    if is_occupied and not may_overwrite and hash_of_file(path) not in _hashes(path):
        what = "has been changed since it was" if _hashes(path) else "was not"
        raise InputError(
            f"{place(path)}: is there and {what} written by slipbench; move or rename it, or give "
            "--overwrite"
        )


def refuse_foreign_result(
    result: Path, may_overwrite: bool = False, *, makes_folder: bool = False
) -> None:
    """Refuse a result whose file, or one of whose pictures, may not be written; see above.

    Raises
    ------
    InputError
    """
    for path in (result, result.with_suffix(".png"), result.with_suffix(".svg")):
        refuse_foreign(path, may_overwrite, makes_folder=makes_folder)


def refuse_input(path: Path, option: str, inputs: Iterable[str]) -> None:
    """Refuse to write where one of the files a command reads stands, whatever else is allowed.

    Raises
    ------
    InputError
    """
    for text in inputs:
        file = text.rpartition(":")[0] if ".py:" in text else text
        is_same = False
        with suppress(OSError, ValueError):  # no file at all
            is_same = os.path.samefile(path, file)
        if is_same:
            raise InputError(f"{option} {place(path)}: is read by this command; name another")


def refuse_unwritable(folder: Path) -> None:
    """Refuse a folder that takes no new file; that is tried, since rights do not tell everything.

    Raises
    ------
    InputError
    """
    try:
        handle, name = tempfile.mkstemp(prefix=PART, dir=folder)
        os.close(handle)
        os.unlink(name)
    except OSError as problem:
        raise InputError(f"{place(folder)}: cannot be written: {problem.strerror}") from None


@contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """Yield a new file of a name nobody can foresee; put in place if the `with` body succeeds.

    Raises
    ------
    InputError   if the system refuses
    """
    name = ""
    try:
        handle, name = tempfile.mkstemp(prefix=PART, dir=path.absolute().parent)
        os.close(handle)
        yield Path(name)
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except OSError as problem:
        told = problem.strerror or "the system refuses"
        raise InputError(f"{place(path)}: cannot be written: {told}") from problem
    finally:
        if name:
            Path(name).unlink(missing_ok=True)


def write_file(path: Path, data: bytes) -> None:
    """Write a file in full beside its place, then rename it.

    Raises
    ------
    InputError   if the system refuses
    """
    write_through(path, lambda temporary: temporary.write_bytes(data))


def write_through(path: Path, write: Callable[[Path], int]) -> int:
    """Let a function write a temporary file, rename it, and return what the function returned.

    Raises
    ------
    InputError   if the system refuses
    """
    with new_file(path) as temporary:
        returned = write(temporary)
        _enter(path, hash_of_file(temporary))
    return returned


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def hash_of_file(path: Path) -> str:
    """Return the SHA-256 of a file's content."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _hashes(path: Path) -> list[str]:
    """Return what a file's content may be for it to be ours; empty if it was not written here."""
    found = _record(path.absolute().parent).get(path.name)
    return [text for text in found if isinstance(text, str)] if isinstance(found, list) else []


def _record(folder: Path) -> dict[str, object]:
    try:
        content = json.loads(regular_bytes(folder / OWN_FILES, "a record of files"))
    except (InputError, ValueError, RecursionError):
        return {}
    files = content.get("files") if isinstance(content, dict) else None
    return files if isinstance(files, dict) else {}


def _enter(path: Path, hashed: str) -> None:
    """Note in the folder's record that a file is ours; commands at the same time wait."""
    folder = path.absolute().parent
    handle = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        files = {name: hashes for name, hashes in _record(folder).items() if name != path.name}
        earlier = [text for text in _hashes(path) if text != hashed]
        files[path.name] = [*earlier, hashed][-_KEPT_HASHES:]
        content = {
            "written_by": "slipbench",
            "about": "SHA-256 of the files slipbench wrote here, the last two of each; it replaces "
            "no others",
            "files": files,
        }
        with new_file(folder / OWN_FILES) as temporary:
            temporary.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    finally:
        os.close(handle)
