"""Run odd cases in processes of their own, and say which of the promises one breaks."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import random
import re
import stat
import sys
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.cases import SECRET, Case, changed_store

LONGEST = 60.0
"""What one command may take. [s]"""


@dataclass(frozen=True)
class Outcome:
    """What became of a case."""

    seed: int
    argv: list[str]
    code: int
    seconds: float
    faults: list[str]
    err: str


def lay_out(case: Case, folder: Path, seed: int) -> None:
    """Put the files of a case into an empty folder."""
    for name, data in case.files.items():
        path = folder / name
        if path.parent.is_file():
            continue
        path.parent.mkdir(exist_ok=True)
        if not path.is_dir():
            path.write_bytes(data)
    for name, what in case.special.items():
        path = folder / name
        if what == "sql":
            changed_store(path, random.Random(seed))
            continue
        path.unlink(missing_ok=True)
        if what == "pipe":
            os.mkfifo(path)
        elif what == "folder":
            path.mkdir()
        elif what == "zero":
            path.symlink_to("/dev/zero")
        elif what == "loop":
            path.symlink_to(path)
        elif what == "huge":
            with path.open("wb") as stream:
                stream.truncate(2_000_000_000)
        elif what == "locked":
            path.write_bytes(b"")
            path.chmod(0)
        elif what == "empty":
            path.write_bytes(b"")


def tree(folder: Path) -> dict[str, str]:
    """Return what lies in a folder: each name with its kind and content."""
    found = {}
    for path in sorted(folder.rglob("*")):
        info = path.lstat()
        name = str(path.relative_to(folder))
        if not stat.S_ISREG(info.st_mode):
            found[name] = f"{stat.S_IFMT(info.st_mode)}"
        elif info.st_size > 50_000_000:
            found[name] = f"{info.st_size}"
        else:
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def run_case(case: Case, folder: Path, seed: int) -> Outcome:
    """Run a case in this process; return its outcome with what it broke."""
    from slipbench.commands.main import main

    lay_out(case, folder, seed)
    before, here = tree(folder), Path.cwd()
    os.chdir(folder)
    out, err = io.StringIO(), io.StringIO()
    start = time.perf_counter()
    faults = []
    code = -1
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(case.argv)
    except BaseException:
        faults.append("escaped: " + traceback.format_exc()[-600:])
    seconds = time.perf_counter() - start
    os.chdir(here)
    sys.stdout.flush()
    faults += broken_promises(code, err.getvalue(), seconds, before, tree(folder))
    return Outcome(seed, case.argv, code, seconds, faults, err.getvalue())


def broken_promises(
    code: int, err: str, seconds: float, before: dict[str, str], after: dict[str, str]
) -> list[str]:
    """Return which promises a command has broken."""
    faults = []
    if code not in (0, 1, 2):
        faults.append(f"exit code {code}")
    if "Traceback" in err or "Error:" in err.partition("slipbench: ")[0]:
        faults.append("traceback")
    if seconds > LONGEST:
        faults.append(f"took {seconds:.0f} s")
    if SECRET[:81] in err:
        faults.append("echoes a file")
    if re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", err):
        faults.append("control characters")
    lines = [line for line in err.splitlines() if line.strip() and "compiling" not in line]
    if code == 2 and (len(lines) != 1 or not lines[0].startswith(("slipbench: ", "usage"))):
        faults.append(f"{len(lines)} lines")
    if code == 2 and not lines:
        faults.append("says nothing")
    changed = [name for name, content in before.items() if after.get(name) != content]
    made = [name for name in after if name not in before]
    if code == 2 and changed:
        faults.append(f"refused, and changed {changed}")
    if code == 2 and made and not any(name.endswith(".sqlite") for name in made):
        faults.append(f"refused, and made {made}")
    return faults
