"""Put result files into a folder: all of them or none, and never over somebody else's.

One of the files, the record, is JSON that names this program and the hash of every other file.
A later run may replace the files of a folder only if they still are what the record says.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored
from slipbench.ground.reading import LONGEST_CODE, is_regular, is_there, place, regular_bytes
from slipbench.ground.version import VERSION
from slipbench.results.files import PART, hash_of_file, refuse_unwritable
from slipbench.results.quantities import SCHEMA, SCHEMA_VERSION

MARKER = "written_by"
"""Key of the record that names the program."""

SEAL = "record_sha256"
"""Key of the record that holds the hash of all the rest of it."""


def seal_of(record: Mapping[str, Any]) -> str:
    """Return the hash of a record's content, its seal apart."""
    rest = {key: value for key, value in record.items() if key != SEAL}
    return _hash(json.dumps(rest, sort_keys=True).encode())


def is_sealed(record: Mapping[str, Any]) -> bool:
    """Say whether a record is as it was written."""
    return record.get(SEAL) == seal_of(record)


def check_folder(
    folder: Path,
    names: Sequence[str],
    record_name: str,
    writer: str,
    may_overwrite: bool = False,
) -> None:
    """Refuse a folder that cannot be written, or holds files of these names that are not ours.

    Parameters
    ----------
    folder : Path            may be missing
    names : sequence of str  files to be written beside the record
    record_name : str        the JSON record
    writer : str             who writes, as the record's marker says
    may_overwrite : bool     regular files that are not ours, or were changed, may be replaced

    Raises
    ------
    InputError
    """
    _refuse_unusable(folder)
    if not folder.is_dir():
        return
    hashes = _hashes_of(folder / record_name, writer)
    for name in (record_name, *names):
        path = folder / name
        if not is_there(path):
            continue
        is_file = is_regular(path) and not path.is_symlink()
        if is_file and may_overwrite:
            continue
        if not is_file and hashes is not None:
            reason = "is no regular file, so was not written by"
        elif hashes is None:
            reason = "was not written by"
        elif name == record_name or hash_of_file(path) == hashes.get(name):
            continue
        else:
            reason = "has been changed since it was written by"
        raise InputError(
            f"output folder {place(folder)}: {name} is there and {reason} {writer}; "
            "move it, name another folder, or give --overwrite"
        )


def _refuse_unusable(folder: Path) -> None:
    """Refuse a path that is no folder and cannot become one."""
    is_there(folder)  # refuses a name no file system takes
    nearest = next(path for path in (folder, *folder.absolute().parents) if os.path.lexists(path))
    if not nearest.is_dir():
        raise InputError(
            f"output folder {place(folder)}: {place(nearest)} is no folder; name another"
        )
    try:
        refuse_unwritable(nearest)
    except InputError:
        raise InputError(
            f"output folder {place(folder)}: {place(nearest)} cannot be written; name another"
        ) from None


def write_folder(
    folder: Path,
    files: Mapping[str, bytes],
    record_name: str,
    writer: str,
    content: Mapping[str, Any],
    may_overwrite: bool = False,
) -> list[Path]:
    """Write files and their record, each in full beside its place and then all renamed.

    What the record before names beside, unchanged since, is of an earlier run and is removed.

    Parameters
    ----------
    folder : Path                 made if missing
    files : mapping               name to content
    record_name, writer, may_overwrite : as in `check_folder`, which is called first
    content : mapping             what else the record holds; plain JSON values, no NaN

    Returns
    -------
    list of Path   what was written, the record first

    Raises
    ------
    InputError   if `check_folder` refuses, or the system does (nothing is left half written)
    """
    check_folder(folder, list(files), record_name, writer, may_overwrite)
    record = {
        MARKER: writer,
        SCHEMA: SCHEMA_VERSION,
        "version": VERSION,
        "caution": CAUTION,
        "files": {name: _hash(data) for name, data in files.items()},
        **content,
    }
    record[SEAL] = seal_of(record)
    text = json.dumps(record, indent=1, allow_nan=False) + "\n"
    stale = [name for name in _unchanged(folder, record_name, writer) if name not in files]
    waiting: list[tuple[str, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in {record_name: text.encode(), **files}.items():
            handle, temporary = tempfile.mkstemp(prefix=PART, dir=folder)
            waiting.append((temporary, folder / name))
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.chmod(temporary, 0o666 & ~_umask())
        with interrupts_ignored():
            for name in stale:
                (folder / name).unlink(missing_ok=True)
            for temporary, path in waiting:
                os.replace(temporary, path)
    except OSError as problem:
        raise InputError(
            f"output folder {place(folder)}: {problem.strerror or problem}"
        ) from problem
    finally:
        for temporary, _ in waiting:
            Path(temporary).unlink(missing_ok=True)
    return [path for _, path in waiting]


def remove_written(folder: Path, record_name: str, writer: str) -> list[str]:
    """Remove what a record names, unchanged since it was written, and the record; return names.

    For pages about numbers that have just been replaced.
    """
    names = _unchanged(folder, record_name, writer)
    if _hashes_of(folder / record_name, writer) is not None:
        names.append(record_name)
    for name in names:
        (folder / name).unlink(missing_ok=True)
    return names


def _unchanged(folder: Path, record_name: str, writer: str) -> list[str]:
    """Return the names of the files in a folder that are what its record says."""
    hashes = _hashes_of(folder / record_name, writer) or {}
    return [
        name
        for name, hashed in hashes.items()
        if os.path.basename(name) == name
        and is_regular(folder / name)
        and not (folder / name).is_symlink()
        and hash_of_file(folder / name) == hashed
    ]


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _hashes_of(record: Path, writer: str) -> dict[str, str] | None:
    """Return the hashes in a record of this writer, None if it is missing or another's."""
    try:
        content = json.loads(regular_bytes(record, "a record of results", most=LONGEST_CODE))
    except (ValueError, RecursionError):  # unreadable, or no JSON
        return None
    if not isinstance(content, dict) or content.get(MARKER) != writer or not is_sealed(content):
        return None
    files = content.get("files")
    return files if isinstance(files, dict) else {}
