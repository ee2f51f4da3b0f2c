"""Time the bench against its scheme written plainly in C: a benchmark, not a test.

    python tests/speed/against_c.py [--seeds 16] [--repeats 5] [--flags=-O3]

`yardstick.c` beside this file is built with the system's compiler (`cc`, or `$CC`) into a temporary
folder, together with the shipped C example of the strategy; the records it works on come from
`kernel.records`, the values from the same packed `World`. Both run in turn, one core, the best
of several, at the default step. The C has the scheme without what makes the kernel's faster (see
its head), so single stops of a strategy that switches differ; the mean over seeds is held to a
tolerance: three standard errors of the paired differences and a thousandth.
"""

from __future__ import annotations

import argparse
import ctypes
import math
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from clock import Timed, best_of, machine, print_row, timed, timed_stop, yardstick

from slipbench.contract import Controller
from slipbench.kernel import codes, records
from slipbench.kernel.records import World
from slipbench.packing import pack

HERE = Path(__file__).parent
NATIVE = HERE.parents[1] / "bench" / "strategies" / "native"
STRUCTS = (
    *("RUN", "TRAIN", "AXLE", "CELL", "GROUP", "HANDLE", "VEHICLE"),
    *("TRAIN_STATE", "AXLE_STATE", "VEHICLE_STATE", "GROUP_STATE"),
)
TOLERANCE = 1e-3


def c_struct(name: str, dtype: np.dtype[np.void]) -> str:
    """Return the C struct that lies in memory as a record does."""
    lines = []
    for field in dtype.names or ():
        part = dtype[field]
        kind = "double" if part.base == np.float64 else "int64_t"
        lines.append(f"    {kind} {field}{''.join(f'[{n}]' for n in part.shape)};")
    return "typedef struct {\n" + "\n".join(lines) + f"\n}} {name};\n"


def build(folder: Path, flags: list[str]) -> Any:
    """Build the yardstick; return its entry, which takes a `World` of C."""
    compiler = os.environ.get("CC") or shutil.which("cc")
    if compiler is None:
        raise SystemExit("no C compiler here (cc, or $CC): nothing to compare with")
    structs = "\n".join(c_struct(name, getattr(records, name)) for name in STRUCTS)
    (folder / "records.h").write_text(structs, encoding="ascii")
    library = folder / "yardstick.so"
    sources = [HERE / "yardstick.c", NATIVE / "examples" / "slip_band.c"]
    command = [compiler, "-std=c99", *flags, "-shared", "-fPIC", f"-I{folder}", f"-I{NATIVE}"]
    subprocess.run([*command, *map(str, sources), "-o", str(library), "-lm"], check=True)
    entry = ctypes.CDLL(str(library)).run_stop
    entry.restype = None
    return entry


POINTERS = (
    *("run", "train", "axles", "+axles", "cells", "+cells", "groups", "+groups"),
    *("handle", "+handle", "vehicles", "+vehicles", "demand_table"),
    *("train_state", "axle_states", "vehicle_states", "group_states"),
    *("rail_work", "slide_histogram", "effective", "observation", "command", "signals"),
)
"""Parts of the C `World` in its order; + is a part's length."""


def c_world(world: World, parameters: Any, memory: Any) -> Any:
    """Return the addresses and lengths that the C `World` holds, eight bytes each."""
    values = []
    for name in POINTERS:
        array = getattr(world, name.removeprefix("+"))
        values.append(len(array) if name.startswith("+") else array.ctypes.data)
    values += [world.signals.shape[1], parameters.ctypes.data, len(parameters)]
    values += [memory.ctypes.data, memory.shape[1]]
    return (ctypes.c_int64 * len(values))(*values)


def refuse_unless_in_c(world: World) -> None:
    """Refuse a stop that needs what the C source leaves out."""
    train, axles = world.train[0], world.axles
    switched_on = {
        "grades": len(world.grades),
        "curves": len(world.curves),
        "faults": len(world.faults),
        "presses": len(world.presses),
        "sanders": len(world.sanders),
        "continuous controller": len(world.controller_table),
        "driver": world.driver["kind"][0],
        "creep law": world.law["kind"][0],
        "ramps": train["air_model"] == codes.RAMPS,
        "cleaning law": train["cleaning_law"],
        "redeposition": train["redeposition"],
        "valves a bogie": train["valve_per_bogie"],
        "friction pair": (axles["friction_kind"] != codes.DISC).any(),
        "pads": (world.axles["pad_speed_term"] != 0.0).any()
        or (world.axles["pad_heat_term"] != 0.0).any(),
        "teeth": (
            world.axles["pitch_error"] + world.axles["jitter"] + world.axles["dropout"]
        ).any(),
        "handle by place": (world.handle["trigger"] != codes.AT_TIME).any(),
        "single-axle bogies": (world.vehicles["wheelbase"] == 0.0).any(),
    }
    needed = [name for name, is_on in switched_on.items() if is_on]
    if needed:
        raise SystemExit(f"yardstick.c does not have: {', '.join(needed)}")


def timed_c(entry: Any, scenario: Any, controller: Controller, seed: int, n_repeats: int) -> Timed:
    """Time one stop in C."""
    parameters = controller.parameter_values

    def prepare() -> tuple[World, Any, Any]:
        world = pack(scenario, controller, seed, False)
        memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
        return world, memory, c_world(world, parameters, memory)

    def run(prepared: tuple[World, Any, Any]) -> World:
        entry(prepared[2])
        return prepared[0]

    seconds, world = best_of(n_repeats, prepare, run)
    return timed(seconds, world)


def main() -> None:
    """Build, run both in turn, print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=16)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--flags", default="-O3", help="of the compiler, by spaces (-O3)")
    arguments = parser.parse_args()
    scenario, controller = yardstick()
    refuse_unless_in_c(pack(scenario, controller, 0, False))
    with tempfile.TemporaryDirectory() as folder:
        entry = build(Path(folder), arguments.flags.split())
        timed_stop(scenario, controller, n_repeats=1)
        ours, plain = [], []
        for seed in range(arguments.seeds):
            ours.append(timed_stop(scenario, controller, seed, arguments.repeats))
            plain.append(timed_c(entry, scenario, controller, seed, arguments.repeats))
    print(machine())
    print_row("", "ms a stop", "ns/axle step", "ns/piece", "pieces", "x real time", "mean [m]")
    for name, stops in (("bench", ours), (f"C {arguments.flags}", plain)):
        means = [
            1e3 * np.mean([stop.seconds for stop in stops]),
            np.mean([stop.ns_per_axle_step for stop in stops]),
            np.mean([stop.ns_per_piece for stop in stops]),
            np.mean([stop.n_pieces for stop in stops]),
            np.mean([stop.times_real_time for stop in stops]),
            np.mean([stop.distance for stop in stops]),
        ]
        print_row(name, *(f"{value:.1f}" for value in means))
    ratios = [c.seconds / own.seconds for own, c in zip(ours, plain, strict=True)]
    print(f"C over bench, processor time a stop: median {np.median(ratios):.2f}")
    judge(np.array([s.distance for s in ours]), np.array([s.distance for s in plain]))


def judge(ours: Any, plain: Any) -> None:
    """Say how distances agree; leave with code 1 where the means do not."""
    apart = ours / plain - 1.0
    error = apart.std(ddof=1) / math.sqrt(len(apart)) if len(apart) > 1 else 0.0
    allowed = TOLERANCE + 3.0 * error
    print(
        f"distance, bench against C: mean {1e2 * apart.mean():+.4f} %, largest of a seed "
        f"{1e2 * abs(apart).max():.4f} %; allowed for the mean {1e2 * allowed:.3f} %"
    )
    if abs(apart.mean()) > allowed:
        sys.exit("the two do not agree: the C is not of this scheme")


if __name__ == "__main__":
    main()
