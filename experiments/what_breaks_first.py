"""What breaks first: which fault of the train costs most metres, which most wheel?

Question: slip control rests on sensors, valves, air and wires. One thing breaks five seconds into
the stop. What does it do to the distance, and to the wheels?
Source: faults as brake engineers list them; common practice, no source. Each is the model's own.
Scenario: the Elderwick unit (invented), half laden, on `wet_leaf`, one sander on axle 3,
strategy `slip_band`, step 3 from 75 mph (`--quick`: 50 mph). What breaks is in the second car: its
first axle, its computer, its supply. Where control supply is lost the service
brake is gone, so there the driver goes to emergency ten seconds later.
Run: `python -m slipbench.experiments.what_breaks_first`
"""

import math
import sys
from collections.abc import Mapping, Sequence
from statistics import fmean
from typing import Any

from matplotlib.figure import Figure

from slipbench.experiments.asked import own_scenario, own_strategy
from slipbench.experiments.notebook import (
    Answer,
    Column,
    Experiment,
    Options,
    Row,
    Run,
    drawing,
    summaries,
)
from slipbench.figures import style
from slipbench.ground.errors import InputError
from slipbench.results.wording import is_alike, listed, rounds_to_nothing
from slipbench.scenario import Fault, HandleEntry, Sander, Scenario
from slipbench.scenario.fault import AXLE_FAULTS, OTHER_FAULTS, VEHICLE_FAULTS

AT, TAKES_EMERGENCY_AFTER = 5.0, 10.0
AXLE, VEHICLE, SANDER = 5, 2, 1
LITTLE = 0.01
COLUMNS = (
    Column("fault"),
    Column("distance", "m", 0),
    Column("longer_by", "m", 0),
    Column("longest_lock", "s", 2),
    Column("flat_risk", "-", 2),
    Column("energy_residual", "-", 9),
)


def faults() -> dict[str, tuple[Fault, ...]]:
    """Return every fault there is under the name it has in the table, and a train without one."""
    found: dict[str, tuple[Fault, ...]] = {"nothing": ()}
    for kind in (*AXLE_FAULTS, *VEHICLE_FAULTS, *OTHER_FAULTS):
        if kind == "control_wire_broken":
            for wire in (1, 2):
                found[f"{kind} {wire}"] = (Fault(kind=kind, at_time=AT, wire=wire),)
            continue
        target = {"axle": AXLE, "vehicle": VEHICLE, "sander": SANDER}
        name = Fault.target_of(kind)
        found[kind] = (Fault(kind=kind, at_time=AT, **({name: target[name]} if name else {})),)
    return found


def scenario_with(broken: Sequence[Fault], *, is_quick: bool) -> Scenario:
    """Return the stop with these faults."""
    changes: dict[str, Any] = {
        "sanders": (Sander(axle=3, rate=2.0 / 60.0),),
        "faults": tuple(broken),
        "train.load": 0.5,
    }
    if is_quick:
        changes["initial_speed"] = 50 * 0.44704
    if any(fault.kind == "control_supply_lost" for fault in broken):
        emergency = HandleEntry(at_time=AT + TAKES_EMERGENCY_AFTER, position=4)
        changes["driver.programme"] = (HandleEntry(at_time=0.0, position=3), emergency)
    return own_scenario("wet_leaf").replace(changes)


def investigate(options: Options) -> Answer:
    """Run every fault."""
    strategy = own_strategy("slip_band")
    named, without = can_break(faults())
    runs = [
        Run(scenario_with(broken, is_quick=options.is_quick), strategy, seed)
        for broken in named.values()
        for seed in range(options.n_seeds)
    ]
    found, n = summaries(runs), options.n_seeds
    rows: list[dict[str, Any]] = []
    for i, name in enumerate(named):
        own = found[i * n : (i + 1) * n]
        stops = [s["stopping_distance"] if s["is_stopped"] else math.inf for s in own]
        row: dict[str, Any] = {"fault": name, "distance": fmean(stops)}
        row["longer_by"] = row["distance"] - (rows[0]["distance"] if rows else row["distance"])
        row["longest_lock"] = fmean(s["longest_lock"] for s in own)
        row["flat_risk"] = fmean(s["flat_risk"] for s in own)
        row["energy_residual"] = max(abs(s["energy_residual"]) for s in own)
        rows.append(row)
    rows[1:] = sorted(rows[1:], key=lambda row: -row["longer_by"])
    notes = [f"Means over {n} seed(s); longer than with nothing broken; flat risk: a first index."]
    if without:
        notes.append(f"Left out, for this train has nothing there to break: {listed(without)}.")
    return Answer(COLUMNS, rows, sentence(rows), {"what_breaks_first": draw(rows)}, notes)


def can_break(
    named: Mapping[str, tuple[Fault, ...]],
) -> tuple[dict[str, tuple[Fault, ...]], list[str]]:
    """Return the faults a train can have, and the names of those it has no part for."""
    found, without = {}, []
    for name, broken in named.items():
        try:
            scenario_with(broken, is_quick=True)
        except InputError:
            without.append(name.replace("_", " "))
        else:
            found[name] = broken
    return found, without


def sentence(rows: Sequence[Row]) -> str:
    """Name the faults that cost most metres and most lock, and count those that cost little."""
    healthy, broken = rows[0], rows[1:]
    if not math.isfinite(healthy["distance"]):
        return "the train does not stop with nothing broken: no fault can be judged by it."
    farthest = max((row["longer_by"] for row in broken), default=0.0)
    named = listed([r["fault"] for r in broken if is_alike(r["longer_by"], farthest)])
    if not math.isfinite(farthest):
        most = f"with {named} the train does not stop in every run"
    elif rounds_to_nothing(max(farthest, 0.0), 0):
        most = f"no fault lengthens the stop of {healthy['distance']:.0f} m"
    else:
        verb = "costs" if named.count(" and ") == 0 else "cost"
        most = f"{named} {verb} most metres (+{farthest:.0f} m on {healthy['distance']:.0f} m)"
    longest = max((row["longest_lock"] for row in broken), default=0.0)
    locking = [r["fault"] for r in broken if r["longest_lock"] == longest]
    if rounds_to_nothing(longest, 1):
        locked = "no wheel locks"
    else:
        verb = "locks" if len(locking) == 1 else "lock"
        locked = f"{listed(locking)} {verb} a wheel longest ({longest:.1f} s)"
    n_little = sum(row["longer_by"] < LITTLE * healthy["distance"] for row in broken)
    return (
        f"{most} and {locked}; {n_little} of {len(broken)} faults lengthen the stop by less than "
        f"{LITTLE:.0%}."
    )


def draw(rows: Sequence[Row]) -> Figure:
    """Draw what each fault adds to the distance, and the longest lock."""
    places = range(len(rows))
    with drawing(4.6, ncols=2, sharey=True, width_ratios=(1.5, 1.0)) as (figure, (left, right)):
        for axes, key, label in (
            (left, "longer_by", "longer than with nothing broken [m]"),
            (right, "longest_lock", "longest lock of a wheel [s]"),
        ):
            values = [row[key] for row in rows]
            axes.hlines(places, 0.0, values, color=style.BLUE, linewidth=1.6)
            axes.plot(values, places, "o", color=style.BLUE)
            axes.axvline(0.0, color=style.QUIET, linewidth=0.8)
            axes.set_xlabel(label)
            axes.grid(axis="x")
            style.bare(axes)
        left.set_yticks(places, [row["fault"].replace("_", " ") for row in rows])
        left.invert_yaxis()
    return figure


EXPERIMENT = Experiment(
    "what_breaks_first",
    "Which fault of the train costs most metres, and which most wheel?",
    investigate,
    n_seeds=2,
)

if __name__ == "__main__":
    sys.exit(EXPERIMENT.main())
