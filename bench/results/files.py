"""Files that campaign commands write: where they may go, and each whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError

TABLE_MARK = "scenario,scenario_hash,candidate,"
"""How an exported table begins."""
RESULT_SUFFIXES = (".toml", ".png", ".svg", ".csv")
"""Endings of what stands beside a campaign file."""
_READ_FOR_MARK = 65_536  # bytes; the marks stand near the top


def named_path(text: str, option: str = "--out") -> Path:
    """Return the path an option names.

    Raises
    ------
    InputError   if it is empty or no path
    """
    if not text.strip() or "\0" in text:
        raise InputError(f"{option} {text!r}: must be the path of a file")
    return Path(text)


def refuse_foreign(path: Path, mark: str = CAUTION) -> None:
    """Refuse to write where a folder stands, a folder is missing, or a file is not from here.

    Parameters
    ----------
    path : Path
    mark : str    what a file of this program has near its top

    Raises
    ------
    InputError
    """
    if not path.parent.is_dir():
        raise InputError(f"{path}: its folder is missing; make it first")
    if not os.path.lexists(path):
        return
    if not path.is_file():
        raise InputError(f"{path}: is there and is no file; name another")
    try:
        with path.open("rb") as stream:
            is_ours = mark.encode() in stream.read(_READ_FOR_MARK)
    except OSError as problem:
        raise InputError(f"{path}: cannot be read: {problem.strerror}") from problem
    if not is_ours:
        raise InputError(f"{path}: is there and was not written by slipbench; move or rename it")


def refuse_foreign_result(result: Path) -> None:
    """Refuse a result whose file, or whose picture without its file, is not from here.

    Raises
    ------
    InputError
    """
    refuse_foreign(result)
    for picture in (result.with_suffix(".png"), result.with_suffix(".svg")):
        if os.path.lexists(picture) and not result.exists():
            raise InputError(
                f"{picture}: is there without {result.name}, so was not written by slipbench; "
                "move or rename it"
            )


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
    temporary = path.with_name(f".{path.name}.part")
    try:
        returned = write(temporary)
        temporary.replace(path)
    except OSError as problem:
        raise InputError(f"{path}: cannot be written: {problem.strerror}") from problem
    finally:
        temporary.unlink(missing_ok=True)
    return returned
