"""Whether a picture can be read: what its own renderer drew, measured.

Five rules, each a list of faults, empty where it holds:

- no text covers another and none leaves the figure, by the boxes of the texts as drawn;
- no letter is smaller than 8 pt;
- every mark has a contrast of 3:1 with what it lies on, every text of 4.5:1 (Web Content
  Accessibility Guidelines 2.1, criteria 1.4.11 and 1.4.3, formula of their relative luminance);
- every axis that counts has a unit, or says what it counts.

Grid, spines and what is marked `style.CONTEXT` are no marks; images are read by their scale.
"""

from __future__ import annotations

from collections.abc import Iterator
from unittest.mock import patch

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import Collection, QuadMesh
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from slipbench.figures import style

SMALLEST = 8.0
"""[pt]"""

MARK_CONTRAST, TEXT_CONTRAST = 3.0, 4.5

COUNTS = ("axle", "car", "runs", "seeds", "stops", "wheels", "vents", "number of", "share of")
"""How the label of an axis begins that counts things and so has no unit."""

_SLACK = 0.12
"""Share of its height a box of text may lose above and below: room of accents and tails."""


def faults(figure: Figure) -> list[str]:
    """Return what a reader of a figure would stumble over, in words."""
    texts = drawn_texts(figure)
    return [
        *_covered(figure, texts),
        *_small(texts),
        *_pale_texts(texts),
        *_pale_marks(figure),
        *_without_unit(figure, {id(text) for text, _ in texts}),
    ]


def drawn_texts(figure: Figure) -> list[tuple[Text, Bbox]]:
    """Return the texts a renderer really draws, each with its box. [dots]"""
    found: list[tuple[Text, Bbox]] = []
    draw_one = Text.draw

    def recorded(text: Text, renderer, *rest, **named):
        if text.get_visible() and text.get_text().strip():
            found.append((text, _tight(text, renderer)))
        draw_one(text, renderer, *rest, **named)

    canvas = FigureCanvasAgg(figure)
    with style.styled(), patch.object(Text, "draw", recorded):
        canvas.draw()
    return found


def _tight(text: Text, renderer) -> Bbox:
    box = text.get_window_extent(renderer)
    is_upright = round(text.get_rotation() / 90.0) % 2 == 1
    letter = text.get_fontsize() / 72.0 * text.get_figure(root=True).dpi
    x, y = (_SLACK * letter, 0.0) if is_upright else (0.0, _SLACK * letter)
    return Bbox.from_extents(box.x0 + x, box.y0 + y, box.x1 - x, box.y1 - y)


def _covered(figure: Figure, texts: list[tuple[Text, Bbox]]) -> Iterator[str]:
    page = figure.bbox
    for i, (text, box) in enumerate(texts):
        if box.x0 < page.x0 or box.y0 < page.y0 or box.x1 > page.x1 or box.y1 > page.y1:
            yield f"{_said(text)} leaves the figure"
        for other, theirs in texts[i + 1 :]:
            if other is not text and box.overlaps(theirs):
                yield f"{_said(text)} and {_said(other)} cover each other"


def _said(text: Text) -> str:
    return repr(" ".join(text.get_text().split())[:60])


def _small(texts: list[tuple[Text, Bbox]]) -> Iterator[str]:
    for text, _ in texts:
        if text.get_fontsize() < SMALLEST:
            yield f"{_said(text)} has {text.get_fontsize():g} pt"


def luminance(colour: npt.ArrayLike) -> float:
    """Return the relative luminance of an sRGB colour in 0 to 1 (WCAG 2.1). [-]"""
    rgb = np.asarray(colour, dtype=float)[:3]
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(one: npt.ArrayLike, other: npt.ArrayLike) -> float:
    """Return the contrast of two sRGB colours, 1 to 21 (WCAG 2.1). [-]"""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _over(colour, alpha: float | None, ground) -> npt.NDArray[np.float64]:
    r, g, b, a = to_rgba(colour)
    a = a if alpha is None else alpha * a
    return a * np.array([r, g, b]) + (1.0 - a) * np.array(to_rgba(ground)[:3])


def _ground(axes: Axes) -> list[npt.NDArray[np.float64]]:
    """Return the colours marks of an axes may lie on: its face, and bands behind all."""
    face = _over(axes.get_facecolor(), None, style.PAPER)
    bands = [p for p in axes.patches if p.get_gid() == style.CONTEXT and p.get_zorder() <= 0.0]
    return [face, *(_over(band.get_facecolor(), None, face) for band in bands)]


def _least(axes: Axes, colours, alpha: float | None) -> float:
    """Return the least contrast of the best of some colours of one mark."""
    return min(
        max((contrast(_over(c, alpha, ground), ground) for c in colours), default=21.0)
        for ground in _ground(axes)
    )


def _pale_texts(texts: list[tuple[Text, Bbox]]) -> Iterator[str]:
    for text, _ in texts:
        on = style.PAPER if text.axes is None else text.axes.get_facecolor()
        patch_ = text.get_bbox_patch()
        on = on if patch_ is None else patch_.get_facecolor()
        on = _over(on, None, style.PAPER)
        lies_on_image = text.axes is not None and bool(text.axes.images)
        found = contrast(_over(text.get_color(), text.get_alpha(), on), on)
        if found < TEXT_CONTRAST and not lies_on_image:
            yield f"{_said(text)} has a contrast of {found:.1f}"


def panels_of(figure: Figure) -> list[Axes]:
    """Return every axes of a figure that is seen, those inside others as well, once each."""
    found = {id(axes): axes for axes in figure.findobj(Axes) if axes.get_visible()}
    return list(found.values())


def _pale_marks(figure: Figure) -> Iterator[str]:
    for axes in panels_of(figure):
        for mark in (*axes.lines, *axes.collections, *axes.patches):
            if not mark.get_visible() or mark.get_gid() == style.CONTEXT:
                continue
            if isinstance(mark, QuadMesh):
                continue  # a scale, or an image
            for what, colours in _colours(mark):
                found = _least(axes, colours, mark.get_alpha() if what != "mapped" else None)
                if found < MARK_CONTRAST:
                    where = axes.get_xlabel() or axes.get_ylabel() or "a panel"
                    name = type(mark).__name__
                    yield f"{name} {mark.get_label()!r} ({what}) over {where!r}: {found:.1f}"
                    break


def _colours(mark: Artist) -> Iterator[tuple[str, list]]:
    """Give for every part of a mark the colours of which one must stand out."""
    if isinstance(mark, Line2D):
        if mark.get_linestyle() not in ("None", "none", "", " ") and mark.get_linewidth() > 0.0:
            yield "line", [mark.get_color()]
        if mark.get_marker() not in (None, "None", "none", "", " "):
            yield "marker", _there(mark.get_markerfacecolor(), mark.get_markeredgecolor())
    elif isinstance(mark, Patch):
        edge = [mark.get_edgecolor()] if mark.get_linewidth() > 0.0 else []
        yield "area", [mark.get_facecolor(), *edge]
    elif isinstance(mark, Collection):
        for face, edge in _pairs(mark):
            yield "mapped" if mark.get_array() is not None else "area", [face, edge]


def _there(*colours) -> list:
    return [c for c in colours if not (isinstance(c, str) and c == "none")]


def _pairs(mark: Collection) -> list[tuple]:
    faces, edges = list(mark.get_facecolor()), list(mark.get_edgecolor())
    widths = list(np.atleast_1d(mark.get_linewidth()))
    edges = edges if any(width > 0.0 for width in widths) else []
    n = max(len(faces), len(edges))
    empty = (0.0, 0.0, 0.0, 0.0)
    faces, edges = (list(c) if len(c) else [empty] for c in (faces, edges))
    return [(faces[i % len(faces)], edges[i % len(edges)]) for i in range(n)]


def _without_unit(figure: Figure, drawn: set[int]) -> Iterator[str]:
    for axes in panels_of(figure):
        for way in ("x", "y"):
            axis = getattr(axes, f"{way}axis")
            numbers = [t for t in axis.get_ticklabels() if id(t) in drawn and _is_number(t)]
            shared = getattr(axes, f"get_shared_{way}_axes")().get_siblings(axes)
            labels = [getattr(own, f"get_{way}label")() for own in shared]
            if numbers and not any(map(_has_unit, labels)):
                yield f"the {way} axis {labels} of {numbers[0].get_text()!r} ... has no unit"


def _is_number(text: Text) -> bool:
    plain = text.get_text().replace("\N{MINUS SIGN}", "-").replace(" ", "").replace("\u2009", "")
    try:
        float(plain)
    except ValueError:
        return False
    return True


def _has_unit(label: str) -> bool:
    return ("[" in label and "]" in label) or label.startswith(COUNTS)
