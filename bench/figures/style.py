"""The look all pictures share: colours, markers, sizes, and how they are saved.

Colours go back to those of Okabe and Ito (Color Universal Design, 2008; values from memory, not
verified), told apart by people with any common colour blindness. Their pale ones are darkened until
every one has a contrast of 3:1 with paper and with a band, and four dark ones are added. In grey
several of them are alike, so a strategy has a marker of its own too; tests/figures/test_looks.py
holds any two apart in grey and under two simulated colour blindnesses.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.ground.caution import CAUTION

if TYPE_CHECKING:
    from slipbench.scenario import Scenario
    from slipbench.stop.stop import Stop

INK = "#1a1a1a"
QUIET = "#6b6b6b"
FAINT = "#d9d9d9"
BAND = "#f3f1ec"
PAPER = "#ffffff"

BLACK, BLUE, VERMILION, GREEN = "#000000", "#0072b2", "#c24d00", "#00835f"
ORANGE, SKY, PURPLE, GREY = "#a87300", "#2e8fcb", "#b85c90", "#767676"
NAVY, BROWN, WINE, PINE = "#141c5c", "#4f2c00", "#5f0a2e", "#003d2b"
SLATE, VIOLET = "#263238", "#40107a"

COLOURS = (BLACK, BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, GREY)
"""Of lines that are told apart by their hue, in the order they are taken."""

STRATEGY_COLOURS = (
    BLACK, BLUE, WINE, VERMILION, NAVY, SKY, BROWN, PURPLE, PINE, ORANGE, SLATE, GREEN, VIOLET,
    GREY,
)  # fmt: skip
"""Dark and light take turns, so that a shape comes back in the other kind: apart in grey too."""

Marker = str | tuple[tuple[float, float], ...]
"""A shape of matplotlib by its letter, or the corners of one of our own."""

_UPRIGHT = ((-0.4, -1.0), (0.4, -1.0), (0.4, 1.0), (-0.4, 1.0), (-0.4, -1.0))
_HOURGLASS = ((-0.8, -1.0), (0.8, -1.0), (-0.8, 1.0), (0.8, 1.0), (-0.8, -1.0))
_BOWL = tuple((math.cos(i * math.pi / 12), 0.5 - math.sin(i * math.pi / 12)) for i in range(13))
_LYING = tuple((y, 1.25 * x) for x, y in _UPRIGHT)

MARKERS = ("X", "o", "s", "^", "D", "v", "P", "*")
"""Of such lines."""

STRATEGY_MARKERS: tuple[Marker, ...] = (
    "X", "o", _UPRIGHT, "^", "P", "d", "*", "v", _LYING, "<", _BOWL, ">", _HOURGLASS,
)  # fmt: skip
"""Shapes no two of which share most of their area; one fewer than colours of strategies, so that a
pair comes back after 182 strategies."""

_SCALES: dict[Marker, float] = {
    "*": 1.6,
    _UPRIGHT: 1.15,
    _LYING: 1.35,
}
"""How much larger a shape is drawn, so that none is a speck."""

SMALLEST = 8.0
"""Of all letters in a picture. [pt]"""

CONTEXT = "context"
"""`gid` of what is drawn only to lean on: lines and areas whose meaning other marks carry, so that
they may be paler than marks. A test asks every other mark for its contrast."""

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
    marker: Marker

    def size(self, size: float) -> float:
        """Return the `markersize` that makes this shape as large to the eye as others. [pt]"""
        return size * _SCALES.get(self.marker, 1.0)


def looks(names: Sequence[str]) -> dict[str, Look]:
    """Return a look for each strategy, by its place in `names`.

    Give all known strategies in their usual order, not only those drawn: then a strategy looks the
    same in every picture.
    """
    return {
        name: Look(
            STRATEGY_COLOURS[i % len(STRATEGY_COLOURS)],
            STRATEGY_MARKERS[i % len(STRATEGY_MARKERS)],
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


def write_caution(figure: Figure) -> None:
    """Write the caution along the bottom of a figure."""
    width, height = figure.get_size_inches()
    figure.text(0.09 / width, 0.07 / height, CAUTION, fontsize=SMALLEST, color=QUIET, va="bottom")


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
        axes.axhline(last + 0.5, color=colour, linewidth=0.5, gid=CONTEXT)
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


def legend_beside(axes: Axes, size: float = 8.0) -> None:
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
