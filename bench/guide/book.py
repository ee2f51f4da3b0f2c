"""The handbook as one searchable page, and its pictures-free style, from Markdown."""

from __future__ import annotations

import html
from collections.abc import Sequence
from importlib.resources import files

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.version import VERSION
from slipbench.guide.pages import PARTS, Page

MISSING = (
    "guide --html needs markdown-it-py, which turns the pages into a book; install it with "
    "python -m pip install 'slipbench[guide]', or read the pages with slipbench guide TOPIC"
)


def book(pages: Sequence[Page]) -> str:
    """Return the handbook as one HTML page: contents, search, every page.

    Parameters
    ----------
    pages : sequence of Page   in reading order

    Raises
    ------
    InputError   if the Markdown library is not installed
    """
    try:
        from markdown_it import MarkdownIt
    except ImportError:
        raise InputError(MISSING) from None
    render = MarkdownIt("commonmark", {"html": False}).enable("table").render
    by_topic = {page.topic: page for page in pages}
    contents = "".join(
        f"<h2>{html.escape(part)}</h2><ul>"
        + "".join(
            f'<li><a href="#{topic}">{html.escape(by_topic[topic].title)}</a></li>'
            for topic in names
        )
        + "</ul>"
        for part, names in PARTS.items()
    )
    articles = "".join(
        f'<article id="{page.topic}">{_linked(render(page.text))}</article>' for page in pages
    )
    template = files("slipbench.guide").joinpath("book.html").read_text(encoding="utf-8")
    style = files("slipbench.guide").joinpath("book.css").read_text(encoding="utf-8")
    script = files("slipbench.guide").joinpath("book.js").read_text(encoding="utf-8")
    made = f"slipbench {VERSION}"
    parts = {
        "STYLE": style, "SCRIPT": script, "CONTENTS": contents, "ARTICLES": articles,
        "CAUTION": html.escape(CAUTION), "MADE": made,
    }  # fmt: skip
    for name, text in parts.items():
        template = template.replace(f"<!--{name}-->", text)
    return template


def _linked(text: str) -> str:
    """Let links between pages, written as `topic.md`, lead to places of the book."""
    for names in PARTS.values():
        for topic in names:
            text = text.replace(f'href="{topic}.md"', f'href="#{topic}"')
    return text
