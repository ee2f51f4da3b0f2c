"""Flip bits of a campaign file by hand: `python tests/fuzz/flip_bits.py --flips 500`.

Each flip is of one bit, in a copy of a campaign of real stops. Counted is what came of it: named
when the file is opened, or no effect on any exported number. Any other number is a fault.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz.cases import FILES

from slipbench.campaign.export import flat
from slipbench.campaign.store import Store
from slipbench.commands.main import main as slipbench
from slipbench.ground.errors import InputError


def exported(path: Path) -> list[dict[str, Any]]:
    """Return every stop of a campaign as its export has it."""
    with Store(path, is_writer=False) as store:
        return [flat(stop) for stop in store.stops()]


def main() -> int:
    """Flip bits one at a time and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--flips", type=int, default=500)
    parser.add_argument("--seed", type=int, default=random.randrange(10**9))
    arguments = parser.parse_args()
    draw = random.Random(arguments.seed)
    folder = Path(tempfile.mkdtemp(prefix="flips-"))
    os.chdir(folder)
    Path("scenario.toml").write_text(FILES["scenario.toml"])
    line = ["campaign", "scenario.toml", "--strategy", "none,slip_band", "--seeds", "10"]
    assert slipbench([*line, "--workers", "1", "--quiet", "--out", "c.sqlite"]) == 0
    expected, content = exported(Path("c.sqlite")), Path("c.sqlite").read_bytes()
    n_named = n_harmless = n_silent = 0
    for _ in range(arguments.flips):
        bit = draw.randrange(8 * len(content))
        flipped = bytearray(content)
        flipped[bit // 8] ^= 1 << bit % 8
        Path("f.sqlite").write_bytes(flipped)
        try:
            if exported(Path("f.sqlite")) == expected:
                n_harmless += 1
            else:
                n_silent += 1
                print(f"bit {bit}: another number, and not a word")
        except InputError:
            n_named += 1
        for beside in folder.glob("f.sqlite*"):
            beside.unlink()
    shutil.rmtree(folder, ignore_errors=True)
    print(
        f"{arguments.flips} bits of {len(content)} bytes, {len(expected)} stops, seed "
        f"{arguments.seed}: {n_named} named, {n_harmless} without effect on any exported number, "
        f"{n_silent} silent"
    )
    return 1 if n_silent else 0


if __name__ == "__main__":
    sys.exit(main())
