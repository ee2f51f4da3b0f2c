"""Open a campaign file: what is none is refused by its first bytes, before SQLite touches it."""

from __future__ import annotations

import os
import sqlite3
import stat
from pathlib import Path
from urllib.parse import quote

from slipbench.campaign.schema import APPLICATION_ID, FORMAT
from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_there, place
from slipbench.ground.telling import told

_MAGIC = b"SQLite format 3\0"
_HEADER = 100
_FORMAT_AT, _APPLICATION_AT = 60, 68
"""Where user version and application id stand in the header (file format of SQLite, 1.3)."""


DATABASE_ERRORS = (sqlite3.Error, UnicodeError)
"""What SQLite raises over a damaged file; the second where it tells a name that is damaged too."""


def refuse_other_file(path: Path) -> None:
    """Refuse what is there and is no campaign of this version; nothing is touched.

    Raises
    ------
    InputError
    """
    if not is_there(path):
        if not path.absolute().parent.is_dir():
            raise InputError(f"campaign {place(path)}: its folder is missing; make it first")
        return
    try:
        found = os.stat(path)
        if stat.S_ISDIR(found.st_mode):
            raise InputError(f"campaign {place(path)}: is a folder; name a file")
        if not stat.S_ISREG(found.st_mode):
            raise InputError(f"campaign {place(path)}: is no regular file; name another")
        with open(path, "rb") as stream:
            header = stream.read(_HEADER)
    except OSError as problem:
        raise InputError(f"campaign {place(path)}: cannot be read: {problem.strerror}") from None
    if not header or os.path.lexists(f"{path}-journal"):  # one killed when it had hardly begun
        return
    if header[: len(_MAGIC)] != _MAGIC or len(header) < _HEADER:
        raise InputError(
            f"campaign {place(path)}: cannot be used: is no database; name another file"
        )
    if _number(header, _APPLICATION_AT) != APPLICATION_ID:
        raise InputError(f"campaign {place(path)}: is another program's database; name another")
    if _number(header, _FORMAT_AT) != FORMAT:
        raise InputError(
            f"campaign {place(path)}: has format {_number(header, _FORMAT_AT)}, this version reads "
            f"{FORMAT}; name another file"
        )


def _number(header: bytes, at: int) -> int:
    return int.from_bytes(header[at : at + 4], "big")


def connected(path: Path, *, leaves_no_trace: bool = False) -> sqlite3.Connection:
    """Return a connection.

    Parameters
    ----------
    path : Path              `:memory:` keeps nothing
    leaves_no_trace : bool   for looking at a file that nobody writes: no files beside it come and
                             go, nothing can be written
    """
    if leaves_no_trace:
        address = f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1"
        db = sqlite3.connect(address, uri=True, isolation_level=None)
    else:
        db = sqlite3.connect(str(path), isolation_level=None, timeout=30.0)
    # a flipped bit may leave text that is none; its seal tells, so it must come through
    db.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
    return db


def is_at_rest(path: Path) -> bool:
    """Say whether a campaign is there, all of it in its main file: not open, and not killed."""
    logs = (f"{path}-wal", f"{path}-journal")
    is_logged = any(os.path.lexists(log) and os.path.getsize(log) for log in logs)
    return os.path.exists(path) and os.path.getsize(path) > 0 and not is_logged


def refuse_torn(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a file whose pages or indices do not fit together.

    Raises
    ------
    InputError
    """
    try:
        found = db.execute("PRAGMA integrity_check(1)").fetchone()[0]
    except DATABASE_ERRORS as problem:
        found = str(problem)
    if found != "ok":  # nothing more goes into a file that is broken
        what = told(ValueError(found))
        raise InputError(f"campaign {place(path)}: is damaged: {what}; {how_to_mend(path)}")


def how_to_mend(path: Path) -> str:
    """Return what to do about a damaged campaign."""
    return (
        f"slipbench mend {place(path)} --to NEW copies what is intact, and the command that made "
        "it computes the rest again; or name another file"
    )
