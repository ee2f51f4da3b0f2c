"""Kill campaigns and tunings by hand: `python tests/fuzz/kill_nine.py --kills 50`.

A campaign and a tuning are run once in peace. Then each is started again and killed with SIGKILL at
a random moment, over and over, until it ends. After every kill all stops stored before must still
be there, and the file must open; at the end its stops must be those of the run in peace.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz.cases import FILES

from slipbench.campaign.store import Store

LINES = {
    "campaign": ["campaign", "scenario.toml", "--strategy", "none,slip_band", "--seeds", "{size}"],
    "tune": ["tune", "scenario.toml", "--strategy", "slip_band", "--training", "4", "--held-out",
             "4", "--budget", "{size}"],
}  # fmt: skip
SIZES = {"campaign": 400, "tune": 800}


def stops(path: Path) -> dict[str, Any]:
    """Return the summary of each stop of a campaign, by what it was of."""
    if not path.exists():
        return {}
    with Store(path, is_writer=False) as store:
        return {
            f"{s.scenario} {s.parameters} {s.controller} {s.seed}": s.summary for s in store.stops()
        }


def start(command: str, file: str) -> subprocess.Popen[bytes]:
    """Start a command in a process group of its own, two workers."""
    words = [word.format(size=SIZES[command]) for word in LINES[command]]
    program = [sys.executable, "-m", "slipbench", *words]
    return subprocess.Popen(
        [*program, "--workers", "2", "--quiet", "--out", file, "--overwrite"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def workers_left(session: int) -> int:
    """Return how many processes of a session are alive, zombies apart."""
    n_left = 0
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            n_left += int(fields[3]) == session and fields[0] != "Z"
    return n_left


def main() -> int:
    """Kill, and print what was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=50, help="of both commands together")
    parser.add_argument("--seed", type=int, default=random.randrange(10**9))
    arguments = parser.parse_args()
    draw = random.Random(arguments.seed)
    folder = Path(tempfile.mkdtemp(prefix="kills-"))
    os.chdir(folder)
    Path("scenario.toml").write_text(FILES["scenario.toml"])
    faults, n_kills, longest = 0, 0, 0.0
    for command in LINES:
        begun = time.monotonic()
        peace = start(command, f"{command}-peace.sqlite")
        _, err = peace.communicate()
        assert peace.returncode == 0, err
        duration = time.monotonic() - begun
        expected = stops(Path(f"{command}-peace.sqlite"))
        path, known, n_here, n_round = Path(f"{command}-0.sqlite"), {}, 0, 0
        while n_here < arguments.kills // len(LINES):
            process = start(command, str(path))
            moment = draw.uniform(0.2, 1.0) * duration
            try:
                process.wait(timeout=moment)
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
                process.wait()
                n_here += 1
                gone = time.monotonic()
                while workers_left(process.pid) and time.monotonic() - gone < 30.0:
                    time.sleep(0.05)
                longest = max(longest, time.monotonic() - gone)
            now = stops(path)
            lost = [name for name in known if now.get(name) != known[name]]
            strange = [name for name in now if now[name] != expected.get(name)]
            if lost or strange:
                faults += 1
                print(f"{command}, kill {n_here}: {len(lost)} lost, {len(strange)} other numbers")
            known = now
            if len(now) == len(expected):
                n_round += 1
                path, known = Path(f"{command}-{n_round}.sqlite"), {}
        if path.exists():
            last = start(command, str(path))
            _, err = last.communicate()
            assert last.returncode == 0, err
        equal = not path.exists() or stops(path) == expected
        faults += not equal
        n_kills += n_here
        print(
            f"{command}: {n_here} kills, {n_round} times to the end, {len(expected)} stops, at the "
            f"end {'equal to' if equal else 'OTHER THAN'} the run in peace",
            flush=True,
        )
    print(
        f"{n_kills} kills, seed {arguments.seed}: {faults} faults; workers gone at most "
        f"{longest:.1f} s after"
    )
    shutil.rmtree(folder, ignore_errors=True)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
