"""The checks of legibility find what was planted, and nothing in a picture that is in order."""

import pytest
from tests.figures.legibility import contrast, faults

from slipbench.figures import style


@pytest.fixture
def figure():
    with style.styled():
        made = style.new_figure(3.0)
        axes = made.subplots()
        made.subplots_adjust(left=0.1, right=0.97, top=0.95, bottom=0.22)
        axes.plot([0.0, 1.0], [0.0, 1.0], color=style.BLUE)
        axes.set_xlabel("time [s]")
        axes.set_ylabel("distance [m]")
        style.write_caution(made)
    return made


def test_a_picture_in_order_has_no_faults(figure):
    assert faults(figure) == []


def cover(figure):
    figure.text(0.5, 0.5, "one thing")
    figure.text(0.52, 0.51, "another")


def leave(figure):
    figure.text(0.9, 0.5, "words that do not fit any more")


def shrink(figure):
    figure.text(0.5, 0.5, "small", fontsize=7.5)


def fade_text(figure):
    figure.text(0.5, 0.5, "pale", color="#a0a0a0")


def fade_line(figure):
    figure.axes[0].plot([0.0, 1.0], [1.0, 0.0], color="#56b4e9")


def fade_band(figure):
    figure.axes[0].fill_between([0.0, 1.0], 0.2, 0.4, color=style.BLUE, alpha=0.2, linewidth=0)


def fade_dots(figure):
    figure.axes[0].scatter([0.5], [0.5], color="#dddddd")


def drop_unit(figure):
    figure.axes[0].set_xlabel("time")


PLANTED = {
    cover: "cover each other", leave: "leaves the figure", shrink: "7.5 pt",
    fade_text: "contrast of 2", fade_line: "(line)", fade_band: "(area)", fade_dots: "(area)",
    drop_unit: "has no unit",
}  # fmt: skip


@pytest.mark.parametrize("plant", PLANTED, ids=lambda plant: plant.__name__)
def test_a_planted_fault_is_found_alone(figure, plant):
    with style.styled():
        plant(figure)
    (found,) = faults(figure)
    assert PLANTED[plant] in found


def test_context_may_be_pale_and_what_is_out_of_sight_is_not_read(figure):
    axes = figure.axes[0]
    axes.axvline(0.5, color=style.FAINT, gid=style.CONTEXT)
    axes.set_xlim(0.0, 1.0)
    axes.text(9.0, 0.5, "far away", clip_on=True).set_visible(False)
    assert faults(figure) == []


def test_contrast_is_that_of_the_guidelines():
    """WCAG 2.1: black on white 21, equal colours 1; #767676 is the last grey above 4.5."""
    assert contrast((0, 0, 0), (1, 1, 1)) == pytest.approx(21.0)
    assert contrast((0.3, 0.2, 0.1), (0.3, 0.2, 0.1)) == 1.0
    grey = 0x76 / 255
    assert contrast((grey,) * 3, (1, 1, 1)) > 4.5 > contrast((grey + 1 / 255,) * 3, (1, 1, 1))
