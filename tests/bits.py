"""Whether stops still have the same bits: for a change that should move no number.

    python -m tests.bits before.json            # runs every shipped strategy on every shipped rail
    python -m tests.bits after.json --against before.json

A line a stop that differs, and exit code 1. Compare on one machine: processors may differ in the
last bit. A change that moves numbers gets a line in the guide's page of changes instead.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Iterable
from pathlib import Path

from tqdm import tqdm

from slipbench import controllers, load_scenario, scenario_names, simulate


def digest(rail: str, strategy: str, speed: float | None = None) -> str:
    """Return a hash of a stop: its summary, its findings and what it left on the rail."""
    scenario = load_scenario(rail)
    if speed is not None:
        scenario = scenario.replace(initial_speed=speed)
    stop = simulate(scenario, strategy, with_traces=False)
    findings = [(one.kind, one.axle, one.value) for one in stop.findings]
    told = repr((sorted(stop.summary.items()), findings))
    return hashlib.sha256(told.encode() + stop.rail_after.work.tobytes()).hexdigest()[:16]


def differing(before: dict[str, str], after: dict[str, str]) -> list[str]:
    """Return a line for each stop that is another one, or has gone; new ones are none."""
    return [
        f"{name}: {'gone' if name not in after else 'other bits'}"
        for name, bits in before.items()
        if after.get(name) != bits
    ]


def main(argv: Iterable[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("file", type=Path, help="where the hashes go")
    parser.add_argument("--against", type=Path, help="hashes to compare with")
    arguments = parser.parse_args(None if argv is None else list(argv))
    names = [own.name for own in controllers.ALL_CONTROLLERS]
    pairs = [(rail, name) for rail in scenario_names() for name in names]
    bars = tqdm(pairs, unit="stop", disable=not sys.stderr.isatty())
    found = {f"{rail} {name}": digest(rail, name) for rail, name in bars}
    arguments.file.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    if arguments.against is None:
        return 0
    other = differing(json.loads(arguments.against.read_text(encoding="utf-8")), found)
    print("\n".join([*other, f"{len(other)} of {len(found)} stops differ"]))
    return 1 if other else 0


if __name__ == "__main__":
    sys.exit(main())
