"""The headline table of README and handbook, as the experiment on verdicts found it.

As a module it writes the table into both, from the CSV a full run of the experiment left (quarter
of an hour of processor time):

    slipbench experiment where_the_verdict_turns
    python -m tests.guide.headline slipbench-results/where_the_verdict_turns/*.csv
"""

from __future__ import annotations

import csv
import re
import sys
from pathlib import Path

from tests.places import ROOT

PAGES = (ROOT / "README.md", ROOT / "bench" / "guide" / "how-sure.md")
MARKED = re.compile(r"(<!-- verdicts.*?-->\n)(.*?)(<!-- end -->)", re.DOTALL)
ROW = re.compile(r"\| `([^`]+)` \| `([^`]+)` \| (\d+) % \[(\d+), (\d+)\] \| (\d+) % \| (\d+) % \|")
HEAD = (
    "| first | second | first stops shorter, 95 % interval | first clearly | second clearly "
    "| it turns with |\n|---|---|---|---|---|---|\n"
)


def table(path: Path) -> str:
    """Return the table from the experiment's CSV."""
    lines = ""
    with path.open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            share, low, high, first, second = (
                round(100.0 * float(row[f"{name} [-]"]))
                for name in (
                    "share_first",
                    "at_least",
                    "at_most",
                    "first_clearly",
                    "second_clearly",
                )
            )
            lines += (
                f"| `{row['first']}` | `{row['second']}` | {share} % [{low}, {high}] | {first} % "
                f"| {second} % | `{row['hangs_most_on']}`, `{row['then_on']}` |\n"
            )
    return HEAD + lines


def written(page: Path) -> list[tuple[str, str, float, float, float, float, float]]:
    """Return a page's rows: the two sides; share, its interval, both clear shares. [-]"""
    marked = MARKED.search(page.read_text(encoding="utf-8"))
    assert marked is not None, page
    return [
        (row[0], row[1], *(0.01 * float(number) for number in row[2:]))
        for row in ROW.findall(marked[2])
    ]


def write(path: Path) -> None:
    """Write the table into every page."""
    new = table(path)
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        page.write_text(MARKED.sub(lambda m: m[1] + new + m[3], text), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(write(Path(sys.argv[1])))
