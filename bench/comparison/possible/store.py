"""Planned stops that were found, kept in a file: nobody need search for them again.

What is kept is the plan, not only its distance: whoever shows it can make that stop again, with the
equipment of any seed, in some hundredths of a second.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from slipbench.comparison.possible.plan import Plan
from slipbench.comparison.possible.search import Found, distance_of
from slipbench.ground.errors import InputError
from slipbench.scenario import Scenario

SHIPPED = Path(__file__).parent / "found.json"
"""Plans for the shipped scenarios, as the command it names found them."""

FORMAT = "slipbench plans 1"


def key_of(scenario: Scenario) -> str:
    """Return the name a scenario's plan is kept under: its own, with axles and initial speed."""
    return f"{scenario.name}, {scenario.train.n_axles} axles, {scenario.initial_speed:.3f} m/s"


def plans_in(path: Path) -> dict[str, Found]:
    """Return the plans of a file by their keys.

    Raises
    ------
    InputError   if the file is none, or holds something else
    """
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise InputError(f"{path}: plans cannot be read: {problem}") from problem
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise InputError(f"{path}: holds no plans; allowed: a file of slipbench best-found")
    try:
        return {key: _found(own) for key, own in content["plans"].items()}
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise InputError(f"{path}: plans cannot be read: {problem!r}") from problem


def _found(own: Mapping[str, Any]) -> Found:
    depths = tuple(tuple(float(depth) for depth in row) for row in own["depths"])
    plan = Plan(tuple(float(place) for place in own["places"]), depths)
    return Found(plan, float(own["distance"]), int(own["tried"]))


def plans_text(plans: Mapping[str, Found], command: str) -> str:
    """Return the text of a file of plans, by `key_of`, with the command that found them."""
    rows = {
        key: {
            "distance": round(found.distance, 3),
            "tried": found.n_tried,
            "places": [round(place, 2) for place in found.plan.places],
            "depths": [[round(depth, 3) for depth in own] for own in found.plan.depths],
        }
        for key, found in plans.items()
    }
    text = json.dumps({"format": FORMAT, "command": command, "plans": rows}, indent=1)
    return _short_rows(text) + "\n"


def _short_rows(text: str) -> str:
    """Put lists of numbers on one line each."""
    lines: list[str] = []
    for line in text.split("\n"):
        is_number = line.strip().rstrip(",").replace(".", "").replace("-", "").isdigit()
        closes = line.strip() in ("]", "],")
        if lines and (is_number or closes) and lines[-1].rstrip()[-1] in "[,0123456789":
            joined = lines[-1].rstrip()
            if joined.endswith("[") or is_number or joined[-1].isdigit():
                lines[-1] = joined + ("" if joined.endswith("[") or closes else " ") + line.strip()
                continue
        lines.append(line)
    return "\n".join(lines)


@cache
def shipped_plans() -> Mapping[str, Found]:
    """Return the plans that come with the package."""
    return plans_in(SHIPPED)


def best_found(scenario: Scenario, seed: int = 0) -> float:
    """Return the distance of the plan kept for a scenario, made with a seed's equipment. [m]

    Returns
    -------
    float   NaN where none is kept, or the planned stop does not end within the scenario's limits

    Notes
    -----
    Plans are kept under name, number of axles and initial speed. A scenario of that name that is
    another makes its own stop with the plan, so what is returned is a stop that was made: only less
    good than one searched for.
    """
    found = found_for(scenario, shipped_plans())
    distance = distance_of(scenario, found.plan, seed) if found is not None else math.nan
    return distance if math.isfinite(distance) else math.nan


def found_for(scenario: Scenario, plans: Mapping[str, Found]) -> Found | None:
    """Return the plan kept for a scenario, or None."""
    found = plans.get(key_of(scenario))
    if found is None or not math.isfinite(found.distance):
        return None
    return found
