"""A stop as objects of other libraries: a frame of its summary, a dataset of its traces."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.quantities import AXLE_TRACE, TRACED, flat, units_of

if TYPE_CHECKING:
    from slipbench.stop.stop import Stop


def summary_frame(stop: Stop) -> Any:
    """Return a stop's summary as a pandas frame of one row; see `Stop.to_frame`."""
    pandas = library("pandas")
    frame = pandas.DataFrame([_heads(stop) | flat(stop.summary)])
    frame.attrs = {"units": units_of(stop.summary), "caution": CAUTION}
    return frame


def trace_dataset(stop: Stop) -> Any:
    """Return a stop's traces as an xarray dataset; see `Stop.to_dataset`."""
    if not stop.traces:
        raise InputError("stop: it has no traces; run it with them (simulate's with_traces=True)")
    xarray = library("xarray")
    variables: dict[str, Any] = {}
    for name, values in stop.traces.items():
        quantity = TRACED[name]
        dims = ("time", "axle") if quantity.of == AXLE_TRACE else ("time",)
        about = {"units": quantity.unit, "long_name": quantity.meaning}
        variables[name] = (dims, values, about)
    time = variables.pop("time")
    axles = ("axle", list(range(1, stop.scenario.train.n_axles + 1)), {"long_name": "from front"})
    told = _heads(stop)
    for name, value in stop.summary.items():
        if isinstance(value, int | float):  # what is stored beside a dataset knows no truth values
            told[name] = int(value) if isinstance(value, bool) else value
    return xarray.Dataset(variables, {"time": time, "axle": axles}, {**told, "caution": CAUTION})


def _heads(stop: Stop) -> dict[str, Any]:
    return {
        "scenario": stop.scenario.name,
        "strategy": stop.controller.name,
        "seed": stop.seed,
        "initial_speed": stop.scenario.initial_speed,
    }


def library(name: str) -> Any:
    """Import a library of the extra `tables`.

    Raises
    ------
    InputError   if it is not installed
    """
    try:
        return import_module(name)
    except ImportError:
        raise InputError(
            f"{name} is needed, the extra `tables`: python -m pip install 'slipbench[tables]'"
        ) from None
