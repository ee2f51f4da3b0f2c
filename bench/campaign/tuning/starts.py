"""Where the one effort starts from, strategy by strategy: literature or neutral values."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from slipbench.campaign.tuning.tuning import MIDPOINTS, midpoints, started
from slipbench.ground.errors import InputError
from slipbench.ground.reading import regular_toml
from slipbench.ground.telling import shown
from slipbench.strategies.registry import Known

SHIPPED_STARTS = Path(__file__).parent / "starts.toml"
"""The shipped file of starts."""

_KEYS = ("start", "mark", "source")


class Start(NamedTuple):
    """A start as its file gives it: `midpoints` or values, and where they come from."""

    text: str
    mark: str
    source: str


NEUTRAL = Start(MIDPOINTS, "assumed", "neutral: not in the file of starts")
"""Of a strategy that the file does not name."""


def read_starts(path: str | Path = SHIPPED_STARTS) -> dict[str, Start]:
    """Return the starts of a TOML file by strategy: a table each with start, mark and source.

    Raises
    ------
    InputError   if the file cannot be read, or a table lacks one of them
    """
    found = {}
    for name, table in regular_toml(path, "a file of starts").items():
        if not isinstance(table, dict) or set(table) != set(_KEYS):
            raise InputError(f"{path}: [{name}] needs {', '.join(_KEYS)}, all text, nothing else")
        for key in _KEYS:
            if not isinstance(table[key], str) or not table[key].strip():
                raise InputError(f"{path}: {name}.{key} = {shown(table[key])}; allowed: text")
        found[name] = Start(*(table[key] for key in _KEYS))
    return found


def at_start(known: Known, start: Start) -> tuple[Known, str]:
    """Return a strategy at its start, whatever its defaults, and the start in words.

    Raises
    ------
    InputError   for values the strategy does not have or allow
    """
    moved = started(midpoints(known), None if start.text == MIDPOINTS else start.text)[0]
    return moved, f"{start.text} ({start.mark}: {start.source})"
