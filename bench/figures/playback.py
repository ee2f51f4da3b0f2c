"""Playback: one stop, or two side by side, as a page that opens from disk and fetches nothing."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from slipbench.contract import Floats
from slipbench.figures.pages import as_data, escaped, fill, part
from slipbench.figures.rail_map import rail_met
from slipbench.figures.stop_sheet import creepage, is_locked
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.version import VERSION
from slipbench.stop.stop import Stop

SHORTEST_INTERVAL = 0.05
"""Between two moments of a playback, or longer where a long stop would make a large page. [s]"""

MOST_MOMENTS, MOST_AXLE_MOMENTS, MOST_CELLS = 2500, 80_000, 150_000
"""Bounds on the size of one stop: moments, moments times axles, rail cells times axles."""

SPEED_SCALE = 0.002
"""Speeds are kept as whole multiples of this, in 16 bits: up to 131 m/s. [m/s]"""

UNKNOWN = 255
"""Stands for no friction in the rail map."""

ROLLING, SLIDING, LOCKED = 0, 1, 2
"""How a wheel is drawn; kept above the two bits of the valve."""


def playback_page(stops: Sequence[Stop], command: str = "") -> str:
    """Return a page that plays one stop, or two side by side, from the same start of the clock.

    Parameters
    ----------
    stops : sequence of Stop   one or two, with traces, of the same train and brake
    command : str              the command line that makes this page, named at its foot

    Returns
    -------
    str   HTML, complete in itself

    Raises
    ------
    InputError   for another number of stops, stops without traces, or different trains

    Notes
    -----
    What the page shows is thinned to at least 50 ms between moments and to whole bytes: pressures
    to 1/255 of the full one, friction to 1/254 of the largest, speeds to 2 mm/s. It is for
    looking; numbers are in the traces.
    """
    if not 1 <= len(stops) <= 2:
        raise InputError(f"playback of {len(stops)} stops; allowed: 1 or 2")
    first = stops[0].scenario
    for stop in stops:
        if not stop.traces:
            raise InputError("playback needs stops with traces; simulate with with_traces=True")
        if stop.scenario.train != first.train or stop.scenario.brake != first.brake:
            raise InputError("playback of two stops needs the same train and brake in both")
    title = " beside ".join(stop.controller.name.replace("_", " ") for stop in stops)
    return fill(
        part("playback.html"),
        {
            "title": escaped(f"{title}: {first.name}, playback"),
            "style": part("page.css") + part("playback.css"),
            "data": as_data(playback_data(stops, command)),
            "script": part("playback.js"),
        },
    )


def playback_data(stops: Sequence[Stop], command: str = "") -> dict[str, Any]:
    """Return what the page plays, plain JSON values; arrays as base64 of little-endian numbers."""
    scenario = stops[0].scenario
    train, brake = scenario.train, scenario.brake
    maps = [rail_met(stop) for stop in stops]
    friction_scale = max(float(np.nanmax(met.friction)) for met in maps) / (UNKNOWN - 1)
    full = max(float(stop.traces["pressure"].max()) for stop in stops)
    full = max(full, brake.full_pressure)
    radii = [radius for vehicle in train.vehicles for radius in vehicle.radii]
    starts = np.cumsum([0.0, *(vehicle.length for vehicle in train.vehicles)])
    return {
        "title": scenario.title,
        "train": f"Train: {train.name}; {train.n_axles} braked axles, "
        f"{train.mass / 1e3:.0f} t. From {scenario.initial_speed / 0.44704:.0f} mph "
        f"({scenario.initial_speed * 3.6:.0f} km/h).",
        "caution": CAUTION,
        "made": f"slipbench {VERSION}" + (f"; made by: {command}" if command else ""),
        "length": train.length,
        "vehicles": [
            {"start": float(start), "length": vehicle.length}
            for start, vehicle in zip(starts, train.vehicles, strict=False)
        ],
        "axles": [
            {"offset": offset, "radius": radius}
            for offset, radius in zip(train.axle_positions, radii, strict=True)
        ],
        "handle": ["release", *(str(i + 1) for i in range(brake.n_steps)), "emergency"],
        "full_pressure_bar": full / 1e5,
        "speed_scale": SPEED_SCALE,
        "friction_scale": friction_scale,
        "stopping_point": scenario.driver.stopping_point,
        "stops": [
            _stop_data(stop, met.place, met.friction, friction_scale, full)
            for stop, met in zip(stops, maps, strict=True)
        ],
    }


def moments(stop: Stop) -> Floats:
    """Return the evenly spaced moments a playback shows; the last is the end of the stop. [s]"""
    lasts, n_axles = float(stop.traces["time"][-1]), stop.scenario.train.n_axles
    most = min(MOST_MOMENTS, MOST_AXLE_MOMENTS // n_axles)
    n = min(most, max(2, math.ceil(lasts / SHORTEST_INTERVAL) + 1))
    return np.linspace(0.0, lasts, n)


def _stop_data(
    stop: Stop, place: Floats, friction: Floats, friction_scale: float, full: float
) -> dict[str, Any]:
    time, traces = moments(stop), stop.traces
    own = traces["time"]
    nearest = np.clip(np.rint(np.interp(time, own, np.arange(len(own)))), 0, len(own) - 1)
    rows = nearest.astype(np.intp)
    wheels = np.column_stack([np.interp(time, own, w) for w in traces["wheel_speed"].T])
    state = np.where(creepage(stop) > stop.scenario.run.sliding_creepage, SLIDING, ROLLING)
    slip_speed = traces["train_speed"][:, None] - traces["wheel_speed"]
    state[slip_speed < stop.scenario.run.sliding_slip_speed] = ROLLING
    state[is_locked(stop)] = LOCKED
    start, cell, shown = _merged_cells(place, friction)
    levels = np.where(np.isfinite(shown), np.rint(shown / friction_scale), UNKNOWN)
    return {
        "controller": stop.controller.name,
        "principle": stop.controller.title,
        "outcome": stop.outcome,
        "is_stopped": bool(stop.summary["is_stopped"]),
        "interval": float(time[1] - time[0]),
        "distance": _packed(np.interp(time, own, traces["distance"]), "<f4"),
        "train_speed": _speeds(np.interp(time, own, traces["train_speed"])),
        "cab_speed": _speeds(traces["measured_wheel_speed"][rows, 0]),
        "wheel_speed": _speeds(wheels),
        "handle": _packed(np.rint(traces["handle"][rows]), "u1"),
        "pressure": _packed(np.rint(traces["pressure"][rows] / full * 255.0), "u1"),
        "state": _packed(4 * state[rows] + np.rint(traces["valve"][rows]), "u1"),
        "untouched": int(np.nanmin(levels[0])),
        "rail_info": {"start": start, "cell": cell, "n": shown.shape[1]},
        "rail": {"friction": _packed(levels, "u1")},
    }


def _merged_cells(place: Floats, friction: Floats) -> tuple[float, float, Floats]:
    """Return where the map starts [m], its cell length [m], and it with neighbours merged."""
    n_rows, n_cells = friction.shape
    cell = float(place[1] - place[0]) if n_cells > 1 else 1.0
    start = float(place[0]) - 0.5 * cell
    n_merged = math.ceil(n_rows * n_cells / MOST_CELLS)
    return start, cell * n_merged, friction[:, n_merged // 2 :: n_merged]


def _speeds(values: Floats) -> str:
    return _packed(np.clip(np.rint(values / SPEED_SCALE), 0, 65535), "<u2")


def _packed(values: npt.NDArray[Any], kind: str) -> str:
    """Return numbers as base64 of their bytes."""
    return base64.b64encode(np.ascontiguousarray(values).astype(kind).tobytes()).decode("ascii")
