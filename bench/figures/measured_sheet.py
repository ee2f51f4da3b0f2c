"""A measured stop in pictures: one sheet, adhesion against slip, adhesion along the track."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from slipbench.contract import Floats
from slipbench.figures import style
from slipbench.measured.account import Account
from slipbench.measured.adhesion import Adhesion
from slipbench.measured.speed import Z90

_HEIGHTS = (2.4, 1.3, 0.8, 1.6, 2.0)
_MOST_DOTS = 800


def shown_axles(n_axles: int, most: int = 4) -> list[int]:
    """Return axles told apart in a picture, from the front, evenly spread; counted from 0."""
    spread = np.linspace(0, n_axles - 1, min(n_axles, most)).round()
    return sorted({int(i) for i in spread})


def draw_measured_sheet(account: Account) -> Figure:
    """Draw a measured stop on one sheet, beside its bands.

    From above, over time: train speed with its 90 % band, physical bounds and rims; cylinder
    pressures; handle or demand; creepage by axle; adhesion used by four axles with 90 % bands.
    """
    width, height = style.A4
    with style.styled():
        figure = style.new_figure(0.86 * height, width)
        rows: Any = figure.subplots(len(_HEIGHTS), 1, sharex=True, height_ratios=_HEIGHTS)
        figure.subplots_adjust(left=0.11, right=0.82, top=0.925, bottom=0.075, hspace=0.17)
        head = f"{account.log.source}: {account.unit.scenario.train.name}"
        figure.text(0.03, 0.985, head, fontsize=11, fontweight="bold", va="top")
        figure.text(0.03, 0.962, _line(account), fontsize=8.0, va="top")
        _draw_speed(rows[0], account)
        _draw_pressure(rows[1], account)
        _draw_handle(rows[2], account)
        _draw_creepage(rows[3], account.adhesion)
        _draw_used(rows[4], account.adhesion)
        time = account.speed.time
        rows[0].set_xlim(float(time[0]), float(time[-1]))
        rows[-1].set_xlabel("time in the log [s]")
        for axes in rows:
            axes.yaxis.set_label_coords(-0.075, 0.5)
        style.write_caution(figure)
    return figure


def _line(account: Account) -> str:
    speed = account.speed
    by = (
        "an independent source" if speed.is_independent else "rolling rims and the momentum balance"
    )
    return (
        f"estimated, not measured: train speed by {by}; adhesion by pressure and momentum; "
        "bands hold "
        "90 %"
    )


def _say(axes: Axes, height: float, text: str, colour: str = style.INK) -> None:
    axes.text(1.015, height, text, transform=axes.transAxes, fontsize=8.0, color=colour, va="top")


def _draw_speed(axes: Axes, account: Account) -> None:
    speed, thin = account.speed, _thin(len(account.speed.time))
    time = speed.time[thin]
    axes.plot(time, 3.6 * speed.rim[thin], color=style.SKY, linewidth=0.4, alpha=0.7)
    axes.plot(time, 3.6 * speed.rim[thin, 0], color=style.BLUE, linewidth=0.7)
    low, high = speed.train - Z90 * speed.deviation, speed.train + Z90 * speed.deviation
    band: Any = {"color": style.VERMILION, "alpha": 0.35, "linewidth": 0}
    axes.fill_between(time, 3.6 * low[thin], 3.6 * high[thin], **band)
    axes.plot(time, 3.6 * speed.train[thin], color=style.BLACK, linewidth=1.4)
    floor = 3.6 * speed.low[thin]
    axes.plot(time, floor, color=style.GREY, linewidth=0.8, linestyle=(0, (4, 2)))
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel("speed [km/h]")
    axes.grid(axis="y")
    _say(axes, 0.98, "black: train; red: its\n90 % band", style.INK)
    _say(axes, 0.78, "dark: rims of the\nfirst axle; pale: others", style.BLUE)
    _say(axes, 0.58, "dashed: no slower by\nphysics alone", style.QUIET)


def _draw_pressure(axes: Axes, account: Account) -> None:
    series, thin = account.series, _thin(len(account.series.time))
    time, pressure = series.time[thin], series.pressure[thin] / 1e5
    if np.isfinite(pressure).any():
        low, high = np.nanmin(pressure, axis=1), np.nanmax(pressure, axis=1)
        axes.fill_between(time, low, high, color=style.FAINT, linewidth=0)
        axes.plot(time, pressure[:, 0], color=style.BLUE, linewidth=0.7)
        axes.plot(time, np.nanmean(pressure, axis=1), color=style.BLACK, linewidth=1.0)
    axes.set_ylabel("cylinders [bar]")
    axes.grid(axis="y")
    _say(axes, 0.98, "black: mean; dark:\nfirst axle; grey: all")


def _draw_handle(axes: Axes, account: Account) -> None:
    series = account.series
    has_handle = np.isfinite(series.handle).any()
    values, name = (series.handle, "handle") if has_handle else (series.demand, "demand")
    if np.isfinite(values).any():
        axes.step(series.time, values, where="post", color=style.BLACK, linewidth=1.2)
    else:
        axes.text(0.5, 0.5, "not in the log", transform=axes.transAxes, ha="center", va="center")
    axes.set_ylabel(f"{name} [-]")
    axes.set_ylim(0.0, 1.15 * max(float(np.nanmax(values, initial=0.0)), 1.0))
    axes.grid(axis="y")


def _draw_creepage(axes: Axes, adhesion: Adhesion) -> None:
    n_axles = adhesion.creepage.shape[1]
    thin = _thin(len(adhesion.time), 900)
    picture = np.clip(
        np.where(adhesion.train[thin, None] > 1.0, adhesion.creepage[thin], 0.0), 0, 1
    )
    extent = (adhesion.time[0], adhesion.time[-1], n_axles + 0.5, 0.5)
    image = axes.imshow(
        np.sqrt(picture.T), aspect="auto", extent=extent, cmap="Greys", vmin=0.0, vmax=1.0,
        interpolation="nearest",
    )  # fmt: skip
    axes.set_ylabel("axle")
    axes.set_yticks(sorted({1, *range(4, n_axles + 1, 4), n_axles}))
    bar = axes.inset_axes((1.02, 0.1, 0.025, 0.75))
    colours = axes.figure.colorbar(image, cax=bar)
    colours.set_ticks(
        [0.0, 0.05**0.5, 0.2**0.5, 0.5**0.5, 1.0], labels=["0", ".05", ".2", ".5", "1"]
    )
    bar.tick_params(labelsize=8.0)
    _say(axes, 1.02, "       creepage [-]")


def _draw_used(axes: Axes, adhesion: Adhesion) -> None:
    thin = _thin(len(adhesion.time), 700)
    axles = shown_axles(adhesion.used.shape[1])
    for i, colour in zip(
        axles, (style.BLACK, style.BLUE, style.VERMILION, style.GREEN), strict=False
    ):
        time = adhesion.time[thin]
        low, high = adhesion.low[thin, i], adhesion.high[thin, i]
        axes.fill_between(time, low, high, color=colour, alpha=0.18, linewidth=0)
        axes.plot(time, adhesion.used[thin, i], color=colour, linewidth=0.8)
    top = float(np.nanquantile(adhesion.high, 0.995))
    axes.set_ylim(min(0.0, float(np.nanquantile(adhesion.low, 0.005))), 1.1 * top)
    axes.set_ylabel("adhesion used [-]")
    axes.grid(axis="y")
    for k, (i, colour) in enumerate(
        zip(axles, (style.BLACK, style.BLUE, style.VERMILION, style.GREEN), strict=False)
    ):
        _say(axes, 0.98 - 0.1 * k, f"axle {i + 1}", colour)
    _say(axes, 0.5, "with 90 % bands;\ngaps: locked")


def _thin(n: int, most: int = 1800) -> Any:
    return np.unique(np.linspace(0, n - 1, min(n, most)).astype(np.intp))


def draw_slip_curves(account: Account) -> Figure:
    """Draw adhesion against creepage, a panel an axle (every axle up to 16, else evenly spread)."""
    a = account.adhesion
    axles = shown_axles(a.used.shape[1], 16)
    n_rows = -(-len(axles) // 4)
    with style.styled():
        figure = style.new_figure(0.9 + 1.45 * n_rows)
        grid: Any = figure.subplots(n_rows, 4, sharex=True, sharey=True, squeeze=False)
        figure.subplots_adjust(left=0.1, right=0.985, top=0.94, bottom=0.13, hspace=0.2, wspace=0.1)
        top = float(np.nanquantile(a.high, 0.995))
        dots = None
        for axes, i in zip(grid.flat, axles, strict=False):
            use = np.flatnonzero(
                (a.train > 3.0) & np.isfinite(a.used[:, i]) & (a.creepage[:, i] > 3e-3)
            )
            use = use[:: max(1, len(use) // _MOST_DOTS)]
            dots = axes.scatter(
                a.creepage[use, i], a.used[use, i], c=3.6 * a.train[use], s=2.0, cmap="viridis",
                vmin=0.0, vmax=3.6 * float(a.train.max()), linewidths=0, rasterized=True,
            )  # fmt: skip
            axes.text(0.04, 0.92, f"axle {i + 1}", transform=axes.transAxes, va="top", fontsize=8.0)
            axes.grid()
        for axes in grid.flat[len(axles) :]:
            axes.set_visible(False)
        grid[0, 0].set_xscale("log")
        grid[0, 0].set_xlim(3e-3, 1.0)
        grid[0, 0].set_xticks([0.01, 0.1, 1.0], labels=[".01", ".1", "1"])
        grid[0, 0].set_ylim(0.0, 1.05 * top)
        figure.supxlabel("creepage [-]", fontsize=8.5, y=0.055)
        figure.supylabel("adhesion used [-]", fontsize=8.5, x=0.012)
        if dots is not None:
            bar = figure.colorbar(dots, cax=figure.add_axes((0.62, 0.977, 0.3, 0.012)),
                                  orientation="horizontal")  # fmt: skip
            bar.ax.tick_params(labelsize=8.0, pad=1)
            figure.text(0.61, 0.977, "train speed [km/h]", fontsize=8.0, ha="right", va="bottom")
        style.write_caution(figure)
    return figure


def along_track(a: Adhesion, cell: float) -> tuple[Floats, Floats, Floats]:
    """Return adhesion met while sliding, by place: mean of each cell of track and axle.

    Returns
    -------
    (places (m,), mean (m, n_axles), deviation (m, n_axles))   NaN where an axle did not slide
    """
    begin, end = float(np.nanmin(a.place[:, 0])), float(np.nanmax(a.place))
    edges = np.arange(begin, end + cell, cell)
    mean = np.full((len(edges) - 1, a.place.shape[1]), np.nan)
    spread = np.full_like(mean, np.nan)
    for i in range(a.place.shape[1]):
        use = a.is_sliding[:, i] & np.isfinite(a.used[:, i]) & (a.train > 2.0)
        at = np.digitize(a.place[use, i], edges) - 1
        inside = (at >= 0) & (at < len(mean))
        count = np.bincount(at[inside], minlength=len(mean))
        total = np.bincount(at[inside], a.used[use, i][inside], minlength=len(mean))
        wide = np.bincount(at[inside], a.deviation[use, i][inside], minlength=len(mean))
        some = count > 0
        mean[some, i], spread[some, i] = total[some] / count[some], wide[some] / count[some]
    return 0.5 * (edges[1:] + edges[:-1]), mean, spread


def draw_along_track(account: Account) -> Figure:
    """Draw the adhesion met along the track by axle: whether leading axles cleaned for others.

    Above, by place and axle; below, the mean of each quarter of the train's axles with its band.
    """
    a = account.adhesion
    length = float(account.speed.distance[-1])
    places, mean, spread = along_track(a, max(5.0, length / 200.0))
    n_axles = mean.shape[1]
    with style.styled():
        figure = style.new_figure(4.6)
        rows: Any = figure.subplots(2, 1, sharex=True, height_ratios=(1.2, 1.5))
        figure.subplots_adjust(left=0.09, right=0.85, top=0.95, bottom=0.135, hspace=0.12)
        extent = (places[0], places[-1], n_axles + 0.5, 0.5)
        image = rows[0].imshow(mean.T, aspect="auto", extent=extent, cmap="cividis",
                               interpolation="nearest", vmin=0.0)  # fmt: skip
        rows[0].set_ylabel("axle")
        rows[0].set_yticks(sorted({1, *range(4, n_axles + 1, 4), n_axles}))
        bar = figure.colorbar(image, cax=rows[0].inset_axes((1.02, 0.0, 0.02, 1.0)))
        bar.set_label("adhesion met [-]", fontsize=8.0)
        bar.ax.tick_params(labelsize=8.0)
        for k, part in enumerate(np.array_split(np.arange(n_axles), min(4, n_axles))):
            colour = (style.BLACK, style.BLUE, style.VERMILION, style.GREEN)[k]
            some = np.isfinite(mean[:, part]).any(axis=1)
            middle = np.nanmean(mean[some][:, part], axis=1)
            wide = Z90 * np.nanmean(spread[some][:, part], axis=1) / np.sqrt(len(part))
            low, high = middle - wide, middle + wide
            rows[1].fill_between(places[some], low, high, color=colour, alpha=0.2, linewidth=0)
            rows[1].plot(places[some], middle, color=colour, linewidth=1.0)
            names = (
                f"axles {part[0] + 1} to {part[-1] + 1}" if len(part) > 1 else f"axle {part[0] + 1}"
            )
            _say(rows[1], 0.98 - 0.12 * k, names, colour)
        _say(rows[1], 0.45, "means while\nsliding, with 90 %\nbands; a shared\nbrake gain "
            "would\nmove all together",
             style.QUIET)  # fmt: skip
        rows[1].set_ylim(bottom=0.0)
        rows[1].set_ylabel("adhesion met [-]")
        rows[1].set_xlabel("place, from where the train's front was as the log began [m]")
        rows[1].grid(axis="y")
        style.write_caution(figure)
    return figure
