"""Every question on one page: `slipbench experiment --all --html FOLDER`."""

from __future__ import annotations

import argparse
import base64
import html
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tqdm import tqdm

from slipbench.experiments.asked import PARTS, Asked
from slipbench.experiments.notebook import ASKED_FOR, Answer, Experiment, Options, as_csv, as_text
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.interrupts import interrupts_ignored
from slipbench.results.output import check_folder, write_folder

PAGE, RECORD, WRITER = "experiments.html", "experiments.json", "slipbench experiment --all"


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> Any:
        raise InputError(f"{message}; see slipbench experiment --all --help")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="slipbench experiment --all", epilog=CAUTION, allow_abbrev=False)
    parser.add_argument("--html", metavar="FOLDER", required=True, help="where the page is written")
    parser.add_argument("--quick", action="store_true", help="small versions, in minutes")
    parser.add_argument("--only", metavar="A[,B]", help="these experiments alone")
    parser.add_argument("--overwrite", action="store_true", help="over an earlier page there")
    for part, (metavar, said) in ASKED_FOR.items():
        parser.add_argument(f"--{part}", metavar=metavar, help=said)
    return parser


def main(listed: Sequence[Any], argv: Sequence[str]) -> int:
    """Answer all questions and write them on one page; return the exit code.

    A question that sets itself what was asked for, or that does not fit it, is on the page with the
    reason in place of an answer.

    Raises
    ------
    InputError   for bad options, or a folder that cannot be written
    """
    arguments = _parser().parse_args(argv)
    chosen = _chosen(listed, arguments.only)
    folder = Path(arguments.html)
    names = [f"{item.name}.csv" for item in chosen]
    check_folder(folder, [PAGE, *names], RECORD, WRITER, arguments.overwrite)
    asked = Asked(*(getattr(arguments, part) for part in PARTS))
    found: dict[str, Answer | str] = {}
    try:
        for item in tqdm(chosen, unit="question", disable=not sys.stderr.isatty(), leave=False):
            found[item.name] = _answer(item.load(), arguments.quick, asked)
    except KeyboardInterrupt as end:
        done = f" after {len(found)} of {len(chosen)} questions; nothing was written"
        raise type(end)(done) from None
    files = {PAGE: page(chosen, found, _typed(argv)).encode()}
    files |= {
        f"{name}.csv": as_csv(answer).encode()
        for name, answer in found.items()
        if isinstance(answer, Answer)
    }
    said = {name: a.sentence if isinstance(a, Answer) else f"-: {a}" for name, a in found.items()}
    record = {"is_quick": arguments.quick, "answers": said, **asked.words()}
    with interrupts_ignored():
        write_folder(folder, files, RECORD, WRITER, record, arguments.overwrite)
    n_told = sum(isinstance(answer, Answer) for answer in found.values())
    print(f"{n_told} of {len(found)} questions answered: open {folder / PAGE}\n\n{CAUTION}")
    return 0


def _chosen(listed: Sequence[Any], only: str | None) -> list[Any]:
    if only is None:
        return list(listed)
    by_name = {item.name: item for item in listed}
    names = [name.strip() for name in only.split(",")]
    for name in names:
        if name not in by_name:
            raise InputError(f"--only {only!r}: {name!r} is no experiment; slipbench experiment")
    return [by_name[name] for name in dict.fromkeys(names)]


def _typed(argv: Sequence[str]) -> str:
    return " ".join(["slipbench experiment --all", *argv])


def _answer(experiment: Experiment, is_quick: bool, asked: Asked) -> Answer | str:
    options = Options(is_quick, 1 if is_quick else experiment.n_seeds)
    try:
        return experiment.answer(options, asked)
    except InputError as problem:
        return " ".join(str(problem).split())


def page(listed: Sequence[Any], found: dict[str, Answer | str], typed: str) -> str:
    """Return the page: a list of questions with their answers, then each with picture and table."""
    from slipbench.figures.pages import part

    items, sections = [], []
    for item in listed:
        question, answer = html.escape(item.question), found[item.name]
        if isinstance(answer, str):
            said = f"<em>Not asked of this case: {html.escape(answer)}</em>"
            items.append(f'<li><a href="#{item.name}">{question}</a><br>{said}</li>')
            sections.append(f'<section id="{item.name}"><h2>{question}</h2><p>{said}</p></section>')
            continue
        said = html.escape(_begun_large(answer.sentence))
        items.append(f'<li><a href="#{item.name}">{question}</a><br>{said}</li>')
        sections.append(_section(item.name, question, said, answer))
    sheet = part("page.css") + part("experiments.css")
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'; img-src data:\">"
        f"<title>slipbench: every question</title><style>{sheet}</style></head><body>"
        "<header><h1>Every question, and what these runs answer</h1>"
        f'<p class="caution">{html.escape(CAUTION)}</p><ol>{"".join(items)}</ol></header>'
        f"<main>{''.join(sections)}</main><footer><pre>{html.escape(typed)}</pre>"
        f'<p class="caution">{html.escape(CAUTION)}</p></footer></body></html>\n'
    )


def _begun_large(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _section(name: str, question: str, said: str, answer: Answer) -> str:
    from slipbench.figures import style

    pictures = "".join(
        f'<figure><img alt="{html.escape(title.replace("_", " "))}" '
        f'src="data:image/png;base64,{base64.b64encode(style.png(figure)).decode("ascii")}"></figure>'
        for title, figure in answer.figures.items()
    )
    table = as_text(answer).rsplit("\n\nAnswer: ", 1)[0]
    return (
        f'<section id="{name}"><h2>{question}</h2><p class="answer">{said}</p>{pictures}'
        f"<details><summary>Table</summary><pre>{html.escape(table)}</pre></details></section>"
    )
