"""What equipment costs, as the experiment printed it: our strategy's table and that of all.

As a module it writes both into the handbook, from the CSV the experiment left:

    slipbench experiment what_real_equipment_costs
    python -m tests.guide.equipment slipbench-results/what_real_equipment_costs/*.csv
"""

from __future__ import annotations

import csv
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.places import ROOT

from slipbench.experiments.what_real_equipment_costs import GOOD_RAILS
from slipbench.scenario import GRADES

GUIDE = ROOT / "bench" / "guide"
OWN_PAGE, ALL_PAGE = GUIDE / "our-strategy.md", GUIDE / "strategies.md"
OWN, BESIDE = "cleaning_balance", "slip_band"
MARKED = re.compile(r"(<!-- equipment: .*?-->\n)(.*?)(<!-- end -->)", re.DOTALL)

Rows = Mapping[tuple[str, str], Mapping[str, float]]


def read(path: Path) -> Rows:
    """Return the experiment's numbers by strategy and rail, units left off their names."""
    with path.open(encoding="utf-8") as stream:
        return {
            (row.pop("strategy"), row.pop("rail")): {
                name.partition(" [")[0]: float(value) for name, value in row.items()
            }
            for row in csv.DictReader(stream)
        }


def slippery(rows: Rows) -> list[str]:
    """Return the rails on which wheels slide, in the experiment's order."""
    rails = dict.fromkeys(rail for _, rail in rows)
    return [rail for rail in rails if rail not in GOOD_RAILS]


def _lines(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)


def own_table(rows: Rows) -> str:
    """Return ours by rail, beside the shortest other at `service`."""
    found = []
    for rail in slippery(rows):
        own = rows[OWN, rail]
        others = {
            name: r["service"] for (name, at), r in rows.items() if at == rail and name != OWN
        }
        shortest = min(others, key=lambda name: others[name])
        found.append(
            [
                f"`{rail}`",
                *(f"{own[grade]:,.0f} m" for grade in GRADES),
                f"{own['air_service']:,.0f}",
                f"`{shortest}` {others[shortest]:,.0f} m",
                f"{rows[BESIDE, rail]['air_service']:,.0f}",
            ]
        )
    heads = ["rail", *GRADES, "air at service", "shortest other at service"]
    return _lines([*heads, f"`{BESIDE}`, air at service"], found)


def whole_table(rows: Rows) -> str:
    """Return every strategy: distances by rail, longest lock, vents on good rail, air."""
    rails, found = slippery(rows), []
    for name in dict.fromkeys(strategy for strategy, _ in rows):
        own = {rail: rows[name, rail] for rail in (*rails, *GOOD_RAILS)}
        found.append(
            [
                f"`{name}`",
                *(", ".join(f"{own[rail][g]:,.0f}" for g in GRADES) for rail in rails),
                ", ".join(f"{max(row[f'lock_{g}'] for row in own.values()):.1f}" for g in GRADES),
                ", ".join(f"{own['dry'][f'vents_{g}']:.0f}" for g in GRADES),
                ", ".join(
                    f"{sum(own[rail][f'air_{g}'] for rail in rails) / len(rails):,.0f}"
                    for g in GRADES
                ),
            ]
        )
    heads = ["strategy", *(f"`{rail}`" for rail in rails)]
    return _lines([*heads, "longest lock [s]", "vents on dry", "air [normal litres]"], found)


def told(page: Path) -> list[list[str]]:
    """Return the cells of a page's table of equipment, head and rule left out."""
    marked = MARKED.search(page.read_text(encoding="utf-8"))
    assert marked is not None, page
    return [[cell.strip() for cell in line.split("|")[1:-1]] for line in marked[2].splitlines()[2:]]


def write(path: Path) -> None:
    """Write both tables into the handbook."""
    rows = read(path)
    for page, table in ((OWN_PAGE, own_table(rows)), (ALL_PAGE, whole_table(rows))):
        text = page.read_text(encoding="utf-8")
        page.write_text(MARKED.sub(lambda m, t=table: m[1] + t + m[3], text), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(write(Path(sys.argv[1])))
