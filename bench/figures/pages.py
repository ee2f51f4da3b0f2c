"""Pages in one file: a template of this folder with style, script and data put in."""

from __future__ import annotations

import html
import json
from collections.abc import Mapping
from importlib.resources import files
from typing import Any


def part(name: str) -> str:
    """Return a file of this folder, such as `page.css`."""
    return files("slipbench.figures").joinpath(name).read_text(encoding="utf-8")


def as_data(content: Mapping[str, Any]) -> str:
    """Return JSON that can stand inside a script element of a page."""
    text = json.dumps(content, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def fill(template: str, places: Mapping[str, str]) -> str:
    """Return a template with each `{{name}}` replaced, once over: what is put in is not searched.

    Parameters
    ----------
    template : str
    places : mapping   name to what stands there, escaped already; every name must be there

    Raises
    ------
    KeyError   for a place without a name, or a name without a place
    """
    first, *others = template.split("{{")
    filled, used = [first], set()
    for other in others:
        name, rest = other.split("}}", 1)
        filled += [places[name], rest]
        used.add(name)
    if used != set(places):
        raise KeyError(f"no place for {sorted(set(places) - used)}")
    return "".join(filled)


def escaped(text: object) -> str:
    """Return text as it may stand in a page."""
    return html.escape(str(text))
