"""What an error may say of something foreign: one short line, without control characters."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

LONGEST_QUOTE = 60
"""Characters of a value that are told; the rest is three dots."""

LONGEST_MESSAGE = 1500
"""Characters of a whole message; longer ones lose their middle."""

LONGEST_PROBLEM = 400
"""Characters of what a strategy's or library's own exception says."""

_BREAKS_LINES = "\u2028\u2029"
_DIGITS_SHOWN = 20


def one_line(text: str) -> str:
    """Return `text` with every run of white space, line ends included, as one space."""
    return " ".join(text.split())


def visible(text: str) -> str:
    r"""Return `text` with all that would move a terminal's cursor, or hide, written as an escape.

    Tabs and line ends too; letters of any script stay.

    Examples
    --------
    >>> visible("a\x1b[31mb")
    'a\\x1b[31mb'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == " " else _escaped(c) for c in text)


def _escaped(character: str) -> str:
    return character.encode("unicode_escape", "backslashreplace").decode("ascii")


def visible_lines(text: str) -> str:
    """Return `text` as `visible` does, its line ends and tabs left as they are."""
    if text.isprintable():
        return text
    return "".join(
        c if c in "\n\t" or (c.isprintable() and c not in _BREAKS_LINES) else _escaped(c)
        for c in text
    )


def cut(text: str, longest: int = LONGEST_QUOTE) -> str:
    """Return `text` in at most so many characters, three dots for what is left out."""
    return text if len(text) <= longest else f"{text[: longest - 3]}..."


def shown(value: object) -> str:
    """Return a value as one short line for an error message, whatever it is.

    A value that is long, deeply nested or cannot print itself is told without printing all of it.
    """
    if isinstance(value, bool | float | None):
        return repr(value)
    if isinstance(value, int):
        return _whole_number(value)
    if isinstance(value, str):
        return cut(visible(one_line(repr(value[: 2 * LONGEST_QUOTE]))))
    if isinstance(value, dict | list | tuple) and not _is_flat(value):
        return f"a {type(value).__name__} with {len(value)} items"
    try:
        text = repr(value)
    except Exception:  # of somebody else's class, or a number too long to print
        text = f"a {type(value).__name__} that cannot be printed"
    return cut(visible(one_line(text)))


def quoted(text: str) -> str:
    """Return a name or word of the user's as it is put into a sentence: cut, visible, no quotes."""
    return cut(visible(one_line(text)))


def both_ends(text: str, longest: int = 80) -> str:
    """Return `text` as one visible line of about so many characters, its middle left out."""
    seen = visible(one_line(text))
    return seen if len(seen) <= longest else f"{seen[: longest // 2]}...{seen[-longest // 2 :]}"


def whole(text: str) -> str:
    """Return a path or origin of the user's, visible and on one line, its end never cut off."""
    return visible(one_line(text))


def message(text: str) -> str:
    """Return a whole message as one line that any terminal can take."""
    told = visible(one_line(text))
    if len(told) <= LONGEST_MESSAGE:
        return told
    half = LONGEST_MESSAGE // 2
    return f"{told[:half]} ... {told[-half:]}"


def _whole_number(value: int) -> str:
    if value.bit_length() <= 64:
        return repr(value)
    if value.bit_length() > 4000:  # the interpreter refuses to print more than 4300 digits
        return f"a whole number of about {int(value.bit_length() * 0.30103):d} digits"
    text = str(value)
    return f"{text[:_DIGITS_SHOWN]}... ({len(text)} digits)"


def _is_flat(value: dict[object, object] | list[object] | tuple[object, ...]) -> bool:
    """Say whether a container may be printed: short, and holding no others of any depth."""
    if len(value) > LONGEST_QUOTE:
        return False
    items = [*value.keys(), *value.values()] if isinstance(value, dict) else list(value)
    return not any(
        isinstance(item, dict | list | tuple)
        or (isinstance(item, int) and item.bit_length() > 4000)
        or (isinstance(item, str) and len(item) > 1000)
        for item in items
    )


def told(problem: BaseException) -> str:
    """Return what an exception says, as one line; of one that cannot say it, that it cannot."""
    try:
        text = str(problem)
    except Exception:
        return "it cannot say what went wrong"
    return cut(message(text), LONGEST_PROBLEM)


def nearest_text(word: str, known: Iterable[str]) -> str:
    """Return `did you mean ...?` for the nearest known word, or the list of all known words."""
    words = list(known)
    near = difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else f"known: {', '.join(words)}"
