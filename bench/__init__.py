"""slipbench: a bench for wheel slide protection on low-adhesion rail.

Simulation on assumed rails. It approves nothing: local rules, standards in force and licensed
practice decide.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bench.contract import Controller, Parameter
    from bench.errors import InputError
    from bench.scenario import Scenario, load_scenario, scenario_names
    from bench.shortest import shortest_possible
    from bench.simulation import simulate
    from bench.stop import Stop

__version__ = "0.1.0"

_HOME = {
    "Controller": "bench.contract",
    "InputError": "bench.errors",
    "Parameter": "bench.contract",
    "Scenario": "bench.scenario",
    "Stop": "bench.stop",
    "load_scenario": "bench.scenario",
    "scenario_names": "bench.scenario",
    "shortest_possible": "bench.shortest",
    "simulate": "bench.simulation",
}

__all__ = [
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


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for, so that importing the package is light."""
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'bench' has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names."""
    return sorted([*__all__, "__version__"])
