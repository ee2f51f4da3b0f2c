"""What a stop is judged by, as numbers read from its summary; lower is better."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text
from slipbench.running.task import FAILED

Summary = Mapping[str, Any]


@dataclass(frozen=True)
class Objective:
    """One number of a stop.

    Attributes
    ----------
    name, unit, doc : str
    read : function     from the summary of a stop that came to an end, stopped or not
    decimals : int      shown
    """

    name: str
    unit: str
    doc: str
    read: Callable[[Summary], float]
    decimals: int = 2

    def of(self, summary: Summary) -> float:
        """Return the number of a stop, infinite where one that did not end has none."""
        return math.inf if FAILED in summary else self.read(summary)


def _distance(summary: Summary) -> float:
    return float(summary["stopping_distance"]) if summary["is_stopped"] else math.inf


OBJECTIVES: Mapping[str, Objective] = {
    "distance": Objective("distance", "m", "stopping distance", _distance, 1),
    "flats": Objective(
        "flats",
        "-",
        "flat risk, an index of the longest flat, from the top of its band",
        lambda summary: float(summary["flat_risk"]),
        4,
    ),
    "flat-length": Objective(
        "flat-length",
        "mm",
        "longest flat of any wheel, the high end of its band",
        lambda summary: 1e3 * max(summary["flat_length_high"], default=0.0),
        1,
    ),
    "air": Objective(
        "air",
        "normal litres",
        "air vented by all axles",
        lambda summary: float(summary["air_vented_litres"]),
        0,
    ),
    "vents": Objective(
        "vents", "-", "vent commands of all axles", lambda summary: float(summary["vent_count"]), 0
    ),
    "lock": Objective(
        "lock", "s", "longest lock of any wheel", lambda summary: float(summary["longest_lock"]), 3
    ),
}
"""All objectives by name."""


def find_objective(name: str) -> Objective:
    """Return an objective.

    Raises
    ------
    InputError   for an unknown name
    """
    if name not in OBJECTIVES:
        raise InputError(f"objective {name!r}: unknown; {nearest_text(name, OBJECTIVES)}")
    return OBJECTIVES[name]


def find_objectives(text: str) -> tuple[Objective, ...]:
    """Return the objectives of a list such as `distance,flats,air`, each once."""
    names = [name.strip() for name in text.split(",")]
    if len(set(names)) != len(names):
        raise InputError(f"objectives {text!r}: one is given twice; give each once")
    return tuple(find_objective(name) for name in names)
