"""What became of what a scenario's faults broke: one finding a fault."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from slipbench.stop.finding import Finding, at

if TYPE_CHECKING:
    from slipbench.contract import Floats
    from slipbench.scenario import Fault, Scenario
    from slipbench.stop.worth import Worth


Mask = npt.NDArray[np.bool_]


def fault_findings(scenario: Scenario, worth: Worth) -> list[Finding]:
    """Return one finding a fault: when it acted, and what became of what it broke."""
    found = []
    for i, fault in enumerate(scenario.faults):
        name, axles = _what_broke(fault, scenario)
        time, speed = float(worth.faults.time[i]), float(worth.faults.speed[i])
        if math.isnan(time):
            text = f"Fault {name} never acted: its trigger did not come."
        else:
            text = f"Fault {name} acted {at(time, speed)}: {_effect(fault, axles, worth)}."
        axle = fault.axle if fault.target == "axle" else None
        found.append(Finding(f"fault {fault.kind}", text, axle, time, speed, time, "s"))
    return found


def _what_broke(fault: Fault, scenario: Scenario) -> tuple[str, Mask]:
    """Return the fault in words, and which axles stand behind it (a mask)."""
    train = scenario.train
    owner = np.repeat(np.arange(len(train.vehicles)), [v.n_axles for v in train.vehicles])
    axles = np.ones(train.n_axles, dtype=bool)
    words = fault.kind.replace("_", " ")
    if fault.target == "axle":
        axles = np.arange(train.n_axles) == (fault.axle or 1) - 1
        return f"{words}, axle {fault.axle}", axles
    if fault.target == "vehicle":
        axles = owner == (fault.vehicle or 1) - 1
        return f"{words}, vehicle {fault.vehicle}", axles
    if fault.kind == "control_wire_broken":
        axles = owner >= (fault.vehicle or 1) - 1
        return f"{words}, wire {fault.wire} from vehicle {fault.vehicle or 1} on", axles
    if fault.target == "sander":
        return f"{words}, sander {fault.sander}", axles
    return words, axles


def _effect(fault: Fault, axles: Mask, worth: Worth) -> str:
    """Return what became of the broken axles, beside the mean of the others."""
    sizes: tuple[tuple[str, Callable[[float], str], Floats], ...] = (
        ("braked with", lambda x: f"{1e-6 * x:.2f} MJ", worth.brake_energy),
        ("slid", lambda x: f"{x:.0f} m", worth.slide.sliding_distance),
        ("were locked", lambda x: f"{x:.1f} s", worth.slide.locked_time),
        ("vented", lambda x: f"{x:.0f} times", worth.air.cycles),
    )
    parts = [f"{words} {write(float(of[axles].mean()))}" for words, write, of in sizes]
    if not axles.all():
        parts = [
            f"{part} against {write(float(of[~axles].mean()))}"
            for part, (_, write, of) in zip(parts, sizes, strict=True)
        ]
    whose = "all axles" if axles.all() else "its axles"
    extra = ""
    if fault.kind == "control_supply_lost":
        extra = "service steps are gone, emergency remains; "
    elif fault.kind == "sander_empty":
        extra = "it gives no more sand; "
    elif fault.kind == "supply_isolated":
        lowest = 1e-5 * float(worth.air.lowest_reservoir[(fault.vehicle or 1) - 1])
        extra = f"its reservoir fell to {lowest:.2f} bar; "
    mean = " on the mean of the others" if not axles.all() else " on the mean"
    return f"{extra}{whose} {', '.join(parts)}{mean}"
