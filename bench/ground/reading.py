"""The one way a file of the user's is read: a regular file, of a size that makes sense, or refused.

A pipe would wait for ever, a device may never end and a file of gigabytes fill the memory; all of
them are one line here, before anything is read.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import tomllib
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.ground.telling import message, one_line, quoted, shown, visible

MEGABYTE = 1_000_000
LONGEST_TEXT = 16 * MEGABYTE
"""Of a scenario, a profile, a log, a curve, limits, settings. [bytes]"""

LONGEST_CODE = 512 * MEGABYTE
"""Of a record of many stops, or of a library. [bytes]"""

DEEPEST = 32
"""Levels of tables in a TOML file."""

MOST_TABLES = 50_000
"""Tables in lists of tables in a TOML file."""

LONGEST_KEY = 80
"""Characters of a key in a TOML file."""

_TOO_DEEP = re.compile(r"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){40}", re.ASCII)
"""A dotted key that the parser would take a time square in its length for."""


def place(path: str | os.PathLike[str]) -> str:
    """Return a path as it is told in a message."""
    return visible(one_line(os.fspath(path)))


def regular_bytes(
    path: str | os.PathLike[str], what: str, *, most: int = LONGEST_TEXT, missing: str = ""
) -> bytes:
    """Return the content of a regular file.

    Parameters
    ----------
    path : str or path
    what : str      what such a file is, as "a scenario is a TOML file"
    most : int      larger ones are refused [bytes]
    missing : str   what is said instead where there is no such file

    Raises
    ------
    InputError   one line: no path, missing, a directory, a pipe or device, too large, or the system
                 refuses
    """
    where = place(path)
    try:
        _refuse_special(os.stat(path), where, what)
        handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC | getattr(os, "O_NONBLOCK", 0))
        with open(handle, "rb") as stream:
            _refuse_special(os.fstat(handle), where, what)  # it may have been exchanged meanwhile
            content = stream.read(most + 1)
    except FileNotFoundError:
        raise InputError(f"{where}: no such file; {missing or what}") from None
    except ValueError as problem:
        if isinstance(problem, InputError):
            raise
        raise InputError(f"{shown(os.fspath(path))}: is no path (it holds a NUL)") from None
    except OSError as problem:
        raise InputError(f"{where}: cannot be read ({problem.strerror}); {what}") from None
    if len(content) > most:
        raise InputError(
            f"{where}: is larger than {most / MEGABYTE:g} MB, the most that is read; {what}"
        )
    return content


def _refuse_special(found: os.stat_result, where: str, what: str) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise InputError(f"{where}: is a directory; {what}")
    if not stat.S_ISREG(found.st_mode):
        raise InputError(f"{where}: is no regular file; {what}")


def is_regular(path: str | os.PathLike[str]) -> bool:
    """Say whether there is a regular file, or a link to one; False for what is no path at all."""
    try:
        return stat.S_ISREG(os.stat(path).st_mode)
    except (OSError, ValueError):
        return False


def is_there(path: str | os.PathLike[str]) -> bool:
    """Say whether anything stands at a path, a broken link too.

    Raises
    ------
    InputError   for a name the file system cannot have, such as one that is too long
    """
    try:
        os.lstat(path)
    except ValueError:
        raise InputError(f"{shown(os.fspath(path))}: is no path (it holds a NUL)") from None
    except OSError as problem:
        if problem.errno in (errno.ENAMETOOLONG, errno.ELOOP, errno.EINVAL, errno.EILSEQ):
            told = quoted(os.fspath(path))
            raise InputError(f"{told}: cannot be a file: {problem.strerror}") from None
        return False
    return True


def regular_text(
    path: str | os.PathLike[str], what: str, *, most: int = LONGEST_TEXT, missing: str = ""
) -> str:
    """Return the text of a regular file in UTF-8; a byte order mark is left out.

    Raises
    ------
    InputError   as `regular_bytes`, or for what is not UTF-8, naming the byte
    """
    content = regular_bytes(path, what, most=most, missing=missing)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:  # counted from behind a mark
        raise InputError(f"{place(path)}: byte {problem.start} is not UTF-8 text; {what}") from None


def regular_toml(path: str | os.PathLike[str], what: str, *, missing: str = "") -> dict[str, Any]:
    """Return the content of a TOML file, no deeper and with no larger numbers than can be used.

    Raises
    ------
    InputError   as `regular_text`, or for what is not TOML, nested too deeply, or holds a whole
                 number beyond 64 bits or a key too long to be one
    """
    text = regular_text(path, what, missing=missing)
    where = place(path)
    if text.count("[[") > MOST_TABLES:  # a parser would take half a minute to say so
        raise InputError(f"{where}: holds over {MOST_TABLES} lists of tables; {what}")
    if _TOO_DEEP.search(text):
        raise InputError(f"{where}: not valid TOML: nested too deeply, over {DEEPEST} levels")
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise InputError(f"{where}: not valid TOML: {message(str(problem))}") from None
    except (RecursionError, ValueError):  # ValueError: a whole number of thousands of digits
        raise InputError(
            f"{where}: not valid TOML: nested too deeply, or a number too long"
        ) from None
    check_content(content, where)
    return content


def check_content(content: dict[str, Any], where: str) -> None:
    """Refuse, without recursion, what no reader of such a file should have to think of."""
    waiting: list[tuple[str, int, Any]] = [("", 1, content)]
    while waiting:
        path, depth, value = waiting.pop()
        if isinstance(value, dict):
            for key in value:
                if len(key) > LONGEST_KEY or not key.isprintable():
                    raise InputError(
                        f"{where}: {path}{shown(key)}: unknown key; keys are at most "
                        f"{LONGEST_KEY} printable characters"
                    )
            items = [(f"{path}{key}", item) for key, item in value.items()]
        elif isinstance(value, list):
            items = [(f"{path}{i}", item) for i, item in enumerate(value)]
        else:
            continue
        if depth > DEEPEST:
            raise InputError(f"{where}: {quoted(path)}: nested too deeply, over {DEEPEST} levels")
        for name, item in items:
            if isinstance(item, int) and not -(2**63) <= item < 2**63:
                raise InputError(
                    f"{where}: {name} = {shown(item)}: must be finite, a whole number of 64 bits"
                )
            if isinstance(item, dict | list):
                waiting.append((f"{name}.", depth + 1, item))
