"""The handbook's pages: which there are, their order, their text as a reader gets it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from importlib.resources import files
from typing import NamedTuple

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text

PARTS: Mapping[str, tuple[str, ...]] = {
    "Begin": ("start", "engineer", "researcher", "trainer", "practice", "braking-points"),
    "Bring your own": ("own-train", "other-brakes", "own-rail", "own-strategy", "own-c"),
    "Measure": ("measured-stops",),
    "Look up": ("keys", "strategies", "results", "commands", "words"),
    "Exchange with other tools": ("exchange",),
    "Doubt": ("physics", "our-strategy", "strategy-effort", "assumptions", "how-sure", "changes"),
}
"""Topics by part of the book, in reading order; each is a file `<topic>.md` beside this module."""

_INSERT = re.compile(r"^\{\{ *([a-z_]+) *\}\}$", re.MULTILINE)


class Page(NamedTuple):
    """One page: `topic` names it on the command line, `text` is Markdown."""

    topic: str
    title: str
    text: str


def topics() -> list[str]:
    """Return the topics in reading order."""
    return [topic for part in PARTS.values() for topic in part]


def read_page(topic: str, generated: Mapping[str, Callable[[], str]]) -> Page:
    """Return a page with everything generated in its place.

    Parameters
    ----------
    topic : str
    generated : mapping   name to the function that makes what stands for `{{ name }}` in a page

    Raises
    ------
    InputError   for an unknown topic
    """
    if topic not in topics():
        raise InputError(
            f"guide topic {topic[:80]!r}: there is none; {nearest_text(topic, topics())}"
        )
    text = files("slipbench.guide").joinpath(f"{topic}.md").read_text(encoding="utf-8")
    text = _INSERT.sub(lambda found: generated[found[1]]().strip(), text)
    title = text.removeprefix("# ").partition("\n")[0]
    return Page(topic, title, f"{text.rstrip()}\n\n> {CAUTION}\n")


def first_code(topic: str, language: str = "python") -> str:
    """Return the first block of code of a page, as it stands there."""
    text = files("slipbench.guide").joinpath(f"{topic}.md").read_text(encoding="utf-8")
    return text.partition(f"```{language}\n")[2].partition("```")[0]
