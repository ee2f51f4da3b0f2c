"""The README: short, its doors open, its numbers those of the command it names."""

import re
import shlex

import pytest
from tests.guide.readme import README, drawn, half_width, printed, rows
from tests.places import ROOT

from slipbench.commands.guide import generators
from slipbench.commands.main import make_parser
from slipbench.ground.caution import CAUTION
from slipbench.guide.pages import read_page

TEXT = README.read_text(encoding="utf-8")


def test_it_is_short_and_carries_the_caution() -> None:
    assert len(TEXT.splitlines()) < 80
    assert CAUTION in re.sub(r"\s*\n> ", " ", TEXT)
    assert len((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()) < 250


def test_its_numbers_are_those_of_its_command() -> None:
    """A strategy that switches may differ by its scatter on another machine type, no more."""
    written, found = rows(), printed()
    assert [name for name, *_ in written] == [one["name"] for one in found]
    assert len(written) == 4
    for (_, mean, half, lock), one in zip(written, found, strict=True):
        distances = one["distances"]
        assert mean == pytest.approx(sum(distances) / len(distances), abs=0.5 + 0.1 * half)
        assert half == pytest.approx(half_width(distances), abs=0.5 + 0.1 * half)
        assert (lock == "none") == (one["lock"] == 0.0)


def test_its_picture_shows_the_numbers_of_its_table() -> None:
    assert {name: round(distance) for name, distance in drawn().items()} == {
        name: mean for name, mean, *_ in rows()
    }


@pytest.mark.parametrize("line", sorted(set(re.findall(r"`(slipbench [^`]+)`", TEXT))))
def test_a_command_it_names_is_understood(line: str) -> None:
    line = re.sub(r"\s+", " ", line).removeprefix("slipbench ")
    if line == "--help":
        return
    arguments = make_parser().parse_args(shlex.split(line))
    if getattr(arguments, "topic", None):
        read_page(arguments.topic, generators(make_parser().commands))
