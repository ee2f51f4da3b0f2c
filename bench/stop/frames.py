"""A stop as objects of other libraries: a frame of its summary, a dataset of its traces."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

from slipbench.contract import Floats
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.results.quantities import AXLE_TRACE, TRACED, flat, units_of


def summary_frame(heads: Mapping[str, Any], summary: Mapping[str, Any]) -> Any:
    """Return a stop's summary as a pandas frame of one row; see `Stop.to_frame`."""
    pandas = library("pandas")
    frame = pandas.DataFrame([dict(heads) | flat(summary)])
    frame.attrs = {"units": units_of([*heads, *summary]), "caution": CAUTION}
    return frame


def trace_dataset(
    heads: Mapping[str, Any],
    summary: Mapping[str, Any],
    traces: Mapping[str, Floats],
    n_axles: int,
) -> Any:
    """Return a stop's traces as an xarray dataset; see `Stop.to_dataset`."""
    if not traces:
        raise InputError("stop: it has no traces; run it with them (simulate's with_traces=True)")
    xarray = library("xarray")
    variables: dict[str, Any] = {}
    for name, values in traces.items():
        quantity = TRACED[name]
        dims = ("time", "axle") if quantity.of == AXLE_TRACE else ("time",)
        about = {"units": quantity.unit, "long_name": quantity.meaning}
        variables[name] = (dims, values, about)
    time = variables.pop("time")
    axles = ("axle", list(range(1, n_axles + 1)), {"long_name": "from front"})
    told = dict(heads)
    for name, value in summary.items():
        if isinstance(value, int | float):  # what is stored beside a dataset knows no truth values
            told[name] = int(value) if isinstance(value, bool) else value
    return xarray.Dataset(variables, {"time": time, "axle": axles}, {**told, "caution": CAUTION})


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
