"""The handbook: every page is there, is whole, and what it tells to run runs."""

import math
import re
import shlex
from pathlib import Path

import pytest
from tests.places import ROOT

from slipbench.commands.guide import generators
from slipbench.commands.main import main, make_parser
from slipbench.contract import Controller
from slipbench.controllers import ALL_CONTROLLERS
from slipbench.ground.caution import CAUTION
from slipbench.guide.book import book
from slipbench.guide.pages import PARTS, read_page, topics

FOLDER = ROOT / "bench" / "guide"
ELSEWHERE = {"own-strategy", "own-train", "engineer"}
"""Pages whose blocks build on one another; tests of their own run them."""

FENCE = re.compile(r"^```(\w+)( slow)?\n(.*?)^```", re.MULTILINE | re.DOTALL)


def blocks(is_slow: bool) -> list[object]:
    """Return the console and python blocks to run, as (topic, kind, text, page so far)."""
    found = []
    for topic in topics():
        if topic in ELSEWHERE:
            continue
        text = (FOLDER / f"{topic}.md").read_text(encoding="utf-8")
        for fence in FENCE.finditer(text):
            kind, slow, block = fence.groups()
            if kind in ("console", "python") and bool(slow) == is_slow:
                before = text[: fence.start()]
                found.append(pytest.param(kind, block, before, id=f"{topic}-{block[:24].strip()}"))
    return found


def lay_out(folder: Path, before: str) -> None:
    """Save the TOML blocks a page has shown so far under the names it gives them."""
    tables = [fence[3] for fence in FENCE.finditer(before) if fence[1] == "toml"]
    names = re.findall(r"[Ss]ave it as `(\w+\.toml)`", before)
    for name, table in zip(names, tables, strict=False):
        (folder / name).write_text(table, encoding="utf-8")


def run_block(kind: str, block: str, before: str, folder: Path) -> None:
    lay_out(folder, before)
    if kind == "python":
        exec(compile(block, "handbook", "exec"), {"__name__": "handbook"})
        return
    for line in block.splitlines():
        program, *words = shlex.split(line)
        assert program == "slipbench"
        assert main(words) == 0, line


@pytest.mark.parametrize(("kind", "block", "before"), blocks(is_slow=False))
def test_a_block_runs(
    kind: str, block: str, before: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    run_block(kind, block, before, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "block", "before"), blocks(is_slow=True))
def test_a_long_block_runs(
    kind: str, block: str, before: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    run_block(kind, block, before, tmp_path)


def test_every_file_is_a_topic_and_every_topic_a_file() -> None:
    assert {path.stem for path in FOLDER.glob("*.md")} == set(topics())
    assert len(topics()) == len(set(topics())) == sum(map(len, PARTS.values()))


@pytest.mark.parametrize("topic", topics())
def test_a_page_is_whole(topic: str) -> None:
    page = read_page(topic, generators(make_parser().commands))
    assert page.title and page.text.startswith(f"# {page.title}\n")
    assert "{{" not in page.text and page.text.rstrip().endswith(CAUTION)
    links = re.findall(r"\]\(([\w-]+)\.md\)", page.text)
    assert set(links) <= set(topics())


def commands_in_the_text() -> list[object]:
    """Return the commands that pages name within their sentences, as (topic, command)."""
    found = []
    for topic in topics():
        text = FENCE.sub("", (FOLDER / f"{topic}.md").read_text(encoding="utf-8"))
        for line in sorted(set(re.findall(r"`slipbench ([^`]+)`", text))):
            line = re.sub(r"\s+", " ", line)
            if not re.search(r"\.\.\.|[{<]|\b[A-Z]{2,}\b|^-|^guide|^experiment", line):
                found.append(pytest.param(line, id=f"{topic}-{line[:40]}"))
    return found


@pytest.mark.parametrize("line", commands_in_the_text())
def test_a_command_within_a_sentence_is_understood(line: str) -> None:
    """One named whole is read whole; of one named by a word or two the command is known."""
    words = shlex.split(line)
    if len(words) > 2:
        make_parser().parse_args(words)
    else:
        assert words[0] in {command.name for command in make_parser().commands.all}


def test_the_book_holds_every_page_and_the_caution() -> None:
    generated = generators(make_parser().commands)
    pages = [read_page(topic, generated) for topic in topics()]
    text = book(pages)
    for page in pages:
        assert f'<article id="{page.topic}">' in text and f'href="#{page.topic}"' in text
    assert CAUTION in text and '.md"' not in text and "<!--" not in text


@pytest.mark.parametrize("controller", ALL_CONTROLLERS, ids=lambda c: c.name)
def test_every_parameter_says_what_it_means(controller: Controller) -> None:
    assert [p.name for p in controller.parameters if not (p.doc.endswith(".") and p.unit)] == []
    for p in controller.parameters:
        assert math.isfinite(p.low) and math.isfinite(p.high) and p.low < p.high, p.name
        assert p.low <= p.default <= p.high and p.source, p.name


def test_an_unknown_topic_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide", "enginer"]) == 2
    said = capsys.readouterr().err
    assert "did you mean engineer?" in said and said.count("\n") == 1


def test_a_file_of_the_readers_own_is_not_overwritten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / "handbook.html"
    own.write_text("mine")
    assert main(["guide", "--html", str(tmp_path)]) == 2
    assert own.read_text() == "mine"
    assert "handbook.html" in capsys.readouterr().err
