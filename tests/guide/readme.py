"""The README's numbers and picture, as its own command gives them; as a module it writes them."""

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

from PIL import Image  # comes with matplotlib
from PIL.PngImagePlugin import PngInfo
from tests.places import ROOT

from slipbench.commands.main import main

README = ROOT / "README.md"
PICTURE = ROOT / "bench/figures/readme/compare.png"
SHOWN = "wet_leaf"
"""Rail of the table; under its name the picture's file holds mean distances by strategy (JSON)."""

MARKED = re.compile(r"(<!-- numbers.*?-->\n\|.*?\n\|.*?\n)(.*?)(<!-- end -->)", re.DOTALL)
ROW = re.compile(r"\| `(\w+)`[^|]*\| ([\d,]+) ± ([\d,]+) m \| ([\d.]+ s|none) \|")


def command() -> list[str]:
    """Return the words of the command the README says it printed its numbers with."""
    (line,) = re.findall(r"\(`slipbench (compare wet_leaf --strategy [^`]+)`\)", README.read_text())
    return shlex.split(line)


def ran(words: list[str], folder: Path) -> list[dict[str, Any]]:
    """Run a comparison and return its rows on wet leaf: name, distances, longest lock."""
    with contextlib.redirect_stdout(io.StringIO()):
        assert main([*words, "--out", str(folder)]) == 0
    record = json.loads((folder / "compare.json").read_text())
    by_name: dict[str, dict[str, Any]] = {}
    for row in record["rows"]:
        if row["scenario"] != SHOWN:
            continue
        name = row.get("strategy") or row["controller"]
        found = by_name.setdefault(name, {"name": name, "distances": [], "lock": 0.0})
        found["distances"].append(row["stopping_distance"])
        found["lock"] = max(found["lock"], row["longest_lock"])
    return list(by_name.values())


def printed() -> list[dict[str, Any]]:
    """Return the rows that the README's command gives today."""
    with tempfile.TemporaryDirectory() as folder:
        return ran(command(), Path(folder))


def drawn() -> dict[str, float]:
    """Return the mean distances on wet leaf that the README's picture shows. [m]"""
    with Image.open(PICTURE) as picture:
        found: dict[str, float] = json.loads(picture.info[SHOWN])
    return found


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


def mean(one: dict[str, Any]) -> float:
    """Return the mean distance of a row of `ran`. [m]"""
    return float(sum(one["distances"]) / len(one["distances"]))


def write() -> None:
    """Write the rows into the README and draw its picture: the same strategies on one rail more."""
    with tempfile.TemporaryDirectory() as folder:
        found = ran(["compare", "tough_film", *command()[1:]], Path(folder))
        said = PngInfo()
        said.add_text(SHOWN, json.dumps({one["name"]: mean(one) for one in found}))
        with Image.open(Path(folder) / "compare.png") as picture:
            picture.save(PICTURE, pnginfo=said, dpi=picture.info["dpi"])
    lines = ""
    for one in found:
        lock = "none" if one["lock"] == 0.0 else f"{one['lock']:.1f} s"
        half = half_width(one["distances"])
        lines += f"| `{one['name']}` | {mean(one):,.0f} ± {half:,.0f} m | {lock} |\n"
    text = README.read_text(encoding="utf-8")
    README.write_text(MARKED.sub(lambda m: m[1] + lines + m[3], text), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(write())
