"""Every picture of the bench on a few sheets, to be looked at: by hand.

    python -m tests.figures.contact_sheet FOLDER

Runs small versions of the commands that draw, takes a copy of each PNG into FOLDER/pictures, writes
sheets of nine to FOLDER, and prints what the checks of legibility say of each picture. Minutes.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import matplotlib.image
from tests.figures.legibility import faults

from slipbench.commands.main import main
from slipbench.experiments import ALL_EXPERIMENTS
from slipbench.figures import style

SLOW = ("how_sure_are_we", "where_the_verdict_turns")
"""Experiments past ten seconds in their quick form, left out."""

SHORT = ("--speed", "25mph", "--seeds", "2", "--workers", "1")
FEW = ("--strategy", "none,speed_difference,slip_band,cleaning_balance")

COMMANDS: dict[str, tuple[str, ...]] = {
    "compare": ("compare", "wet_leaf", "grease", "dry", *FEW, *SHORT, "--report"),
    "speeds": ("compare", "wet_leaf", "grease", *FEW, "--speed", "15mph,25mph", "--seeds", "2"),
    "picture": ("picture", "wet_leaf", "--strategy", "slip_band", "--speed", "25mph"),
    "creep": ("creep", "wet_leaf", "dry"),
    "conditioning": ("conditioning", "wet_leaf", "--strategy", "slip_band", "--speed", "25mph"),
    "sweep": (
        "sweep", "brake.fill_delay=20ms:60ms:3", "wet_leaf", "--strategy", "none,slip_band", *SHORT,
    ),
}  # fmt: skip

ON_A_SHEET = 9


def run(folder: Path) -> None:
    """Draw everything, and bring it together."""
    pictures = folder / "pictures"
    pictures.mkdir(parents=True, exist_ok=True)
    save, told = style.save, {}

    def checked(figure):
        files = save(figure)
        told[files["png"]] = faults(figure)
        return files

    style.save = checked
    lines = {name: (*words, "--out", str(folder / name)) for name, words in COMMANDS.items()}
    for item in ALL_EXPERIMENTS:
        if item.name not in SLOW:
            out = ("--quick", "--out", str(folder / item.name))
            lines[item.name] = ("experiment", item.name, *out)
    for name, line in lines.items():
        if main(list(line)):
            print(f"{name}: failed", file=sys.stderr)
    for path in sorted(folder.glob("*/*.png")):
        if path.parent != pictures:
            name = path.name if path.stem == path.parent.name else f"{path.parent.name}-{path.name}"
            shutil.copy(path, pictures / name)
            found = told.get(path.read_bytes(), ["not drawn here"])
            print(f"{name}: {'; '.join(found) or 'can be read'}")
    sheets(pictures, folder)


def sheets(pictures: Path, folder: Path) -> None:
    """Write the pictures of a folder to contact sheets of nine."""
    paths = sorted(pictures.glob("*.png"))
    for first in range(0, len(paths), ON_A_SHEET):
        figure = style.new_figure(15.0, 15.0)
        panels = figure.subplots(3, 3)
        for axes, path in zip(panels.flat, paths[first : first + ON_A_SHEET], strict=False):
            axes.imshow(matplotlib.image.imread(path))
            axes.set_title(path.stem, fontsize=9)
        for axes in panels.flat:
            axes.axis("off")
        figure.tight_layout()
        target = folder / f"sheet_{first // ON_A_SHEET + 1}.png"
        figure.savefig(target, dpi=100)
        print(f"written: {target}")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    run(Path(sys.argv[1]))
