"""slipbench: a bench for wheel slide protection on low-adhesion rail.

    >>> import slipbench
    >>> stop = slipbench.simulate("wet_leaf", "slip_band")   # doctest: +SKIP

Simulation on assumed rails. It approves nothing: local rules, standards in force and licensed
practice decide.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from slipbench.ground.version import VERSION

if TYPE_CHECKING:
    from slipbench.contract import (
        COLUMN,
        DEMAND,
        DEMAND_FACTOR,
        DYNAMIC_FACTOR,
        FILL,
        HOLD,
        ISOLATED,
        MEASURED,
        OBSERVED,
        PRESSURE,
        SAMPLE_TIME,
        SIGNALS,
        SLIDE,
        TRUTH,
        VALVE,
        VENT,
        WHEEL_SPEED,
        Controller,
        Parameter,
    )
    from slipbench.ground.errors import InputError
    from slipbench.scenario import Scenario, load_scenario, scenario_names
    from slipbench.stop.shortest import shortest_possible
    from slipbench.stop.simulation import simulate
    from slipbench.stop.stop import Stop

__version__ = VERSION

__all__ = [
    "COLUMN",
    "DEMAND",
    "DEMAND_FACTOR",
    "DYNAMIC_FACTOR",
    "FILL",
    "HOLD",
    "ISOLATED",
    "MEASURED",
    "OBSERVED",
    "PRESSURE",
    "SAMPLE_TIME",
    "SIGNALS",
    "SLIDE",
    "TRUTH",
    "VALVE",
    "VENT",
    "WHEEL_SPEED",
    "Controller",
    "InputError",
    "Parameter",
    "Scenario",
    "Stop",
    "load_scenario",
    "scenario_names",
    "shortest_possible",
    "simulate",
]

_HOME = {
    "InputError": "slipbench.ground.errors",
    "Scenario": "slipbench.scenario",
    "Stop": "slipbench.stop.stop",
    "load_scenario": "slipbench.scenario",
    "scenario_names": "slipbench.scenario",
    "shortest_possible": "slipbench.stop.shortest",
    "simulate": "slipbench.stop.simulation",
}
_CONTRACT = "slipbench.contract"
"""Where every other public name is at home."""


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that importing the package is light."""
    if name in __all__:
        return getattr(import_module(_HOME.get(name, _CONTRACT)), name)
    if name == "controllers":  # the shipped strategies, for `slipbench.controllers.by_name`
        return import_module("slipbench.controllers")
    raise AttributeError(f"module 'slipbench' has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names."""
    return sorted([*__all__, "__version__", "controllers"])
