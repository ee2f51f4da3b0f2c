"""Any strategies drawn together are told apart, in colour, in grey, and by the colour-blind.

Two looks are apart if their colours differ to the eye or their marks differ in shape, both as
printed: the shape is compared by the share of their area they have in common.
"""

from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from tests.figures.legibility import MARK_CONTRAST, contrast

from slipbench.figures import style
from slipbench.figures.compare import dot_style
from slipbench.strategies.registry import known_controllers

GREY = np.tile([0.2126, 0.7152, 0.0722], (3, 1))
"""Relative luminance of linear sRGB (IEC 61966-2-1)."""

VISIONS = {
    "everybody": np.eye(3),
    "grey": GREY,
    # Machado, Oliveira, Fernandes, A physiologically-based model for simulation of color vision
    # deficiency, IEEE Trans. Visualization and Computer Graphics 15 (2009) 1291-1298, the tables
    # for severity 1.0, for linear sRGB; the same numbers as in the library colorspacious 1.1
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
}  # fmt: skip

APART = 20.0
"""CIE 1976 colour difference two marks need; 2.3 is just seen side by side (Mahy, Van Eycken,
Oosterlinck, Color Res. Appl. 19 (1994) 105-121), small marks far apart need far more (assumed)."""

ALIKE = 0.7
"""Shapes with a greater share of their area in common count as one (assumed)."""


def as_lab(colour, vision):
    """Return CIE L*a*b* (1976, D65) of an sRGB colour as a vision sees it."""
    rgb = np.array(to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(vision @ linear, 0.0, 1.0)
    to_xyz = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                       [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip
    x, y, z = np.where(
        (r := to_xyz @ seen / (0.95047, 1.0, 1.08883)) > (6 / 29) ** 3,
        np.cbrt(r),
        r / 3 * (29 / 6) ** 2 + 4 / 29,
    )
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.fixture(scope="module")
def shape_of():
    """Return a function that gives the dots a mark covers on the printed page, eight times."""
    kept = {}

    def shape(marker):
        if marker not in kept:
            figure = style.new_figure(0.5, 0.5)
            figure.set_dpi(8 * style.RESOLUTION)
            axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
            axes.axis("off")
            look = dot_style(style.Look("#000000", marker), False)
            axes.plot([0.5], [0.5], **look)
            canvas = FigureCanvasAgg(figure)
            canvas.draw()
            kept[marker] = np.asarray(canvas.buffer_rgba())[..., 0] < 128
        return kept[marker]

    return shape


def are_apart(one, other, vision, shape_of):
    a, b = shape_of(one.marker), shape_of(other.marker)
    if (a & b).sum() / (a | b).sum() <= ALIKE:
        return True
    return bool(np.linalg.norm(as_lab(one.colour, vision) - as_lab(other.colour, vision)) >= APART)


@pytest.mark.parametrize("vision", VISIONS)
def test_shipped_strategies_and_a_dozen_of_ones_own_are_told_apart(vision, shape_of):
    """So are any 13 of them: every pair is."""
    names = [*known_controllers(), *(f"own_{i}" for i in range(12))]
    looks = style.looks(names)
    mixed = [
        f"{one} and {other}"
        for one, other in combinations(looks, 2)
        if not are_apart(looks[one], looks[other], VISIONS[vision], shape_of)
    ]
    assert len(known_controllers()) >= 13
    assert mixed == []


def test_shipped_strategies_have_shapes_of_their_own(shape_of):
    looks = style.looks(list(known_controllers())[:13])
    assert len({str(look.marker) for look in looks.values()}) == 13


def test_alike_looks_are_found(shape_of):
    """The check can fail: red and green of one lightness, one shape."""
    one, other = style.Look("#cf4040", "o"), style.Look("#807a28", "h")
    assert are_apart(one, other, VISIONS["everybody"], shape_of)
    assert not are_apart(one, other, VISIONS["deuteranopia"], shape_of)
    assert not are_apart(one, other, VISIONS["grey"], shape_of)


@pytest.mark.parametrize("ground", [style.PAPER, style.BAND])
def test_every_colour_stands_out_from_paper_and_band(ground):
    for colour in (*style.COLOURS, *style.STRATEGY_COLOURS):
        assert contrast(to_rgb(colour), to_rgb(ground)) >= MARK_CONTRAST, colour


def test_a_strategy_keeps_its_look_whatever_is_drawn_beside_it():
    known = list(known_controllers())
    alone = style.looks([*known, "own"])
    assert all(style.looks([*known, "other", "own"])[name] == alone[name] for name in known)
