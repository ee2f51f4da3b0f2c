"""What pages may say: small JSON objects, each checked before anything is done with it."""

from __future__ import annotations

import json
import math
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.practice.gate import DRIVE, LEAD, WATCH
from slipbench.practice.session import PACES

LARGEST = 512
"""Of a message from a page. [bytes]"""

_CLOCK = {"freeze", "resume", "pace", "end", "again", "choose", "rail"}
MAY = {
    DRIVE: {"hello", "begin", "handle", "isolate", *_CLOCK},
    LEAD: {"guess", "ask", "reveal", *_CLOCK},
    WATCH: {"guess"},
}
"""What each kind of page may ask for."""

_FIELDS: dict[str, dict[str, type]] = {
    "hello": {"id": str},
    "begin": {"name": str},
    "handle": {"to": int},
    "pace": {"to": float},
    "choose": {"to": int},
    "rail": {"to": str},
    "guess": {"name": str, "place": float},
}


def read_message(text: str | bytes, role: str) -> dict[str, Any]:
    """Return a message as a dictionary with `do` and its fields, of the right kinds.

    Raises
    ------
    InputError   for what is no message, or nothing this role may ask for
    """
    if isinstance(text, bytes):
        raise InputError("a binary frame")
    try:
        content = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise InputError("no JSON") from None
    if not isinstance(content, dict) or not isinstance(content.get("do"), str):
        raise InputError("no object that says what to do")
    do = content.pop("do")
    if do not in MAY[role]:
        raise InputError(f"{do[:20]!r} is nothing a page of this kind may ask for")
    fields = _FIELDS.get(do, {})
    if set(content) != set(fields):
        raise InputError(f"{do}: needs {', '.join(fields) or 'no fields'}")
    checked = {name: _checked(do, name, content[name], kind) for name, kind in fields.items()}
    if do == "pace" and checked["to"] not in PACES:
        raise InputError("pace: there is no such pace")
    return {"do": do, **checked}


def _no_constant(word: str) -> float:
    raise ValueError(word)


def _checked(do: str, name: str, value: object, kind: type) -> Any:
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        value = float(value) if abs(value) < 1e9 else math.inf
    if isinstance(value, bool) or not isinstance(value, kind):
        raise InputError(f"{do}: {name} must be of another kind")
    if isinstance(value, str) and len(value) > 100:
        raise InputError(f"{do}: {name} is too long")
    if isinstance(value, float) and not (math.isfinite(value) and abs(value) < 1e7):
        raise InputError(f"{do}: {name} is out of range")
    if isinstance(value, int) and not 0 <= value < 1000:
        raise InputError(f"{do}: {name} is out of range")
    return value
