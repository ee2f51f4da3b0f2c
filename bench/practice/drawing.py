"""Small line and bar pictures as SVG inside a page: in its colours, printed as it is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from slipbench.contract import Floats
from slipbench.figures.pages import escaped

WIDTH, LEFT, RIGHT, TOP = 720.0, 46.0, 84.0, 18.0
"""Of a picture, and the room around its axes, in its own units."""

_STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)


@dataclass(frozen=True)
class Line:
    """One line of a picture: places, values, name and class of the style sheet (`you`, `held`)."""

    x: Floats
    y: Floats
    name: str
    kind: str


@dataclass(frozen=True)
class Axes:
    """Where values stand in a picture of some height: from 0 to a largest value, both ways."""

    x_most: float
    y_most: float
    height: float

    def x(self, value: float) -> float:
        """Return where a place stands across."""
        return LEFT + value / self.x_most * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        """Return where a value stands down."""
        return self.height - 34.0 - value / self.y_most * (self.height - 34.0 - TOP)


def picture(
    lines: Sequence[Line],
    units: tuple[str, str],
    label: str,
    shaded: Sequence[tuple[float, float]] = (),
    posts: Sequence[tuple[float, str]] = (),
    height: float = 200.0,
) -> str:
    """Return lines over one distance axis.

    Parameters
    ----------
    lines : sequence of Line
    units : (str, str)      of the distance, and of the values
    label : str             what the picture shows, for those who do not see it
    shaded : (from, to)     stretches of the axis that are shaded
    posts : (place, word)   upright lines with a word on top
    height : float          in the picture's units; it is `WIDTH` wide
    """
    x_most = max(float(line.x[-1]) for line in lines)
    y_most = 1.08 * max(float(np.max(line.y)) for line in lines)
    axes = Axes(max([x_most, 1e-9] + [place for place, _ in posts]), max(y_most, 1e-9), height)
    drawn = [
        f'<rect class="eased" x="{axes.x(start):.1f}" y="{TOP}"'
        f' width="{max(axes.x(end) - axes.x(start), 1.0):.1f}" height="{height - 34.0 - TOP:.1f}"/>'
        for start, end in shaded
    ]
    drawn += _grid(axes, units)
    for place, word in posts:
        at = axes.x(place)
        drawn.append(f'<path class="post" d="M{at:.1f} {TOP}V{height - 34.0:.1f}"/>')
        drawn.append(f'<text class="post" x="{at:.1f}" y="13" text-anchor="middle">{word}</text>')
    drawn += _lines(lines, axes)
    return _svg(drawn, label, height)


def bars(pairs: Sequence[tuple[float, float]], unit: str, label: str, height: float = 120.0) -> str:
    """Return two bars a wheelset, from the front: as driven, and held.

    Parameters
    ----------
    pairs : sequence of (float, float)
    unit : str      of their heights
    label : str     what the picture shows, for those who do not see it
    """
    most = 1.1 * max([value for pair in pairs for value in pair] + [1e-9])
    axes = Axes(float(len(pairs)), most, height)
    drawn = _scale(axes, unit)
    width = (axes.x(1.0) - axes.x(0.0)) * 0.36
    for i, pair in enumerate(pairs):
        for k, (kind, value) in enumerate(zip(("you", "held"), pair, strict=True)):
            x, y = axes.x(i + 0.1) + k * width * 1.1, axes.y(value)
            drawn.append(
                f'<rect class="bar {kind}" x="{x:.1f}" y="{y:.1f}" width="{width:.1f}"'
                f' height="{max(axes.y(0.0) - y, 0.0):.1f}"/>'
            )
        if len(pairs) <= 24 or i % 4 == 0:
            drawn.append(
                f'<text x="{axes.x(i + 0.5):.1f}" y="{height - 18.0:.1f}"'
                f' text-anchor="middle">{i + 1}</text>'
            )
    right = WIDTH - RIGHT + 8
    drawn.append(f'<text x="{right}" y="{height - 18.0:.1f}">axle</text>')
    return _svg(drawn, label, height)


def _svg(drawn: Iterable[str], label: str, height: float) -> str:
    return (
        f'<svg viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" aria-label="{escaped(label)}">'
        f"{''.join(drawn)}</svg>"
    )


def _round_step(most: float, n: int) -> float:
    return next((step for step in _STEPS if most / step <= n), 5000.0)


def _scale(axes: Axes, unit: str) -> list[str]:
    drawn = []
    step = _round_step(axes.y_most, 4)
    for i in range(int(axes.y_most / step) + 1):
        y = axes.y(i * step)
        drawn.append(f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>')
        drawn.append(f'<text x="{LEFT - 5}" y="{y + 4:.1f}" text-anchor="end">{i * step:g}</text>')
    drawn.append(f'<text x="2" y="12">{escaped(unit)}</text>')
    return drawn


def _grid(axes: Axes, units: tuple[str, str]) -> list[str]:
    drawn = _scale(axes, units[1])
    step = _round_step(axes.x_most, 8)
    for i in range(int(axes.x_most / step) + 1):
        x = axes.x(i * step)
        drawn.append(
            f'<text x="{x:.1f}" y="{axes.height - 18:.1f}" text-anchor="middle">{i * step:g}</text>'
        )
    right, bottom = WIDTH - RIGHT, axes.height - 4
    drawn.append(f'<text x="{right}" y="{bottom:.1f}" text-anchor="end">{escaped(units[0])}</text>')
    return drawn


def _lines(lines: Sequence[Line], axes: Axes) -> list[str]:
    """Draw the lines, each named at its end, names kept apart."""
    drawn: list[str] = []
    taken: list[tuple[float, float]] = []
    for line in lines:
        rows = np.unique(np.linspace(0, len(line.x) - 1, min(len(line.x), 500)).astype(int))
        points = " ".join(f"{axes.x(line.x[i]):.1f},{axes.y(line.y[i]):.1f}" for i in rows)
        drawn.append(f'<polyline class="{line.kind}" points="{points}"/>')
        x, y = axes.x(float(line.x[-1])) + 6, axes.y(float(line.y[-1])) + 4
        if any(abs(x - other_x) < 70 and abs(y - other) < 14 for other_x, other in taken):
            y -= 15
        taken.append((x, y))
        drawn.append(
            f'<text class="{line.kind}" x="{x:.1f}" y="{y:.1f}">{escaped(line.name)}</text>'
        )
    return drawn
