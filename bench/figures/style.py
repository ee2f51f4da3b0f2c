"""The look all pictures share: colours, markers, sizes, and how they are saved.

Colours are those of Okabe and Ito (Color Universal Design, 2008; values from memory, not verified),
told apart by people with any common colour blindness; their yellow, too pale on paper, is replaced
by a grey. In grey print several of them are alike, so a strategy has a marker of its own too.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

if TYPE_CHECKING:
    from slipbench.scenario import Scenario
    from slipbench.stop.stop import Stop

INK = "#1a1a1a"
QUIET = "#6b6b6b"
FAINT = "#d9d9d9"
BAND = "#f3f1ec"
PAPER = "#ffffff"

BLACK, BLUE, VERMILION, GREEN = "#000000", "#0072b2", "#d55e00", "#009e73"
ORANGE, SKY, PURPLE, GREY = "#e69f00", "#56b4e9", "#cc79a7", "#808080"

COLOURS = (BLACK, BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, GREY)
MARKERS = ("X", "o", "s", "^", "D", "v", "P", "p", "*")
"""One more marker than colours, so that a pair returns only after 24 strategies."""

_SHIFT = 2
"""By so many places a second round of colours begins later, so that our own strategy, the twelfth,
does not share the green of the band it is most often drawn beside."""

A4 = (8.27, 11.69)
"""An upright page. [inch]"""

WIDTH = 7.5
"""Width of a picture that fills a page. [inch]"""

RESOLUTION = 160
"""Of the PNG. [dots per inch]"""

_RC: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "text.color": INK,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.labelsize": 8.5,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "grid.color": FAINT,
    "grid.linewidth": 0.6,
    "legend.frameon": False,
    "lines.linewidth": 1.4,
    "figure.facecolor": PAPER,
    "text.parse_math": False,  # a name of the user's may hold a dollar
    "svg.hashsalt": "slipbench",
    "svg.fonttype": "path",
}


@dataclass(frozen=True)
class Look:
    """How one strategy is drawn, in every picture of a run."""

    colour: str
    marker: str


def looks(names: Sequence[str]) -> dict[str, Look]:
    """Return a look for each strategy, by its place in `names`.

    Give all known strategies in their usual order, not only those drawn: then a strategy looks the
    same in every picture.
    """
    return {
        name: Look(
            COLOURS[(i + i // len(COLOURS) * _SHIFT) % len(COLOURS)], MARKERS[i % len(MARKERS)]
        )
        for i, name in enumerate(dict.fromkeys(names))
    }


@contextmanager
def styled() -> Iterator[None]:
    """Draw in the project's look inside the `with` body; a caller's own settings come back."""
    with matplotlib.rc_context(_RC):
        yield


def new_figure(height: float, width: float = WIDTH) -> Figure:
    """Return an empty figure, tied to no window. Sizes in inch."""
    return Figure(figsize=(width, height), dpi=RESOLUTION)


def account(stop: Stop) -> str:
    """Return one line that says whose stop a picture shows and how it ended."""
    return f"{stop.scenario.name}, {stop.controller.name}, seed {stop.seed}: {stop.outcome}"


def mark_vehicles(axes: Axes, scenario: Scenario, colour: str) -> list[int]:
    """Draw borders between vehicles on an axis that counts axles downwards, and its ticks.

    Returns
    -------
    list of int   the axles with a tick, from 1: the first, and the last of each vehicle; of long
                  trains not every vehicle
    """
    lasts: list[int] = []
    for vehicle in scenario.train.vehicles:
        lasts.append((lasts[-1] if lasts else 0) + vehicle.n_axles)
    for last in lasts[:-1]:
        axes.axhline(last + 0.5, color=colour, linewidth=0.5)
    every = -(-len(lasts) // 6)
    numbers = sorted({1, *lasts[::-1][::every]})
    axes.set_yticks(numbers)
    return numbers


def bare(axes: Axes) -> None:
    """Take away the vertical axis line and its ticks; labels stay."""
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)


def save(figure: Figure) -> dict[str, bytes]:
    """Return a figure as files: `png` and `svg`, the same bytes for the same figure.

    Returns
    -------
    dict   file name ending (without dot) to content
    """
    files: dict[str, bytes] = {}
    for kind, metadata in (("png", {"Software": None}), ("svg", {"Date": None})):
        stream = io.BytesIO()
        with styled():
            figure.savefig(stream, format=kind, dpi=RESOLUTION, metadata=metadata)
        files[kind] = stream.getvalue()
    return files


def png(figure: Figure) -> bytes:
    """Return a figure as PNG alone, for pages."""
    stream = io.BytesIO()
    with styled():
        figure.savefig(stream, format="png", dpi=RESOLUTION, metadata={"Software": None})
    return stream.getvalue()


def legend_beside(axes: Axes, size: float = 7.5) -> None:
    """Put the legend to the right of the axes, the last drawn on top, as curves there lie.

    Parameters
    ----------
    axes : Axes
    size : float   of the letters. [pt]
    """
    handles, labels = axes.get_legend_handles_labels()
    axes.legend(
        handles[::-1],
        labels[::-1],
        loc="upper left",
        bbox_to_anchor=(1.0, 1.03),
        fontsize=size,
        handlelength=1.6,
    )
