"""The page of documentation inside a unit that is written."""

from __future__ import annotations

import html

from slipbench.exchange.outline import Outline
from slipbench.ground.caution import CAUTION
from slipbench.ground.version import VERSION

_STYLE = (
    "body{font:15px/1.5 sans-serif;max-width:60em;margin:2em auto;padding:0 1em;color:#222}"
    "table{border-collapse:collapse}td,th{border-bottom:1px solid #ccc;padding:.2em .8em .2em 0;"
    "text-align:left;vertical-align:top}.caution{border-left:4px solid #b40;padding-left:1em}"
)


def page_of(outline: Outline, built_for: str, what: str, remarks: tuple[str, ...] = ()) -> str:
    """Return the page: what the unit is, what it was built for, its variables."""
    rows = "".join(
        f"<tr><td><code>{html.escape(item.name)}{f'[1..{item.size}]' if item.is_array else ''}"
        f"</code></td><td>{item.causality}</td><td>{html.escape(item.unit) or '-'}</td>"
        f"<td>{html.escape(_start(item.starts))}</td><td>{html.escape(item.text)}</td></tr>\n"
        for item in outline.items
    )
    notes = "".join(f"<p>{html.escape(remark)}</p>\n" for remark in remarks)
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{html.escape(outline.name)}</title>
<style>{_STYLE}</style></head><body>
<h1>{html.escape(outline.name)}</h1>
<p class="caution"><strong>{html.escape(CAUTION)}</strong></p>
<p>{html.escape(what)} {html.escape(outline.text)}</p>
{notes}<p>FMI {outline.version}.0 co-simulation, written by slipbench {VERSION}. Built for
{html.escape(built_for)}. It asks for nothing but the C library and its mathematics; there is no
Python in it. Its sources in C stand in <code>documentation/sources</code>; the physics was compiled
by the bench and is linked in. States can be got, set and serialised.</p>
<table><tr><th>variable</th><th>causality</th><th>unit</th><th>start</th><th>meaning</th></tr>
{rows}</table></body></html>
"""


def _start(starts: tuple[float, ...]) -> str:
    if not starts:
        return ""
    return f"{starts[0]:g}" if len(set(starts)) == 1 else "by axle"
