"""Run the fuzzer by hand: `python tests/fuzz/run.py --cases 5000 --workers 2`.

Every case is one command line in a folder of files, all drawn from its seed: damaged scenarios,
profiles, logs, curves, limits, settings, strategies, campaigns, records, trains, measured stops,
mappings, routes, lessons and FMI units; pipes, devices and links in their places; odd words.
Printed are the counts, and each case that broke a promise: no traceback, no hang, one line for a
refusal, and no file touched by it. Repeat one by `--seed N --cases 1`.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import shutil
import sys
import tempfile
import time
from collections import Counter
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz.cases import FILES, Sound, case_of
from tests.fuzz.judging import LONGEST, Outcome, run_case
from tests.fuzz.newer import COMPILING_LINES, SOUND_LINES, newer_files

GRACE = 20.0


def sound_files(folder: Path) -> Sound:
    """Return a campaign file, a folder of a comparison and others that are in order, made here."""
    from slipbench.commands.main import main

    for name, text in FILES.items():
        (folder / name).write_text(text)
    os.chdir(folder)
    line = ["scenario.toml", "--strategy", "none,slip_band", "--workers", "1"]
    assert main(["campaign", *line, "--seeds", "4", "--quiet", "--out", "c.sqlite"]) == 0
    assert main(["compare", *line, "--out", "out"]) == 0
    assert main(["stop", "scenario.toml", "--strategy", "own.py"]) == 0  # compiles what it takes
    record = {path.name: path.read_bytes() for path in (folder / "out").iterdir()}
    record = {name: data for name, data in record.items() if name != "compare.png"}
    for words in (*SOUND_LINES, *COMPILING_LINES):
        assert main(words) == 0
    return Sound((folder / "c.sqlite").read_bytes(), record, newer_files(folder))


def work(pipe: Connection, sound: Sound) -> None:
    """Run cases as their seeds come."""
    sys.stdin.close()
    devnull = os.open(os.devnull, os.O_WRONLY)
    os.dup2(devnull, 1)
    while True:
        try:
            seed = pipe.recv()
        except EOFError:
            return
        if seed is None:
            return
        folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
        try:
            pipe.send(run_case(case_of(seed, sound), folder, seed))
        finally:
            os.chdir("/")
            shutil.rmtree(folder, ignore_errors=True)


class Worker:
    """A process that runs cases, replaced when one hangs or ends it."""

    def __init__(self, sound: Sound) -> None:
        self.sound = sound
        self.seed: int | None = None
        self._start()

    def _start(self) -> None:
        self.pipe, other = multiprocessing.Pipe()
        context: Any = multiprocessing.get_context("fork")
        self.process = context.Process(target=work, args=(other, self.sound))
        self.process.start()
        other.close()

    def give(self, seed: int) -> None:
        self.seed, self.since = seed, time.monotonic()
        self.pipe.send(seed)

    def taken(self) -> Outcome | None:
        """Return the outcome if there is one; a worker that hangs or died is one too."""
        assert self.seed is not None
        argv = case_of(self.seed, self.sound).argv
        if self.pipe.poll():
            try:
                outcome: Outcome = self.pipe.recv()
                return outcome
            except EOFError:
                self.process.join()
                code = self.process.exitcode or 0
                self._start()
                return Outcome(self.seed, argv, code, 0.0, [f"process ended, code {code}"], "")
        if time.monotonic() - self.since > LONGEST + GRACE:
            self.process.kill()
            self.process.join()
            self._start()
            return Outcome(self.seed, argv, -9, LONGEST, ["hangs"], "")
        return None


def main() -> int:
    """Run the cases and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=0, help="of the first case")
    parser.add_argument("--workers", type=int, default=2)
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="fuzz-base-"))
    sound = sound_files(folder)
    workers = [Worker(sound) for _ in range(arguments.workers)]
    seeds = iter(range(arguments.seed, arguments.seed + arguments.cases))
    codes: Counter[int] = Counter()
    broken: Counter[str] = Counter()
    commands: Counter[str] = Counter()
    n_done, begun = 0, time.monotonic()
    for worker in workers:
        worker.give(next(seeds))
    while n_done < arguments.cases:
        wait([worker.pipe for worker in workers if worker.seed is not None], timeout=1.0)
        for worker in workers:
            outcome = worker.taken() if worker.seed is not None else None
            if outcome is None:
                continue
            n_done += 1
            codes[outcome.code] += 1
            commands[outcome.argv[0] if outcome.argv else ""] += 1
            for fault in outcome.faults:
                broken[fault.split(":")[0].split(" [")[0]] += 1
            if outcome.faults:
                print(
                    f"seed {outcome.seed}: {outcome.argv}\n  {outcome.faults}\n"
                    f"  {outcome.err[:400]!r}",
                    flush=True,
                )
            seed = next(seeds, None)
            worker.seed = None
            if seed is not None:
                worker.give(seed)
            if n_done % 500 == 0:
                print(f"{n_done} done, {time.monotonic() - begun:.0f} s", flush=True)
    for worker in workers:
        worker.pipe.send(None)
    print(f"\n{n_done} cases in {time.monotonic() - begun:.0f} s; exit codes {dict(codes)}")
    print("commands:", dict(commands.most_common(24)))
    print("broken promises:", dict(broken) or "none")
    shutil.rmtree(folder, ignore_errors=True)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
