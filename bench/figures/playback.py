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
from slipbench.figures.playback_names import lane_names
from slipbench.figures.rail_map import rail_met
from slipbench.figures.stop_sheet import creepage, is_locked
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.version import VERSION
from slipbench.scenario import Scenario
from slipbench.stop.stop import Stop

SHORTEST_INTERVAL = 0.05
"""Between two moments of a playback, or longer where a long stop would make a large page. [s]"""

MOST_MOMENTS, MOST_AXLE_MOMENTS, MOST_CELLS = 2500, 80_000, 150_000
"""Bounds on the size of one stop: moments, moments times axles, rail cells times axles."""

SPEED_SCALE = 0.002
"""Speeds are kept as whole multiples of this, in 16 bits: up to 131 m/s. [m/s]"""

UNKNOWN = 255
"""Stands for no friction in the rail map."""

ROLLING, SHALLOW, DEEP, LOCKED = 0, 1, 2, 3
"""How a wheel is drawn; kept above the two bits of the valve."""

DEEP_CREEPAGE = 0.3
"""Creepage above which a slide is drawn as deep (assumed: beyond what slip control aims at). [-]"""

STYLE, SCRIPT = (
    ("page.css", "playback.css"),
    ("playback_train.js", "playback_line.js", "playback.js"),
)
"""Files of this folder that make up the page."""


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
    data = playback_data(stops, command)
    return fill(
        part("playback.html"),
        {
            "title": escaped(f"{data['title']}: playback"),
            "style": "".join(map(part, STYLE)),
            "data": as_data(data),
            "script": "".join(map(part, SCRIPT)),
        },
    )


def heading(stops: Sequence[Stop], names: Sequence[str]) -> str:
    """Return what the page is headed by: what is beside what, on what both share."""
    rails = list(dict.fromkeys(stop.scenario.name for stop in stops))
    speeds = {round(stop.scenario.initial_speed / 0.44704) for stop in stops}
    shared = [", ".join(rails)] if len(rails) == 1 else []
    shared += [f"from {speed} mph" for speed in speeds] if len(speeds) == 1 else []
    title = " beside ".join(names)
    return f"{title}: {', '.join(shared)}" if shared else title


def playback_data(stops: Sequence[Stop], command: str = "") -> dict[str, Any]:
    """Return what the page plays, plain JSON values; arrays as base64 of little-endian numbers."""
    scenario = stops[0].scenario
    train, brake = scenario.train, scenario.brake
    maps = [rail_met(stop) for stop in stops]
    friction_scale = max(float(np.nanmax(met.friction)) for met in maps) / (UNKNOWN - 1)
    full = max(float(stop.traces["pressure"].max()) for stop in stops)
    full = max(full, brake.full_pressure)
    names = lane_names(stops)
    return {
        "title": heading(stops, names),
        "about": " / ".join(dict.fromkeys(stop.scenario.title for stop in stops)),
        "train": f"Train: {train.name}; {train.n_axles} braked axles, {train.mass / 1e3:.0f} t.",
        "caution": CAUTION,
        "made": f"slipbench {VERSION}" + (f"; made by: {command}" if command else ""),
        **train_data(scenario),
        "full_pressure_bar": full / 1e5,
        "speed_scale": SPEED_SCALE,
        "friction_scale": friction_scale,
        "deep_creepage": DEEP_CREEPAGE,
        "stops": [
            {"name": name, **_stop_data(stop, met.place, met.friction, friction_scale, full)}
            for stop, met, name in zip(stops, maps, names, strict=True)
        ],
    }


def train_data(scenario: Scenario) -> dict[str, Any]:
    """Return the train as pages draw it: lengths in metres behind its front, and its handle."""
    train = scenario.train
    radii = [radius for vehicle in train.vehicles for radius in vehicle.radii]
    starts = np.cumsum([0.0, *(vehicle.length for vehicle in train.vehicles)])
    return {
        "length": train.length,
        "vehicles": [
            {"start": float(start), "length": vehicle.length}
            for start, vehicle in zip(starts, train.vehicles, strict=False)
        ],
        "axles": [
            {"offset": offset, "radius": radius}
            for offset, radius in zip(train.axle_positions, radii, strict=True)
        ],
        "handle": ["release", *(str(i + 1) for i in range(scenario.brake.n_steps)), "emergency"],
    }


def wheel_states(stop: Stop) -> npt.NDArray[np.int64]:
    """Return how each wheel is drawn at each moment of the traces. (n, n_axles)"""
    run, slip = stop.scenario.run, creepage(stop)
    slip_speed = stop.traces["train_speed"][:, None] - stop.traces["wheel_speed"]
    state = np.where(slip > run.sliding_creepage, SHALLOW, ROLLING)
    state[slip > DEEP_CREEPAGE] = DEEP
    state[slip_speed < run.sliding_slip_speed] = ROLLING
    state[is_locked(stop)] = LOCKED
    return state


def result_data(stop: Stop) -> dict[str, Any]:
    """Return how a stop ended, for its card; lengths in metres, flats in millimetres."""
    length, overrun = stop.worth.wheels.flat_length, stop.worth.ride.overrun
    locked = stop.summary["locked_time"]
    return {
        "is_stopped": bool(stop.summary["is_stopped"]),
        "distance": float(stop.summary["final_distance"]),
        "overrun": float(overrun) if math.isfinite(overrun) else None,
        "longest_lock": float(stop.summary["longest_lock"]),
        "lock_axle": int(np.argmax(locked)) + 1,
        "flats": [
            [i + 1, round(1e3 * float(low), 1), round(1e3 * float(high), 1)]
            for i, (low, high) in enumerate(zip(*length, strict=True))
            if high > 0.0
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
    state = wheel_states(stop)
    start, cell, shown = _merged_cells(place, friction)
    levels = np.where(np.isfinite(shown), np.rint(shown / friction_scale), UNKNOWN)
    return {
        "controller": stop.controller.name,
        "principle": stop.controller.title,
        "result": result_data(stop),
        "stopping_point": stop.scenario.driver.stopping_point,
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
