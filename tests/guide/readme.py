"""The numbers in the README, as its own command prints them; as a module it writes them there."""

from __future__ import annotations

import contextlib
import io
import json
import re
import shlex
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.places import ROOT

from slipbench.commands.main import main

README = ROOT / "README.md"
MARKED = re.compile(r"(<!-- numbers.*?-->\n\|.*?\n\|.*?\n)(.*?)(<!-- end -->)", re.DOTALL)
ROW = re.compile(r"\| `(\w+)`[^|]*\| ([\d,]+) ± ([\d,]+) m \| ([\d.]+ s|none) \|")


def command() -> list[str]:
    """Return the words of the command the README says it printed its numbers with."""
    (line,) = re.findall(r"\(`slipbench (compare wet_leaf --strategy [^`]+)`\)", README.read_text())
    return shlex.split(line)


def printed() -> list[dict[str, Any]]:
    """Run it and return its rows by strategy: name, distances, longest lock."""
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
        assert main([*command(), "--out", folder]) == 0
        record = json.loads((Path(folder) / "compare.json").read_text())
    by_name: dict[str, dict[str, Any]] = {}
    for row in record["rows"]:
        name = row.get("strategy") or row["controller"]
        found = by_name.setdefault(name, {"name": name, "distances": [], "lock": 0.0})
        found["distances"].append(row["stopping_distance"])
        found["lock"] = max(found["lock"], row["longest_lock"])
    return list(by_name.values())


def rows() -> list[tuple[str, float, float, str]]:
    """Return the README's rows: strategy, mean, half-width [m], longest lock."""
    marked = MARKED.search(README.read_text(encoding="utf-8"))
    assert marked is not None
    return [
        (name, float(mean.replace(",", "")), float(half.replace(",", "")), lock)
        for name, mean, half, lock in ROW.findall(marked[2])
    ]


def half_width(distances: list[float]) -> float:
    """Return the half-width of the 95 % interval of the mean by Student's t. [m]"""
    from scipy.stats import sem, t

    return float(t.ppf(0.975, len(distances) - 1) * sem(distances))


def write() -> None:
    """Write the rows into the README."""
    lines = ""
    for one in printed():
        mean = sum(one["distances"]) / len(one["distances"])
        lock = "none" if one["lock"] == 0.0 else f"{one['lock']:.1f} s"
        lines += (
            f"| `{one['name']}` | {mean:,.0f} ± {half_width(one['distances']):,.0f} m | {lock} |\n"
        )
    text = README.read_text(encoding="utf-8")
    README.write_text(MARKED.sub(lambda m: m[1] + lines + m[3], text), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(write())
