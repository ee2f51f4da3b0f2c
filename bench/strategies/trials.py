"""Machine code is tried in a process of its own, which may crash, before it is let in."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from slipbench.ground.errors import InputError
from slipbench.ground.telling import message


def try_out(module: str, path: Path, digest: str, where: str, longest: float) -> None:
    """Run a module of this package over a file, in a process of its own.

    Its exit code 0: fine; 2: one line on stderr says why not; anything else is a crash, and the
    last line it printed says what it was doing.

    Parameters
    ----------
    module : str      called with the path and the hash
    where : str       names the file in messages, as `library PATH`
    longest : float   [s]

    Raises
    ------
    InputError   one line: what it refused, how it crashed, or that it did not end
    """
    words = [sys.executable, "-m", module, str(path), digest]
    here = str(Path(__file__).parents[2])
    paths = os.pathsep.join(filter(None, [here, os.environ.get("PYTHONPATH", "")]))
    try:
        done = subprocess.run(
            words,
            env={**os.environ, "PYTHONPATH": paths},
            capture_output=True,
            text=True,
            errors="replace",
            timeout=longest,
        )
    except subprocess.TimeoutExpired:
        raise InputError(
            f"{where}: a trial in a process of its own did not end in {longest:g} s"
        ) from None
    if done.returncode == 0:
        return
    lines = done.stderr.strip().splitlines()
    if done.returncode == 2 and lines:
        raise InputError(message(lines[-1]))
    how = f"signal {-done.returncode}" if done.returncode < 0 else f"exit code {done.returncode}"
    step = done.stdout.strip().splitlines()[-1:] or ["loading it"]
    raise InputError(f"{where}: crashed ({how}) in a trial, {step[0]}")
