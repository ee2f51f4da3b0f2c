"""The report of a measured stop: log, estimate, residuals, alternatives, assumptions."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import NamedTuple

from slipbench.figures.pages import escaped
from slipbench.ground.caution import CAUTION
from slipbench.ground.version import VERSION

NO_BLAME = (
    "This page assigns no blame and proves no compliance. It says what a model makes of a log, "
    "with "
    "bands that hold the model's own trials nine times in ten, and nothing of what it leaves out."
)

ASSUMED = (
    "Wheels of the unit have its inertias and loads; brake force is proportional to cylinder "
    "pressure above the spring, with the backlash of the unit's grade.",
    "One brake gain for the train is estimated; single axles are taken to lie about it with a "
    "deviation of 5 %.",
    "A rolling, braked rim creeps .2 %; rims and radar share a scale known to .2 %.",
    "The rail cleans by the work of sliding of all wheels before, each metre remembers, and a "
    "locked wheel hardly cleans. No measurement of that memory is known to us.",
    "The creep curve is Polach's with a fitted stiffness; what another law would change is in the "
    "bands as far as trials with three others showed it.",
    "Sand, water that dries, wind and what other trains left are not told apart from the film.",
)
"""What every answer rests on."""

STYLE = """
body{font:15px/1.5 system-ui,sans-serif;max-width:62rem;margin:2rem auto;padding:0 1rem;color:#111}
pre{font:12.5px/1.4 ui-monospace,monospace;background:#f6f6f4;padding:.7rem 1rem;overflow-x:auto}
img{width:100%;height:auto;border:1px solid #ddd}
figure{margin:1rem 0}figcaption{color:#444;font-size:.9em}
.caution{border-left:4px solid #111;padding:.3rem .9rem;background:#f2f2f2}
@media print{body{margin:0;max-width:none;font-size:11px}figure,pre{break-inside:avoid}}
"""


class Section(NamedTuple):
    """One part of the report: text as a terminal shows it, and pictures with what they show."""

    title: str
    text: str
    pictures: Sequence[tuple[bytes, str]] = ()


def measured_page(title: str, sections: Sequence[Section], command: str) -> str:
    """Return the report as one HTML page that needs nothing else.

    Parameters
    ----------
    title : str
    sections : of Section
    command : str   that makes it again
    """
    body = "".join(map(_section, sections))
    assumed = "".join(f"<li>{escaped(text)}</li>" for text in ASSUMED)
    return (
        "<!doctype html><html lang=en><head><meta charset=utf-8>"
        "<meta name=viewport content='width=device-width'>"
        f"<title>{escaped(title)}</title><style>{STYLE}</style></head><body>"
        f"<h1>{escaped(title)}</h1>"
        f"<p class=caution>{escaped(NO_BLAME)} {escaped(CAUTION)}</p>{body}"
        f"<h2>Assumptions</h2><ul>{assumed}</ul>"
        f"<p class=caution>{escaped(CAUTION)}</p>"
        f"<p><small>slipbench {VERSION}. Made by: <code>{escaped(command)}</code></small></p>"
        "</body></html>\n"
    )


def _section(section: Section) -> str:
    pictures = "".join(
        f"<figure><img alt='{escaped(told)}' src='data:image/png;base64,"
        f"{base64.b64encode(data).decode()}'><figcaption>{escaped(told)}</figcaption></figure>"
        for data, told in section.pictures
    )
    return f"<h2>{escaped(section.title)}</h2><pre>{escaped(section.text)}</pre>{pictures}"
