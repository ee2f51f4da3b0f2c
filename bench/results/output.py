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
from slipbench.ground.version import VERSION
from slipbench.results.quantities import SCHEMA, SCHEMA_VERSION

MARKER = "written_by"
"""Key of the record that names the program."""


def check_folder(folder: Path, names: Sequence[str], record_name: str, writer: str) -> None:
    """Refuse a folder that cannot be written, or holds files of these names that are not ours.

    Parameters
    ----------
    folder : Path            may be missing
    names : sequence of str  files to be written beside the record
    record_name : str        the JSON record
    writer : str             who writes, as the record's marker says

    Raises
    ------
    InputError
    """
    nearest = next(path for path in (folder, *folder.absolute().parents) if os.path.lexists(path))
    if not nearest.is_dir():
        raise InputError(f"output folder {folder}: {nearest} is no folder; name another")
    if not os.access(nearest, os.W_OK | os.X_OK):
        raise InputError(f"output folder {folder}: {nearest} cannot be written; name another")
    if nearest != folder:
        return
    hashes = _hashes_of(folder / record_name, writer)
    for name in (record_name, *names):
        path = folder / name
        if not os.path.lexists(path):
            continue
        if hashes is None:
            reason = "was not written by"
        elif path.is_symlink() or not path.is_file():
            reason = "is no regular file, so was not written by"
        elif name == record_name or _hash(path.read_bytes()) == hashes.get(name):
            continue
        else:
            reason = "has been changed since it was written by"
        raise InputError(
            f"output folder {folder}: {name} is there and {reason} {writer}; "
            "move it, or name another folder"
        )


def write_folder(
    folder: Path,
    files: Mapping[str, bytes],
    record_name: str,
    writer: str,
    content: Mapping[str, Any],
) -> list[Path]:
    """Write files and their record, each in full beside its place and then all renamed.

    Parameters
    ----------
    folder : Path                 made if missing
    files : mapping               name to content
    record_name, writer : str     as in `check_folder`, which is called first
    content : mapping             what else the record holds; plain JSON values, no NaN

    Returns
    -------
    list of Path   what was written, the record first

    Raises
    ------
    InputError   if `check_folder` refuses, or the system does (nothing is left half written)
    """
    check_folder(folder, list(files), record_name, writer)
    record = {
        MARKER: writer,
        SCHEMA: SCHEMA_VERSION,
        "version": VERSION,
        "caution": CAUTION,
        "files": {name: _hash(data) for name, data in files.items()},
        **content,
    }
    text = json.dumps(record, indent=1, allow_nan=False) + "\n"
    waiting: list[tuple[str, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in {record_name: text.encode(), **files}.items():
            handle, temporary = tempfile.mkstemp(prefix=f".{name}.", suffix=".part", dir=folder)
            waiting.append((temporary, folder / name))
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.chmod(temporary, 0o666 & ~_umask())
        with interrupts_ignored():
            for temporary, path in waiting:
                os.replace(temporary, path)
    except OSError as problem:
        raise InputError(f"output folder {folder}: {problem.strerror or problem}") from problem
    finally:
        for temporary, _ in waiting:
            Path(temporary).unlink(missing_ok=True)
    return [path for _, path in waiting]


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _hashes_of(record: Path, writer: str) -> dict[str, str] | None:
    """Return the hashes in a record of this writer, None if it is missing or another's."""
    try:
        content = json.loads(record.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(content, dict) or content.get(MARKER) != writer:
        return None
    files = content.get("files")
    return files if isinstance(files, dict) else {}
