"""A log's account: read, put right, estimated; what `slipbench log` prints and writes."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.measured.adhesion import Adhesion, estimate_adhesion, mean_used
from slipbench.measured.clock import align
from slipbench.measured.log import Channel, Log
from slipbench.measured.plausible import look_over
from slipbench.measured.series import Series, is_recorder_grade, make_series
from slipbench.measured.speed import Z90, Speed, estimate_speed
from slipbench.measured.unit import Unit
from slipbench.results.tables import plain_table

LEAST_SECONDS = 5.0
"""Of a log: speeds and forces are smoothed over a second and more."""


@dataclass(frozen=True, eq=False)
class Account:
    """A log and all that was estimated from it."""

    log: Log
    unit: Unit
    series: Series
    speed: Speed
    adhesion: Adhesion
    notes: tuple[str, ...]


def make_account(log: Log, unit: Unit) -> Account:
    """Return what a log shows.

    Raises
    ------
    InputError   a recorder's log (too coarse), one too short, or one that does not fit the unit
    """
    if is_recorder_grade(log):
        raise InputError(
            f"{log.source}: a recorder's log (one wheel, or samples or steps too coarse): no "
            "answers "
            "by axle; `slipbench log` gives the bracket of its mean adhesion"
        )
    series = make_series(log, unit)
    seconds = float(series.time[-1] - series.time[0])
    if seconds < LEAST_SECONDS:
        raise InputError(
            f"{log.source}: its channels are together for {seconds:.2g} s; a stop is looked into "
            f"from {LEAST_SECONDS:g} s on"
        )
    series, said = align(series, unit)
    speed = estimate_speed(series, unit)
    adhesion = estimate_adhesion(series, unit, speed)
    return Account(log, unit, series, speed, adhesion, (*log.notes, *look_over(log), *said))


def channel_table(log: Log) -> str:
    """Return the channels of a log as a table, those of equal kind, rate and length in one line."""
    groups: dict[tuple[str, str, int, float], list[Channel]] = {}
    for c in log.channels:
        key = (c.quantity, c.span, len(c.time), round(c.interval, 6))
        groups.setdefault(key, []).append(c)
    rows: list[list[str] | str] = []
    for group in groups.values():
        values = np.concatenate([c.values for c in group])
        given = values[np.isfinite(values)]
        low, high = (f"{given.min():.4g}", f"{given.max():.4g}") if len(given) else ("-", "-")
        first = group[0]
        place = first.place
        if len(group) > 1:
            place = f"{first.span}s {', '.join(_ranges([c.number for c in group]))}"
        name = first.name if len(group) == 1 else f"{first.name} ..."
        rate = f"{1.0 / first.interval:.4g}"
        rows.append([name, first.quantity, place, f"{len(first.time)}", rate, low, high])
    heads = ["channel", "quantity", "of", "samples", "per s", "least (SI)", "most (SI)"]
    return plain_table(heads, rows, n_left=3)


def _ranges(numbers: Iterable[int]) -> list[str]:
    """Return numbers as ranges, such as 1 to 4, 7."""
    found: list[list[int]] = []
    for number in sorted(numbers):
        if found and number == found[-1][-1] + 1:
            found[-1].append(number)
        else:
            found.append([number])
    return [f"{run[0]} to {run[-1]}" if len(run) > 1 else f"{run[0]}" for run in found]


def account_text(account: Account) -> str:
    """Return what a log shows, for a terminal."""
    speed, adhesion = account.speed, account.adhesion
    mean, low, high = mean_used(adhesion, speed, account.unit)
    widest = float(speed.deviation.max()) * Z90
    source = "an independent source" if speed.is_independent else f"{speed.n_anchors} rolling rims"
    lines = [
        f"{account.log.source}: {account.unit.scenario.train.name}, {account.unit.n_axles} axles, "
        f"{speed.time[-1] - speed.time[0]:.1f} s",
        f"  train speed at first       {3.6 * speed.train[0]:.1f} km/h, by {source}; 90 % band "
        "up to "
        f"+-{3.6 * widest:.1f} km/h",
        f"  way                        {speed.distance[-1]:.0f} m "
        f"+-{Z90 * speed.distance_deviation[-1]:.0f} m",
        f"  mean adhesion of the stop  {mean:.4f} ({low:.4f} to {high:.4f}), by the train's motion",
        f"  brake gain over the unit's {speed.gain:.3f} "
        f"+-{Z90 * np.hypot(speed.gain_deviation, 0.02):.3f} (pad friction, transducers)",
        "",
        by_axle(account),
    ]
    return "\n".join([*lines, "", *(f"- {note}" for note in account.notes)])


def by_axle(account: Account) -> str:
    """Return adhesion by axle as a table: mean and 90 % band while sliding, and how it slid."""
    a = account.adhesion
    step = account.speed.step
    rows: list[list[str] | str] = []
    for i in range(account.unit.n_axles):
        sliding, locked = a.is_sliding[:, i] & ~a.is_locked[:, i], a.is_locked[:, i]
        used, deviation = a.used[sliding, i], a.deviation[sliding, i]
        told = ["-", "-", "-"]
        if sliding.sum() > 10:
            mean, spread = float(np.nanmean(used)), float(np.nanmean(deviation)) * Z90
            told = [f"{mean:.4f}", f"{mean - spread:.4f}", f"{mean + spread:.4f}"]
        most = float(np.nanmax(np.where(a.train > 3.0, a.creepage[:, i], 0.0)))
        rows.append(
            [str(i + 1), *told, f"{step * sliding.sum():.1f}", f"{step * locked.sum():.1f}",
             f"{most:.2f}", f"{account.speed.diameters[i]:.4f}"]
        )  # fmt: skip
    heads = ["axle", "adhesion", "low", "high", "sliding s", "locked s", "most slip", "diameter"]
    return plain_table(heads, rows, n_left=0)


def estimate_csv(account: Account, every: float = 0.1) -> str:
    """Return the estimate over time as CSV: the train, then every axle; SI."""
    a, s = account.adhesion, account.speed
    rows = np.arange(0, len(a.time), max(1, round(every / s.step)))
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    heads = ["time_s", "train_speed_m_per_s", "train_speed_low", "train_speed_high", "distance_m"]
    columns: list[Floats] = [
        a.time, s.train, s.train - Z90 * s.deviation, s.train + Z90 * s.deviation, s.distance
    ]  # fmt: skip
    for i in range(account.unit.n_axles):
        heads += [f"axle_{i + 1}_{name}" for name in ("creepage", "adhesion", "low", "high")]
        columns += [a.creepage[:, i], a.used[:, i], a.low[:, i], a.high[:, i]]
    writer.writerow(heads)
    for values in np.column_stack(columns)[rows].tolist():
        writer.writerow("" if v != v else f"{v:.6g}" for v in values)
    return stream.getvalue()
