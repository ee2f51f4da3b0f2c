"""A page of panels, one a rail, two side by side, under a legend."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from slipbench.figures import style
from slipbench.figures.compare import draw_legend

ROW, HEAD, LEGEND_LINE, FOOT = 2.5, 0.34, 0.24, 0.75
"""Heights of a row of panels, of the room above, of a legend line, and below. [inch]"""


@contextmanager
def rail_panels(
    n_rails: int, legend: Sequence[Sequence[Line2D]]
) -> Iterator[tuple[Figure, list[Axes]]]:
    """Make a figure with a panel a rail, to be drawn into; legend and caution are added behind."""
    n_columns = min(2, n_rails)
    n_rows = -(-n_rails // n_columns)
    head = HEAD + LEGEND_LINE * len(legend)
    height = head + ROW * n_rows + FOOT
    with style.styled():
        figure = style.new_figure(height)
        panels = list(figure.subplots(n_rows, n_columns, squeeze=False).flat)
        figure.subplots_adjust(
            left=0.09, right=0.97, top=1.0 - head / height, bottom=FOOT / height,
            hspace=0.45, wspace=0.2,
        )  # fmt: skip
        for axes in panels[n_rails:]:
            axes.remove()
        yield figure, panels[:n_rails]
        draw_legend(figure, legend, height)
        style.write_caution(figure)
