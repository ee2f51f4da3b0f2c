"""Pictures of a measured stop reproduced, its rail identified, and its alternatives."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from slipbench.figures import style
from slipbench.figures.measured_sheet import shown_axles
from slipbench.measured.account import Account
from slipbench.measured.identify import Identified
from slipbench.measured.reproduce import Reproduction
from slipbench.measured.speed import Z90
from slipbench.measured.whatif import Whatif, band


def draw_overlay(account: Account, found: Reproduction) -> Figure:
    """Draw every wheel of the model over that of the log (up to 32 axles, else evenly spread)."""
    axles = shown_axles(account.unit.n_axles, 32)
    n_rows = -(-len(axles) // 4)
    speed = account.speed
    thin = np.unique(np.linspace(0, len(speed.time) - 1, 700).astype(np.intp))
    time = speed.time[thin]
    with style.styled():
        figure = style.new_figure(1.0 + 1.25 * n_rows)
        grid: Any = figure.subplots(n_rows, 4, sharex=True, sharey=True, squeeze=False)
        figure.subplots_adjust(left=0.075, right=0.985, top=0.93, bottom=0.13, hspace=0.2,
                               wspace=0.08)  # fmt: skip
        for axes, i in zip(grid.flat, axles, strict=False):
            axes.plot(time, 3.6 * speed.train[thin], color=style.GREY, linewidth=0.7)
            axes.plot(time, 3.6 * speed.rim[thin, i], color=style.BLACK, linewidth=0.9)
            axes.plot(time, 3.6 * found.fresh_rims[thin, i], color=style.VERMILION, linewidth=0.7,
                      linestyle=(0, (4, 1)))  # fmt: skip
            axes.text(0.97, 0.93, f"axle {i + 1}", transform=axes.transAxes, va="top", ha="right",
                      fontsize=8.0)  # fmt: skip
            axes.grid(axis="y")
        for axes in grid.flat[len(axles) :]:
            axes.set_visible(False)
        grid[0, 0].set_ylim(bottom=0.0)
        figure.supxlabel("time in the log [s]", fontsize=8.5, y=0.055)
        figure.supylabel("rim speed [km/h]", fontsize=8.5, x=0.012)
        told = "black: log; red, dashed: model, set back every 2 s; grey: train"
        figure.text(0.075, 0.985, told, fontsize=8, va="top")
        style.write_caution(figure)
    return figure


def draw_rail(found: Identified) -> Figure:
    """Draw the identified rail: film friction along the track, and the profile of cleaning work."""
    fit = found.fit
    edges = fit.layout.edges
    places = fit.layout.patches
    at = fit.theta[places]
    half = Z90 * np.sqrt(np.diag(fit.covariance)[places])
    with style.styled():
        figure = style.new_figure(2.9)
        left, right = figure.subplots(1, 2, width_ratios=(1.9, 1.0))
        figure.subplots_adjust(left=0.085, right=0.98, top=0.95, bottom=0.23, wspace=0.25)
        low, high = np.exp(at - half), np.exp(at + half)
        band_of: Any = {"color": style.SKY, "alpha": 0.4, "linewidth": 0}
        left.fill_between(edges, np.append(low, low[-1]), np.append(high, high[-1]), step="post",
                          **band_of)  # fmt: skip
        left.step(edges, np.exp(np.append(at, at[-1])), where="post", color=style.BLACK)
        left.set_ylim(0.0, 1.2 * float(high.max()))
        left.set_xlabel("place, from where the front was as the log began [m]")
        left.set_ylabel("friction of the film [-]")
        left.grid(axis="y")
        values, rise = found.work_profile
        right.plot(np.exp(values) / 1e3, np.minimum(rise, 12.0), color=style.BLACK, marker="o",
                   markersize=2.5)  # fmt: skip
        right.axhline(2.706, color=style.VERMILION, linewidth=0.9, linestyle=(0, (4, 2)))
        right.text(0.97, 0.27, "90 %", transform=right.transAxes, ha="right", fontsize=8.0,
                   color=style.VERMILION)  # fmt: skip
        right.set_xscale("log")
        ticks = np.exp(values[:: max(1, len(values) // 3)]) / 1e3
        right.set_xticks(ticks, labels=[f"{x:.3g}" for x in ticks])
        right.minorticks_off()
        right.set_ylim(0.0, 12.0)
        right.set_xlabel("cleaning work [kJ/m]")
        right.set_ylabel("rise of the misfit [-]")
        right.grid(axis="y")
        style.write_caution(figure)
    return figure


def draw_alternatives(found: Whatif, reproduced: float) -> Figure:
    """Draw the log, its reproduction and every alternative with its 90 % band."""
    measured = float(found.account.speed.distance[-1])
    labels = ["the log", "reproduced", *(a.label for a in found.alternatives)]
    with style.styled():
        figure = style.new_figure(1.0 + 0.32 * len(labels))
        axes = figure.subplots()
        figure.subplots_adjust(left=0.3, right=0.96, top=0.96,
                               bottom=0.75 / (1.0 + 0.32 * len(labels)))  # fmt: skip
        half = Z90 * float(found.account.speed.distance_deviation[-1])
        axes.errorbar([measured], [0], xerr=[half], color=style.BLACK, marker="s", capsize=3)
        axes.plot([reproduced], [1], color=style.BLACK, marker="D", linestyle="none")
        for i, a in enumerate(found.alternatives, start=2):
            finite = a.distances[np.isfinite(a.distances)]
            if len(finite) == 0:
                continue
            middle, low, high = (x if math.isfinite(x) else finite.max() for x in band(a.distances))
            axes.plot(finite, np.full(len(finite), i), color=style.SKY, marker="|", markersize=9,
                      linestyle="none")  # fmt: skip
            axes.plot([low, high], [i, i], color=style.BLUE, linewidth=2.0)
            axes.plot([middle], [i], color=style.BLUE, marker="o")
        axes.axvline(measured, color=style.GREY, linewidth=0.7, linestyle=(0, (4, 2)))
        axes.set_yticks(range(len(labels)), labels)
        axes.set_ylim(len(labels) - 0.5, -0.5)
        axes.set_xlabel("way from the beginning of the log to standstill [m]")
        axes.grid(axis="x")
        style.bare(axes)
        style.write_caution(figure)
    return figure
