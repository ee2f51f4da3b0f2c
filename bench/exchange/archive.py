"""A unit's zip: looked at before anything is unpacked, and unpacked into a private folder.

A unit comes from anywhere, and `zipfile` limits nothing: so names that lead out of the folder,
links, doubles, encryption and whatever would fill the disk are refused first.
"""

from __future__ import annotations

import atexit
import os
import shutil
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import lru_cache
from pathlib import Path, PurePosixPath

from slipbench.ground.errors import InputError
from slipbench.ground.reading import MEGABYTE, place, regular_bytes
from slipbench.ground.telling import message, shown

DESCRIPTION = "modelDescription.xml"

MOST_FILES = 1000
MOST_BYTES = 200 * MEGABYTE
"""Of all files unpacked. [bytes]"""

MOST_DESCRIPTION = 16 * MEGABYTE
"""Of `modelDescription.xml`. [bytes]"""

MOST_RATIO, SMALL = 500, 10 * MEGABYTE
"""Unpacked over packed size of a file that is not small; plain zeros come to 1030. [-] [bytes]"""

ROOT = "SLIPBENCH_UNITS"
"""Environment variable: the folder that holds what this process, and those it starts, unpacked."""

_PREFIX = "slipbench-units-"
_ENCRYPTED = 0x1
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as problem:
        told = message(str(problem)) or "damaged"
        raise InputError(f"unit {place(path)}: no zip that can be read ({told})") from None
    except (OSError, UnicodeError, ValueError) as problem:
        if isinstance(problem, InputError):
            raise
        raise InputError(f"unit {place(path)}: cannot be read ({message(str(problem))})") from None


def read_description(path: Path) -> bytes:
    """Return the content of a unit's `modelDescription.xml`, its zip looked over first.

    Raises
    ------
    InputError   one line: no zip, a zip that is not to be unpacked, or no description in it
    """
    with _opened(path) as archive:
        members = {member.filename: member for member in _checked(path, archive)}
        found = members.get(DESCRIPTION)
        if found is None:
            raise InputError(f"unit {place(path)}: has no {DESCRIPTION}; it is no FMI unit")
        if found.file_size > MOST_DESCRIPTION:
            raise InputError(
                f"unit {place(path)}: {DESCRIPTION} holds {found.file_size / MEGABYTE:.0f} MB; at "
                f"most {MOST_DESCRIPTION / MEGABYTE:g} MB are read"
            )
        with archive.open(found) as stream:
            return stream.read(MOST_DESCRIPTION)


def files_in(path: Path) -> tuple[str, ...]:
    """Return the names of the files in a unit's zip."""
    with _opened(path) as archive:
        return tuple(member.filename for member in _checked(path, archive) if not member.is_dir())


def _checked(path: Path, archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """Return what is in a zip, or refuse it."""
    members, where = archive.infolist(), f"unit {place(path)}"
    if len(members) > MOST_FILES:
        raise InputError(f"{where}: holds {len(members)} files; at most {MOST_FILES} are unpacked")
    seen: set[str] = set()
    for member in members:
        name = member.orig_filename
        _check_name(where, name)
        folded = name.rstrip("/").casefold()
        if folded in seen:
            raise InputError(f"{where}: file {shown(name)} is there twice")
        seen.add(folded)
        mode = member.external_attr >> 16
        if mode and not (stat.S_ISREG(mode) or stat.S_ISDIR(mode) or stat.S_IFMT(mode) == 0):
            raise InputError(f"{where}: file {shown(name)} is a link or a device, not a file")
        if member.flag_bits & _ENCRYPTED or member.compress_type not in _METHODS:
            raise InputError(f"{where}: file {shown(name)} is encrypted, or packed as no unit is")
        most = max(SMALL, MOST_RATIO * member.compress_size)
        if member.file_size > most:
            raise InputError(
                f"{where}: file {shown(name)} would grow {MOST_RATIO}-fold and more (a zip bomb)"
            )
    total = sum(member.file_size for member in members)
    if total > MOST_BYTES:
        raise InputError(
            f"{where}: would fill {total / MEGABYTE:.0f} MB; at most {MOST_BYTES / MEGABYTE:g} MB "
            "are unpacked"
        )
    return members


def _check_name(where: str, name: str) -> None:
    parts = PurePosixPath(name).parts
    leads_out = name.startswith("/") or ".." in parts or ":" in name or "\\" in name
    if leads_out or not name.isprintable() or not parts or len(name) > 255:
        raise InputError(f"{where}: file name {shown(name)} leads out of the folder, or is none")


def content_of(path: Path) -> bytes:
    """Return a unit's file as it is, for its hash.

    Raises
    ------
    InputError   missing, no regular file, or larger than a unit that is unpacked may be
    """
    return regular_bytes(path, "a unit is an FMI model, packed as .fmu", most=MOST_BYTES)


@lru_cache(maxsize=64)
def unpacked(path: Path, digest: str) -> Path:
    """Return a private folder with the files of a unit; it is removed when this process ends.

    Processes that this one starts find it there too.

    Parameters
    ----------
    path : Path
    digest : str   hash of its content, which names the folder

    Raises
    ------
    InputError   see `read_description`; and when the disk has no room
    """
    folder = units_folder() / digest
    if folder.is_dir():
        return folder
    making = Path(tempfile.mkdtemp(prefix="unpacking-", dir=units_folder()))
    try:
        _unpack(path, making)
        with suppress(FileExistsError, OSError):  # another process may have been quicker
            making.rename(folder)
        if not folder.is_dir():
            raise InputError(f"unit {place(path)}: cannot be unpacked into {place(folder)}")
    finally:
        shutil.rmtree(making, ignore_errors=True)
    return folder


def _unpack(path: Path, folder: Path) -> None:
    left = MOST_BYTES
    with _opened(path) as archive:
        for member in _checked(path, archive):
            target = folder.joinpath(*PurePosixPath(member.filename).parts)
            if member.is_dir():
                target.mkdir(parents=True, exist_ok=True)
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            with archive.open(member) as source, open(target, "xb") as stream:
                while block := source.read(MEGABYTE):
                    left -= len(block)
                    if left < 0:  # the zip's own account of sizes was wrong
                        raise InputError(f"unit {place(path)}: is larger than it says (a zip bomb)")
                    stream.write(block)


@lru_cache(maxsize=1)
def units_folder() -> Path:
    """Return the folder for all that is unpacked: nobody else can look into it."""
    given = os.environ.get(ROOT)
    if given and os.path.isdir(given):
        return Path(given)
    _sweep()
    root = Path(tempfile.mkdtemp(prefix=f"{_PREFIX}{os.getpid()}-"))
    os.environ[ROOT] = str(root)
    maker = os.getpid()

    def remove() -> None:
        if os.getpid() == maker:
            shutil.rmtree(root, ignore_errors=True)
            os.environ.pop(ROOT, None)

    atexit.register(remove)
    return root


def _sweep() -> None:
    """Remove what earlier processes of this user left that were killed."""
    for old in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*-*"):
        number = old.name.removeprefix(_PREFIX).partition("-")[0]
        with suppress(OSError, ValueError):
            if old.stat().st_uid == os.getuid() and not _is_alive(int(number)):
                shutil.rmtree(old, ignore_errors=True)


def _is_alive(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
