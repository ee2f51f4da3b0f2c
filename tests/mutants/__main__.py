"""Plant faults one by one in a copy of the package and see which tests catch them; by hand.

    python -m tests.mutants [--only WORD[,WORD]] [--jobs 1] [--out tests/mutants/README.md]

Each fault gets a copy of the source tree, and all share a cache of their own, so a fault of the
kernel compiles anew (half a minute on a quiet machine); nothing of the real tree is touched. A
fault that no listed test catches survives and is named last; the exit code is then 1.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.mutants.faults import MUTANTS, Mutant

ROOT = Path(__file__).parents[2]
FOLDERS = ("bench", "controllers", "experiments", "tests")
HEAD = """# Planted faults, and who catches them

Printed by `python -m tests.mutants --out tests/mutants/README.md`, by hand: every fault is planted
in a copy of the package, one at a time, and the tests named beside it are run on it.

| fault | file | caught by | time |
|---|---|---|---|
"""


def planted(mutant: Mutant, folder: Path) -> Path:
    """Copy the tree into a folder and plant the fault; return the copy."""
    for name in FOLDERS:
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / ".src", folder / ".src", symlinks=True)
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy(ROOT / name, folder / name)
    file = folder / "bench" / mutant.file
    text = file.read_text(encoding="utf-8")
    if text.count(mutant.right) != 1:
        raise SystemExit(f"{mutant.name}: its text stands {text.count(mutant.right)} times")
    file.write_text(text.replace(mutant.right, mutant.wrong), encoding="utf-8")
    return folder


def caught_by(mutant: Mutant, cache: Path) -> tuple[str, float]:
    """Return the first test that fails on the fault, empty if none does, and the time. [s]

    Faults outside the kernel find its compiled code in the shared cache.
    """
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        tree = planted(mutant, Path(folder))
        environment = dict(os.environ, SLIPBENCH_CACHE=str(cache))
        environment["PYTHONPATH"] = os.pathsep.join((str(tree / ".src"), str(tree)))
        for file in mutant.tests:
            command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider"]
            done = subprocess.run(
                [*command, f"tests/{file}"],
                cwd=tree,
                env=environment,
                capture_output=True,
                text=True,
                check=False,
            )
            failed = [line for line in done.stdout.splitlines() if line.startswith("FAILED")]
            if failed:
                name = failed[0].split(" - ")[0].removeprefix("FAILED tests/")
                return name, time.perf_counter() - began
            if done.returncode != 0:  # collected with an error: nothing was tested
                detail = " ".join((done.stdout + done.stderr).split())[-300:]
                raise SystemExit(f"{mutant.name}: {file} did not run: {detail}")
    return "", time.perf_counter() - began


def main() -> None:
    """Run the faults asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, default=None)
    parser.add_argument("--check", action="store_true", help="only see that every text is there")
    asked = parser.parse_args()
    words = [word for word in asked.only.split(",") if word]
    chosen = [m for m in MUTANTS if not words or any(word in m.name for word in words)]
    if asked.check:
        for mutant in chosen:
            with tempfile.TemporaryDirectory() as folder:
                planted(mutant, Path(folder))
        print(f"{len(chosen)} faults can be planted")
        return
    rows, survived = [], []
    with tempfile.TemporaryDirectory() as cache, ThreadPoolExecutor(asked.jobs) as pool:
        runs = pool.map(lambda mutant: caught_by(mutant, Path(cache)), chosen)
        for mutant, (test, took) in zip(chosen, runs, strict=True):
            row = f"| {mutant.name} | `{mutant.file}` | {f'`{test}`' if test else 'nobody'} |"
            rows.append(f"{row} {took:.0f} s |")
            survived += [] if test else [mutant.name]
            print(rows[-1], flush=True)
    print(f"{len(chosen) - len(survived)} of {len(chosen)} caught; survived: {survived or 'none'}")
    if asked.out:
        asked.out.write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")
    sys.exit(1 if survived else 0)


if __name__ == "__main__":
    main()
