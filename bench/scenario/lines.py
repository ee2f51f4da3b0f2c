"""Where a key stands in a TOML file, and what can be read of a file whose lines are not all TOML.

The standard library's parser tells neither the line of a key nor more than one mistake.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any, NamedTuple

from slipbench.ground.telling import message
from slipbench.scenario.layers import UNREADABLE

MOST_MISTAKES = 20

_WORD = r"(?:\"[^\"\n]*\"|'[^'\n]*'|[A-Za-z0-9_-]+)"
_DOTTED = rf"{_WORD}(?:[ \t]*\.[ \t]*{_WORD})*"
_HEADER = re.compile(rf"[ \t]*(\[\[?)[ \t]*({_DOTTED})[ \t]*\]\]?[ \t]*(?:#.*)?$")
_KEY = re.compile(rf"[ \t]*({_DOTTED})[ \t]*=")
_FIRST_WORDS = re.compile(rf"[ \t]*({_DOTTED})")
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]',
    re.DOTALL,
)


class Mistake(NamedTuple):
    """A line that is no TOML."""

    line: int
    detail: str


def key_lines(text: str) -> dict[str, int]:
    """Return the line, from 1, of every table and key of a TOML text, by dotted path.

    Items of a list of tables are counted from 0 (`rail.section.0.friction`). What stands inside an
    inline table or list is not told apart from its key.
    """
    found: dict[str, int] = {}
    counts: dict[str, int] = {}
    prefix = ""
    lines = text.split("\n")
    i = 0
    while i < len(lines):
        header, key = _HEADER.match(lines[i]), _KEY.match(lines[i])
        if header is not None:
            prefix = _table(_words(header[2]), header[1] == "[[", counts)
            found.setdefault(prefix, i + 1)
            found.setdefault(prefix.rpartition(".")[0] if header[1] == "[[" else prefix, i + 1)
        elif key is not None:
            path = ".".join(filter(None, [prefix, *_words(key[1])]))
            found.setdefault(path, i + 1)
            i = _last_line(lines, i)
        i += 1
    return found


def line_of(text: str, key: str) -> int:
    """Return the line where a dotted key stands, or the innermost table it is in; 0 if neither."""
    found = key_lines(text)
    words = key.split(".")
    for n_words in range(len(words), 0, -1):
        line = found.get(".".join(words[:n_words]))
        if line is not None:
            return line
    return 0


def _words(dotted: str) -> list[str]:
    return [word.strip("\"'") for word in re.findall(_WORD, dotted)]


def _table(words: list[str], is_item: bool, counts: dict[str, int]) -> str:
    """Return the path of a table, items of the lists it is in numbered; count a new item."""
    path = ""
    for i, word in enumerate(words):
        path = f"{path}.{word}" if path else word
        if is_item and i == len(words) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = f"{path}.{counts[path]}"
    return path


def _last_line(lines: list[str], first: int) -> int:
    """Return the line on which the value that begins on `first` ends."""
    value = lines[first].partition("=")[2]
    for last in range(first, min(first + 2000, len(lines))):
        if last > first:
            value += "\n" + lines[last]
        if _is_closed(value):
            return last
    return first


def _is_closed(value: str) -> bool:
    depth, rest = 0, value
    for mark in _STRING.findall(value):
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(mark, 0)
        rest = rest.replace(mark, "", 1) if mark[:1] in "\"'#" else rest
    return depth <= 0 and '"""' not in rest and "'''" not in rest


def readable_part(text: str) -> tuple[dict[str, Any], list[Mistake]]:
    """Return what can be read of a TOML text, and the lines that cannot.

    Parameters
    ----------
    text : str

    Returns
    -------
    dict              the content; where a line could not be read its key holds `UNREADABLE`
    list of Mistake   in the order of their lines, at most 20

    Notes
    -----
    A line the parser stops at is taken out and the rest read again. After a table's head that
    cannot be read, its keys are taken out too, since they would land in the table before. A value
    over several lines that cannot be read ends the search: what follows it may belong to it.
    """
    lines = text.split("\n")
    mistakes: list[Mistake] = []
    while True:
        try:
            return tomllib.loads("\n".join(lines)), sorted(mistakes)
        except tomllib.TOMLDecodeError as problem:
            place = _AT_LINE.search(str(problem))
            at = int(place[1]) if place else 0
            detail = message(_AT_LINE.sub("", str(problem)).strip())
        if not 1 <= at <= len(lines) or not lines[at - 1].strip() or len(mistakes) >= MOST_MISTAKES:
            mistakes.append(Mistake(at or len(lines), f"not valid TOML: {detail}"))
            return {}, sorted(mistakes)
        mistakes.append(Mistake(at, f"not valid TOML: {detail}"))
        _take_out(lines, at - 1, is_twice="verwrite" in detail)


def _take_out(lines: list[str], i: int, *, is_twice: bool) -> None:
    """Replace a line by what can be read: its key without its value, or nothing."""
    bad = lines[i]
    words = _FIRST_WORDS.match(bad)
    lines[i] = ""
    if bad.lstrip().startswith("["):
        for j in range(i + 1, len(lines)):
            if lines[j].lstrip().startswith("["):
                return
            lines[j] = ""
    elif words is not None and not is_twice:
        lines[i] = f'{words[1]} = "{UNREADABLE}"'
