"""One stop on one A4 sheet, readable printed in grey."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from slipbench.contract import FILL, HOLD, VENT, Floats
from slipbench.figures import style
from slipbench.figures.conditioning import shown_axles
from slipbench.kernel.train import GRAVITY
from slipbench.results.shown import METRIC, Shown
from slipbench.stop.finding import in_unit
from slipbench.stop.stop import Stop

COLUMNS = 900
"""Moments a raster shows: about one a dot of the printed page."""

ACTIVITY = (
    ("fill", "#ffffff"),
    ("hold", "#d2d2d2"),
    ("vent", style.SKY),
    ("locked wheel", style.BLACK),
)
"""Classes of the activity raster with their colours, which get darker in this order."""

LOCKED = 3
"""Class of a locked wheel in the activity raster."""

STANDING_WHEEL = 0.05
"""Rim speed below which a wheel that was locked still stands. [m/s]"""

_HEIGHTS = (2.3, 0.75, 1.25, 1.45, 1.45, 1.45, 1.5)
_MOST_FINDINGS, _MOST_FAULTS = 4, 6

FAULT = "fault "
"""How the kind of a finding about a fault begins."""

SHORTEST_LOCK = 0.05
"""A lock below this rounds to nothing and is called none. [s]"""


def creepage(stop: Stop) -> Floats:
    """Return the creepage of every axle over the traces, 0 at standstill. (n, n_axles) [-]"""
    train = stop.traces["train_speed"][:, None]
    slip: Floats = np.where(
        train > 0.1, (train - stop.traces["wheel_speed"]) / np.maximum(train, 0.1), 0.0
    )
    return slip


def is_locked(stop: Stop) -> npt.NDArray[np.bool_]:
    """Return whether each wheel is locked, to standstill if it does not turn again. (n, n_axles)

    What is counted as locked time ends at `run.locked_train_speed`; what is drawn does not: a wheel
    is locked where its rim is below `run.locked_wheel_speed` and slides, and stays so while it
    stands, to the last moment of the stop.
    """
    run, wheel = stop.scenario.run, stop.traces["wheel_speed"]
    slip_speed = stop.traces["train_speed"][:, None] - wheel
    begins = (wheel < run.locked_wheel_speed) & (slip_speed > run.sliding_slip_speed)
    ends = ~begins & (wheel >= STANDING_WHEEL)
    moment = np.arange(1, len(wheel) + 1)[:, None]
    last_begun = np.maximum.accumulate(np.where(begins, moment, 0), axis=0)
    last_ended = np.maximum.accumulate(np.where(ends, moment, 0), axis=0)
    locked: npt.NDArray[np.bool_] = last_begun > last_ended
    return locked


def result_words(stop: Stop, shown: Shown = METRIC) -> list[str]:
    """Return how a stop ended: distance, past or short of its marker, longest lock, flats."""
    summary, ride = stop.summary, stop.worth.ride
    words = [stop.outcome]
    if np.isfinite(ride.overrun):
        side = "past" if ride.overrun > 0.0 else "short of"
        words.append(f"{shown.said_length(abs(ride.overrun))} {side} the marker")
    words.append(f"longest lock {summary['longest_lock']:.1f} s")
    length = stop.worth.wheels.flat_length
    i_axle = int(np.argmax(length.high))
    low, high = 1e3 * float(length.low[i_axle]), 1e3 * float(length.high[i_axle])
    flats = f"longest flat {low:.0f} to {high:.0f} mm (axle {i_axle + 1})"
    words.append(flats if high > 0.0 else "no flats")
    n_last = int(is_locked(stop)[-1].sum())
    if n_last:
        words.append(f"{n_last} axles locked to the last moment")
    return words


def activity(stop: Stop) -> npt.NDArray[np.int64]:
    """Return the class of each axle at each moment, by number in `ACTIVITY`. (n, n_axles)"""
    classes = np.zeros(stop.traces["valve"].shape, dtype=np.int64)
    for number, valve in enumerate((FILL, HOLD, VENT)):
        classes[np.rint(stop.traces["valve"]) == valve] = number
    classes[is_locked(stop)] = LOCKED
    return classes


def energies(stop: Stop) -> dict[str, Floats]:
    """Return where the train's energy is, over the traces. (n,) each [J]

    Returns
    -------
    dict   `motion`: of the train and its wheels; `brakes`: heat of friction brakes, `drives`: what
           dynamic brakes took, `track`: work of track brakes, these three by the trapezoidal rule
           over the traces, so coarser than the stop's own audit; `contact`: heat between wheel and
           rail; `rest`: the remainder, running resistance and gradient. They add up to the first
           `motion`; on a falling gradient `rest` goes below zero.
    """
    traces, train = stop.traces, stop.scenario.train
    rotating = np.array([mass for v in train.vehicles for mass in v.rotating_masses])
    motion = 0.5 * train.mass * traces["train_speed"] ** 2
    motion = motion + 0.5 * traces["wheel_speed"] ** 2 @ rotating
    taken = {
        "brakes": (traces["brake_force"] - traces["dynamic_force"]) * traces["wheel_speed"],
        "drives": traces["dynamic_force"] * traces["wheel_speed"],
        "track": (traces["track_force"] * traces["train_speed"])[:, None],
    }
    parts = {name: _work(traces["time"], power.sum(axis=1)) for name, power in taken.items()}
    parts["contact"] = traces["contact_energy"].sum(axis=1)
    return {"motion": motion, **parts, "rest": motion[0] - motion - sum(parts.values())}


def _work(time: Floats, power: Floats) -> Floats:
    """Return what a power has done so far, by the trapezoidal rule. (n,) [J]"""
    done = np.cumsum(0.5 * (power[1:] + power[:-1]) * np.diff(time))
    return np.concatenate([[0.0], done])


def draw_stop_sheet(stop: Stop, shown: Shown = METRIC) -> Figure:
    """Draw one stop on an A4 sheet.

    From above, all over time: speed of train and wheels; handle; cylinder pressures; slip by axle;
    activity by axle; friction met; energy. Distance stands along the top.

    Parameters
    ----------
    stop : Stop     with traces
    shown : Shown   units of speed and way

    Returns
    -------
    Figure
    """
    width, height = style.A4
    with style.styled():
        figure = style.new_figure(height, width)
        rows: Any = figure.subplots(len(_HEIGHTS), 1, sharex=True, height_ratios=_HEIGHTS)
        top = _write_head(figure, stop, shown) - 0.04  # room for the distances
        figure.subplots_adjust(left=0.12, right=0.79, top=top, bottom=0.065, hspace=0.16)
        _draw_speeds(rows[0], stop, shown)
        _draw_handle(rows[1], stop)
        _draw_pressures(rows[2], stop)
        _draw_slip(rows[3], stop)
        _draw_activity(rows[4], stop)
        _draw_friction(rows[5], stop)
        _draw_energy(rows[6], stop)
        rows[0].set_xlim(0.0, float(stop.traces["time"][-1]))
        rows[-1].set_xlabel("time from the start [s]")
        _distance_on_top(rows[0], stop, shown)
        _mark_faults(rows, stop)
        for axes in rows:
            axes.yaxis.set_label_coords(-0.075, 0.5)
        style.write_caution(figure)
    return figure


def headline(stop: Stop, shown: Shown = METRIC) -> str:
    """Return in one sentence how a stop went: where it ended, and what the wheels took."""
    start = shown.said_speed(stop.scenario.initial_speed)
    if stop.summary["is_stopped"]:
        distance = shown.said_length(stop.summary["stopping_distance"])
        said = f"From {start} it stopped in {distance}"
    else:
        left = shown.said_speed(stop.summary["final_speed"])
        gone = shown.said_length(stop.summary["final_distance"])
        said = f"From {start} it did not stop: {left} left after {gone}"
    lock = stop.summary["longest_lock"]
    if lock >= SHORTEST_LOCK:
        return f"{said}; a wheel was locked for {lock:.1f} s."
    return f"{said}; no wheel locked."


def _write_head(figure: Figure, stop: Stop, shown: Shown) -> float:
    """Write the account above the pictures; return how far down it reaches, over the height."""
    s = stop.summary
    numbers = [
        f"mean deceleration {s['mean_deceleration']:.3f} m/s²",
        f"adhesion used {s['adhesion_utilisation']:.2f} of the usable",
        f"{s['vent_count']} vent commands",
    ]
    ended = "; ".join(result_words(stop, shown)[1:])
    lines = [style.account(stop), f"{stop.scenario.title}; train: {_train_of(stop)}",
             f"{ended}; {'; '.join(numbers)}"]  # fmt: skip
    lines = [part for line in lines for part in textwrap.wrap(line, 118)]
    for text in _findings_shown(stop, shown):
        lines += textwrap.wrap(f"• {text}", 118, subsequent_indent="   ")[:2]
    figure.text(0.03, 0.987, headline(stop, shown), fontsize=11.5, fontweight="bold", va="top")
    size, spacing, upper = 8.0, 1.3, 0.967
    figure.text(0.03, upper, "\n".join(lines), fontsize=size, va="top", linespacing=spacing)
    return upper - len(lines) * size * spacing / 72.0 / style.A4[1]


def _findings_shown(stop: Stop, shown: Shown) -> list[str]:
    """Return the findings the sheet has room for: of every fault first, then the gravest."""
    of_faults = [own for own in stop.findings if own.kind.startswith(FAULT)]
    others = [own for own in stop.findings if not own.kind.startswith(FAULT)]
    n_most = max(_MOST_FINDINGS, min(len(of_faults), _MOST_FAULTS))
    return [in_unit(own.text, shown.said_speed) for own in (*of_faults, *others)[:n_most]]


def _mark_faults(rows: Any, stop: Stop) -> None:
    """Mark where each fault acted by a line through all panels, named above the handle."""
    end = float(stop.traces["time"][-1])
    named = -np.inf
    for own in stop.findings:
        if not own.kind.startswith(FAULT) or not np.isfinite(own.time):
            continue
        for axes in rows:
            axes.axvline(own.time, color=style.VERMILION, linewidth=1.2, linestyle=(0, (4, 2)))
        if own.time - named > 0.2 * end:
            is_late = own.time > 0.7 * end
            rows[0].annotate(
                own.kind.replace("_", " "), (own.time, 0.03), xycoords=("data", "axes fraction"),
                xytext=(-4 if is_late else 4, 0), textcoords="offset points", color=style.VERMILION,
                ha="right" if is_late else "left", fontweight="bold", fontsize=8.0,
                bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.8},
            )  # fmt: skip
            named = own.time


def _train_of(stop: Stop) -> str:
    train = stop.scenario.train
    return f"{train.name}, {train.n_axles} axles, {train.mass / 1e3:.0f} t"


def _say(axes: Axes, height: float, text: str, colour: str = style.INK) -> None:
    """Write to the right of an axes, at a height in its own fractions."""
    axes.text(1.015, height, text, transform=axes.transAxes, fontsize=8.0, color=colour, va="top")


def _thin(stop: Stop) -> npt.NDArray[np.intp]:
    """Return rows of the traces for lines: all, or few enough for a printed page."""
    n = len(stop.traces["time"])
    return np.unique(np.linspace(0, n - 1, min(n, 2 * COLUMNS)).astype(np.intp))


def _draw_speeds(axes: Axes, stop: Stop, shown: Shown) -> None:
    rows, traces = _thin(stop), stop.traces
    time = traces["time"][rows]
    wheels = traces["wheel_speed"][rows] / shown.per_speed
    axes.plot(time, wheels, color=style.SKY, linewidth=0.5)
    axes.plot(time, wheels[:, 0], color=style.BLUE, linewidth=0.7)
    axes.plot(time, traces["train_speed"][rows] / shown.per_speed, color=style.BLACK, linewidth=2.0)
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel(f"speed [{shown.speed}]")
    axes.grid(axis="y")
    _say(axes, 0.98, "thick: train")
    _say(axes, 0.84, "thin, dark: first axle", style.BLUE)
    _say(axes, 0.70, "thin, pale: all others", style.BLUE)


def _draw_handle(axes: Axes, stop: Stop) -> None:
    brake, traces = stop.scenario.brake, stop.traces
    time = traces["time"]
    axes.step(time, traces["handle"], where="post", color=style.BLACK, linewidth=1.6)
    labels = ["release", *(f"step {i + 1}" for i in range(brake.n_steps)), "emergency"]
    axes.set_yticks(range(len(labels)), labels, fontsize=8.0)
    axes.set_ylim(-0.4, brake.emergency_position + 0.4)
    axes.grid(axis="y")
    if traces["isolation_left"].max() > 0.0:
        is_out = traces["isolation_left"] > 0.0
        axes.fill_between(
            time, -0.4, 5.0, where=is_out, color=style.FAINT, linewidth=0, gid=style.CONTEXT
        )
        _say(axes, 0.26, "grey: slip control out")
    largest = float(traces["demand"].max()) * brake.emergency
    asked = f"most asked for:\n{largest:.2f} m/s², adhesion\n{largest / GRAVITY:.3f}"
    _say(axes, 0.98, asked)


def _draw_pressures(axes: Axes, stop: Stop) -> None:
    rows, traces = _thin(stop), stop.traces
    time, pressure = traces["time"][rows], traces["pressure"][rows] / 1e5
    axes.fill_between(
        time, pressure.min(axis=1), pressure.max(axis=1), facecolor=style.FAINT,
        edgecolor=style.GREY, linewidth=0.4,
    )  # fmt: skip
    axes.plot(time, pressure[:, 0], color=style.BLUE, linewidth=0.6)
    axes.plot(time, pressure.mean(axis=1), color=style.BLACK, linewidth=1.3)
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel("cylinder\npressure [bar]")
    axes.grid(axis="y")
    _say(axes, 0.98, "thick: mean of axles")
    _say(axes, 0.74, "thin: first axle", style.BLUE)
    _say(axes, 0.50, "grey: least to greatest")


def _moments(stop: Stop) -> npt.NDArray[np.intp]:
    """Return the rows of the traces nearest to the columns of a raster."""
    time = stop.traces["time"]
    moments = (np.arange(COLUMNS) + 0.5) / COLUMNS * time[-1]
    rows: npt.NDArray[np.intp] = np.minimum(np.searchsorted(time, moments), len(time) - 1)
    return rows


def _raster(axes: Axes, values: npt.NDArray[Any], stop: Stop, **look: Any) -> Any:
    n_axles = values.shape[1]
    image = axes.imshow(
        values.T,
        aspect="auto",
        interpolation="none",
        extent=(0.0, float(stop.traces["time"][-1]), n_axles + 0.5, 0.5),
        **look,
    )
    style.mark_vehicles(axes, stop.scenario, style.QUIET)
    axes.set_ylabel("axle, from\nthe front")
    return image


def _draw_slip(axes: Axes, stop: Stop) -> None:
    slip = np.clip(creepage(stop)[_moments(stop)], 0.0, 1.0) * 100.0
    image = _raster(axes, slip, stop, cmap="Greys", vmin=0.0, vmax=100.0)
    box: Any = axes.inset_axes((1.02, 0.0, 0.022, 1.0))
    bar = axes.get_figure().colorbar(image, cax=box)  # type: ignore[union-attr]
    bar.set_label("slip of the wheels [%]", fontsize=8.0)
    bar.ax.tick_params(labelsize=8.0)
    bar.set_ticks([0, 20, 50, 100])


def _draw_activity(axes: Axes, stop: Stop) -> None:
    shades = ListedColormap([colour for _, colour in ACTIVITY])
    classes = activity(stop)[_moments(stop)]
    _raster(axes, classes, stop, cmap=shades, vmin=-0.5, vmax=len(ACTIVITY) - 0.5)
    patches = [
        Patch(facecolor=colour, edgecolor=style.QUIET, linewidth=0.5, label=name)
        for name, colour in ACTIVITY
    ]
    axes.legend(
        handles=patches,
        title="valve of the axle",
        title_fontsize=8.0,
        loc="upper left",
        bbox_to_anchor=(1.0, 1.05),
        fontsize=8.0,
        handlelength=1.2,
        alignment="left",
    )


def _draw_friction(axes: Axes, stop: Stop) -> None:
    rows, traces = _thin(stop), stop.traces
    shown = shown_axles(stop.scenario.train.n_axles)
    window = np.ones(max(1, round(len(rows) / 150)))
    shades, widths = np.linspace(0.52, 0.0, len(shown)), np.linspace(0.8, 1.8, len(shown))
    counts = np.convolve(np.ones(len(rows)), window, mode="same")
    for number, shade, width in zip(shown, shades, widths, strict=True):
        values = np.convolve(traces["friction"][rows, number - 1], window, mode="same") / counts
        axes.plot(
            traces["time"][rows],
            values,
            color=str(shade),
            linewidth=width,
            label=f"axle {number}",
        )
    axes.set_ylim(bottom=0.0)
    axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    axes.set_ylabel("friction met\non the rail [-]")
    axes.grid(axis="y")
    style.legend_beside(axes)


def _draw_energy(axes: Axes, stop: Stop) -> None:
    rows = _thin(stop)
    parts = {name: values[rows] / 1e6 for name, values in energies(stop).items()}
    labels = {
        "brakes": ("heat in the brakes", style.GREY, ""),
        "drives": ("dynamic brakes", style.SKY, ""),
        "track": ("track brakes", style.BLUE, "\\\\\\\\"),
        "contact": ("heat between\nwheel and rail", style.ORANGE, "////"),
        "rest": ("resistance,\ngradient", style.FAINT, "...."),
        "motion": ("still in motion", style.PAPER, ""),
    }
    below = np.zeros(len(rows))
    for name, (label, colour, hatch) in labels.items():
        if name in ("drives", "track") and not parts[name].any():
            continue
        above = below + parts[name]
        axes.fill_between(
            stop.traces["time"][rows],
            below,
            above,
            facecolor=colour,
            edgecolor=style.INK,
            linewidth=0.4,
            hatch=hatch,
            label=label,
        )
        below = above
    axes.set_ylim(bottom=min(0.0, float(parts["rest"].min())))
    axes.set_ylabel("energy of the\ntrain [MJ]")
    style.legend_beside(axes, size=8.0)


def _distance_on_top(axes: Axes, stop: Stop, shown: Shown) -> None:
    """Mark round distances along the top, where they do not crowd."""
    time, distance = stop.traces["time"], stop.traces["distance"] / shown.per_length
    step = next(s for s in (10, 20, 50, 100, 200, 500, 1000, 2000, 5000) if distance[-1] / s < 14)
    top: Any = axes.secondary_xaxis("top")
    ticks, names, last = [], [], -np.inf
    for place in np.arange(0.0, distance[-1], step):
        moment = float(np.interp(place, distance, time))
        if moment - last > 0.065 * time[-1]:
            ticks.append(moment)
            names.append(f"{place:.0f}")
            last = moment
    top.set_xticks(ticks, names, fontsize=8.0)
    top.set_xlabel(f"distance run [{shown.length}]", fontsize=8.0, labelpad=2)
