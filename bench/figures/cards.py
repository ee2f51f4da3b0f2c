"""Pages of guidance: a card a driver can carry, a sheet for whoever answers for it.

Both are one file of black on white, so that they lose nothing when printed in grey, and none is
made without the caution.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from slipbench.figures.pages import escaped, fill, part
from slipbench.ground.caution import CAUTION

NO_NUMBER = "does not stop"
"""What stands where there is no number, and must not be overlooked."""

_ONE_SIDE = {
    "card": "@media print { html { font-size: 12.5px; } .card { font-size: 1rem; } }",
    "sheet": "",
}
"""A card of eight stops fits on one side."""

_SIZES = {"card": "A5 landscape; margin: 8mm", "sheet": "A4 landscape; margin: 11mm"}


@dataclass(frozen=True)
class Table:
    """One table of a page; cells are plain text, `words` of them aligned left.

    Attributes
    ----------
    title : str
    heads : sequence of str
    rows : sequence of sequences of str
    n_words : int    columns of words, from the left
    """

    title: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    n_words: int = 1


@dataclass(frozen=True)
class Cell:
    """A cell that is more than text: its main number, and a small line behind it.

    Attributes
    ----------
    text : str
    small : str
    is_none : bool   stands for no number, and must not be overlooked
    """

    text: str
    small: str = ""
    is_none: bool = False


def card_page(
    title: str,
    who: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[Cell]],
    lines: Sequence[str],
) -> str:
    """Return a card for a driver: one side, large numbers, the caution.

    Parameters
    ----------
    title, who : str              what it is for; which train, step, confidence
    heads : sequence of str       of the columns
    rows : sequence of Cell rows
    lines : sequence of str       what a driver has to know besides, a line each
    """
    head = "".join(f"<th>{escaped(text)}</th>" for text in heads)
    body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in rows)
    said = "".join(f"<p>{escaped(line)}</p>" for line in lines)
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return _page("card", title, who, f"{table}{said}")


def sheet_page(
    title: str,
    who: str,
    tables: Sequence[Table],
    lines: Sequence[str],
    pictures: Mapping[str, bytes],
    command: str,
) -> str:
    """Return a sheet for whoever answers for the card: all numbers, what is assumed, pictures.

    Parameters
    ----------
    title, who : str
    tables : sequence of Table
    lines : sequence of str   what is assumed, a line each
    pictures : mapping        what a picture shows to its SVG
    command : str             makes it again
    """
    assumed = "".join(f"<p>{escaped(line)}</p>" for line in lines)
    shown = "".join(_picture(text, data) for text, data in pictures.items())
    made = f"<h2>Made by</h2><pre>{escaped(command)}</pre>" if command else ""
    body = "".join(map(_table, tables))
    return _page("sheet", title, who, f"{body}<h2>Assumed</h2>{assumed}{shown}{made}")


def _page(kind: str, title: str, who: str, body: str) -> str:
    places = {
        "kind": kind,
        "title": escaped(title),
        "who": escaped(who),
        "css": f"@page {{ size: {_SIZES[kind]}; }}\n{part('card.css')}\n{_ONE_SIDE[kind]}",
        "body": body,
        "caution": escaped(CAUTION),
    }
    return fill(part("card.html"), places)


def _cell(cell: Cell) -> str:
    text = escaped(cell.text)
    if cell.is_none:
        text = f"<span class=none>{text}</span>"
    small = f" <small>{escaped(cell.small)}</small>" if cell.small else ""
    return f"<td>{text}{small}</td>"


def _table(table: Table) -> str:
    classes = [" class=words" if i < table.n_words else "" for i in range(len(table.heads))]
    head = "".join(
        f"<th{kind}>{escaped(text)}</th>" for kind, text in zip(classes, table.heads, strict=True)
    )
    rows = "".join(
        "<tr>"
        + "".join(
            f"<td{kind}>{_marked(text)}</td>" for kind, text in zip(classes, row, strict=True)
        )
        + "</tr>"
        for row in table.rows
    )
    return (
        f"<h2>{escaped(table.title)}</h2><table><thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table>"
    )


def _marked(text: str) -> str:
    return f"<span class=none>{escaped(text)}</span>" if text == NO_NUMBER else escaped(text)


def _picture(text: str, data: bytes) -> str:
    encoded = base64.b64encode(data).decode("ascii")
    return (
        f'<figure><img src="data:image/svg+xml;base64,{encoded}" alt="{escaped(text)}">'
        f"<figcaption class=small>{escaped(text)}</figcaption></figure>"
    )
