"""Print what a stop costs at which accuracy: a benchmark, not a test.

    python tests/speed/yardstick.py [--seeds 16] [--out FOLDER] [--beside OLD.csv]

The yardstick is sixteen axles from 75 mph in step 3 on wet leaf under `slip_band`, full equipment,
no traces, one core. For each longest step: processor time of a stop (the loop alone, the best of
several), and how far the stopping distance is from that with a much finer step. A strategy that
switches carries any change far, so its error is the mean over paired seeds, with its 95 % half-
width; `peak_follower`, whose distance is a smooth function of the step, shows the error of the time
stepping alone. `--out` writes yardstick.csv and a picture, whiskers reaching up to error plus
half-width; `--beside` draws such a file of another version into it, dashed. Pieces: axle steps, cut
at their events.
"""

from __future__ import annotations

import argparse
import csv
import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np
from clock import machine, print_row, timed_stop, yardstick

import slipbench
from slipbench.contract import Controller
from slipbench.controllers import by_name
from slipbench.scenario import Scenario

STEPS = (0.04, 0.03, 0.02, 0.01, 0.005, 0.0025)  # [s]
FINEST = 0.000625
SMOOTH = "peak_follower"
BUDGET = 1e-3
"""The accuracy the cost is asked for, of the distance. [-]"""


@dataclasses.dataclass(frozen=True)
class Row:
    """One step length under one strategy; relative errors [-], costs of one stop."""

    strategy: str
    step_ms: float
    ms_a_stop: float
    ns_per_axle_step: float
    ns_per_piece: float
    times_real_time: float
    distance: float
    error: float
    half_width: float


def distances(scenario: Scenario, controller: Controller, n_seeds: int) -> np.ndarray:
    """Return the stopping distance of each seed. (n_seeds,) [m]"""
    stops = (slipbench.simulate(scenario, controller, k, with_traces=False) for k in range(n_seeds))
    return np.array([stop.summary["stopping_distance"] for stop in stops])


def rows_of(scenario: Scenario, controller: Controller, n_seeds: int, n_repeats: int) -> list[Row]:
    """Measure every step length under one strategy."""

    def at(step: float) -> Scenario:
        return scenario.replace({"run.maximum_step": step})

    finest = distances(at(FINEST), controller, n_seeds)
    rows = []
    for step in STEPS:
        got = distances(at(step), controller, n_seeds)
        cost = timed_stop(at(step), controller, n_repeats=n_repeats)
        apart = (got - finest) / finest.mean()
        width = 1.96 * apart.std(ddof=1) / math.sqrt(n_seeds) if n_seeds > 1 else 0.0
        rows.append(
            Row(
                controller.name,
                1e3 * step,
                1e3 * cost.seconds,
                cost.ns_per_axle_step,
                cost.ns_per_piece,
                cost.times_real_time,
                float(got.mean()),
                float(apart.mean()),
                float(width),
            )
        )
    return rows


def print_rows(rows: list[Row]) -> None:
    print_row("strategy", "step", "ms a stop", "ns/axle step", "ns/piece", "x real time", "error")
    for row in rows:
        error = f"  {1e2 * row.error:+.5f} +- {1e2 * row.half_width:.4f} %"
        cells = (row.ms_a_stop, row.ns_per_axle_step, row.ns_per_piece, row.times_real_time)
        print_row(row.strategy, f"{row.step_ms:g} ms", *(f"{cell:.1f}" for cell in cells), error)


def write_csv(rows: list[Row], path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(field.name for field in dataclasses.fields(Row))
        writer.writerows(dataclasses.astuple(row) for row in rows)


def read_csv(path: Path) -> list[Row]:
    with path.open(newline="", encoding="utf-8") as file:
        return [
            Row(**{name: text if name == "strategy" else float(text) for name, text in row.items()})  # type: ignore[arg-type]
            for row in csv.DictReader(file)
        ]


def draw(rows: list[Row], beside: list[Row], path: Path) -> None:
    """Draw error against cost, this version solid, the other dashed."""
    import matplotlib.pyplot as plt
    from matplotlib.ticker import LogLocator, NullLocator

    figure, axes = plt.subplots(figsize=(6.4, 4.4), layout="constrained")
    looks: dict[str, tuple[str, str]] = {
        SMOOTH: ("0.0", "o"),
        yardstick()[1].name: ("#D55E00", "s"),
    }
    for given, line, fill, version in (
        (beside, "--", "white", "the version beside"),
        (rows, "-", None, "this version"),
    ):
        for name, (colour, marker) in looks.items():
            own = [row for row in given if row.strategy == name]
            if own:
                _draw_line(axes, own, colour, marker, line, fill, f"{name}, {version}")
    axes.axhline(1e2 * BUDGET, color="0.5", linewidth=1)
    axes.text(0.99, 1e2 * BUDGET * 1.1, "0.1 %", transform=axes.get_yaxis_transform(), ha="right")
    axes.set(xscale="log", yscale="log")
    axes.set_xlabel("processor time of a stop [ms]")
    axes.set_ylabel("error of the stopping distance\nagainst a step of 0.625 ms [%]")
    axes.margins(x=0.12)
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter("{x:g}")
    axes.legend(frameon=False, fontsize=8, loc="center right")
    figure.savefig(path, dpi=150)
    plt.close(figure)


def _draw_line(
    axes: Any, rows: list[Row], colour: str, marker: str, line: str, fill: str | None, label: str
) -> None:
    cost = [row.ms_a_stop for row in rows]
    error = [1e2 * max(abs(row.error), 1e-9) for row in rows]
    axes.plot(cost, error, line, color=colour, marker=marker, markerfacecolor=fill, label=label)
    for row, x, y in zip(rows, cost, error, strict=True):
        if fill is None or row in (rows[0], rows[-1]):  # costs beside may be all alike
            text = f"{row.step_ms:g} ms"
            axes.annotate(text, (x, y), (4, 5), textcoords="offset points", fontsize=7)
        if row.half_width > 1e-6:  # as large as the mean may be
            top = 1e2 * (abs(row.error) + row.half_width)
            axes.plot([x, x], [y, top], color=colour, marker="_", linewidth=0.8)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=16, help="paired seeds of slip_band")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--out", type=Path, help="folder for yardstick.csv and yardstick.png")
    parser.add_argument("--beside", type=Path, help="yardstick.csv of another version")
    arguments = parser.parse_args()
    scenario, controller = yardstick()
    timed_stop(scenario, controller, n_repeats=1)
    print(machine())
    rows = rows_of(scenario, by_name(SMOOTH), 1, arguments.repeats)
    rows += rows_of(scenario, controller, arguments.seeds, arguments.repeats)
    print_rows(rows)
    beside = read_csv(arguments.beside) if arguments.beside else []
    if beside:
        print(f"beside: {arguments.beside}")
        print_rows(beside)
    if arguments.out:
        arguments.out.mkdir(parents=True, exist_ok=True)
        write_csv(rows, arguments.out / "yardstick.csv")
        draw(rows, beside, arguments.out / "yardstick.png")
        print(f"written to {arguments.out}: yardstick.csv, yardstick.png")


if __name__ == "__main__":
    main()
