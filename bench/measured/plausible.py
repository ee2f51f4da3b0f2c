"""What is missing in a log and what cannot be true, said once, in the order it matters.

Nothing is refused here: what is odd is told, and what a reader can still use is used. Every
threshold is assumed (common practice, no source) and stands by its name.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.log import AXLE, Channel, Log

GAP = 5.0
"""Samples further apart than so many usual intervals leave a gap. [-]"""

STUCK = 3.0
"""A speed that keeps one value so long while another wheel changes by 2 m/s is stuck. [s]"""

FASTER = 0.03
"""A rim faster than the train by this share and half a metre a second is implausible. [-]"""

SPEED_LIMIT, PRESSURE_LIMIT = 150.0, 12e5
"""More is a wrong unit. [m/s], [Pa]"""

COARSE = 0.05
"""Steps of a speed above this are told. [m/s]"""


def look_over(log: Log) -> list[str]:
    """Return what is missing in a log and what is implausible, one sentence each."""
    return [*_missing(log), *_ranges(log), *_clocks(log), *_stuck(log), *_too_fast(log)]


def _missing(log: Log) -> Iterator[str]:
    wheels = {c.number for c in log.all_of("wheel_speed")}
    if not wheels:
        yield "no wheel speed: only the train as a whole can be judged"
    lacking = [str(i) for i in range(1, log.n_axles + 1) if i not in wheels]
    if wheels and lacking:
        yield f"no wheel speed of axle {', '.join(lacking)}"
    if not log.all_of("pressure"):
        yield "no cylinder pressure: brake forces come from the demand or handle, if at all"
    if not (log.one("train_speed") or log.one("distance")):
        yield "no train speed or distance from an independent source: it is estimated from wheels"
    if not (log.one("handle") or log.one("demand")):
        yield "neither handle nor demand: what was asked for is taken from the pressures"


def _ranges(log: Log) -> Iterator[str]:
    for c in log.channels:
        given = c.values[np.isfinite(c.values)]
        if len(given) == 0:
            yield f"{c.name}: holds no number at all"
            continue
        share = 1.0 - len(given) / len(c.values)
        if share > 0.01:
            yield f"{c.name}: {100.0 * share:.0f} % of the samples hold no number"
        low, high = float(given.min()), float(given.max())
        if c.quantity in ("wheel_speed", "train_speed"):
            if high > SPEED_LIMIT:
                yield f"{c.name}: reaches {high:.0f} m/s; is {c.quantity} in another unit?"
            if low < -0.5:
                yield f"{c.name}: falls to {low:.1f} m/s; is its sign turned?"
        if c.quantity == "pressure" and (high > PRESSURE_LIMIT or 0.0 < high < 2e3):
            yield f"{c.name}: reaches {high / 1e5:.3g} bar; is it in another unit?"
        if c.quantity == "pressure" and low < -2e4:
            yield f"{c.name}: falls to {low / 1e5:.2f} bar; a gauge pressure is not below 0"


def _clocks(log: Log) -> Iterator[str]:
    told: set[tuple[int, float]] = set()
    for c in log.channels:
        steps = np.diff(c.time)
        usual = c.interval
        wide = np.flatnonzero(steps > GAP * usual)
        if len(wide) == 0 or (len(c.time), float(c.time[0])) in told:
            continue
        told.add((len(c.time), float(c.time[0])))
        longest = int(wide[np.argmax(steps[wide])])
        yield (
            f"{c.name} and what shares its clock: {len(wide)} gaps, the longest of "
            f"{float(steps[longest]):.2f} s from {float(c.time[longest]):.2f} s on"
        )
    coarse = [c for c in log.all_of("wheel_speed") if step_of(c.values) > COARSE]
    if coarse:
        step = max(step_of(c.values) for c in coarse)
        yield f"{len(coarse)} wheel speeds come in steps, of up to {step:.2f} m/s"


def step_of(values: Floats) -> float:
    """Return the step in which a channel is rounded; 0 where it hardly repeats a value.

    Parameters
    ----------
    values : (n,)

    Returns
    -------
    float   the smallest distance that is usual between neighbouring values that occur
    """
    given = values[np.isfinite(values)]
    levels = np.unique(given)
    if len(given) < 20 or len(levels) > 0.3 * len(given) or len(levels) < 3:
        return 0.0
    return float(np.median(np.diff(levels)))


def _stuck(log: Log) -> Iterator[str]:
    wheels = log.all_of("wheel_speed", AXLE)
    for c in wheels:
        if step_of(c.values) > COARSE:
            continue
        for first, last in _plateaus(c):
            others = [_change(o, c.time[first], c.time[last]) for o in wheels if o is not c]
            if others and float(np.median(others)) > 2.0 and c.values[first] > 0.5:
                yield (
                    f"{c.name}: stands at {float(c.values[first]):.2f} m/s from "
                    f"{float(c.time[first]):.1f} to {float(c.time[last]):.1f} s while others slow; "
                    "stuck?"
                )
                break


def _plateaus(c: Channel) -> Iterator[tuple[int, int]]:
    """Yield the first and last sample of each stretch of one value longer than `STUCK`."""
    ends = np.flatnonzero(np.diff(c.values) != 0.0)
    starts = np.concatenate([[0], ends + 1])
    lasts = np.concatenate([ends, [len(c.values) - 1]])
    for first, last in zip(starts.tolist(), lasts.tolist(), strict=True):
        if c.time[last] - c.time[first] > STUCK:
            yield first, last


def _change(c: Channel, begin: float, end: float) -> float:
    inside = c.values[(c.time >= begin) & (c.time <= end)]
    inside = inside[np.isfinite(inside)]
    return float(inside.max() - inside.min()) if len(inside) else 0.0


def _too_fast(log: Log) -> Iterator[str]:
    train = log.one("train_speed")
    wheels = log.all_of("wheel_speed", AXLE)
    for c in wheels:
        if train is not None:
            truth = np.interp(c.time, train.time, train.values)
            what = "the train"
        elif len(wheels) > 2:
            others = [np.interp(c.time, o.time, o.values) for o in wheels if o is not c]
            truth, what = np.max(others, axis=0), "every other wheel"
        else:
            return
        over = c.values > truth * (1.0 + FASTER) + 0.5
        if np.nansum(over) * c.interval > 0.5:
            first = int(np.argmax(over))
            yield (
                f"{c.name}: is faster than {what} for {float(np.sum(over)) * c.interval:.1f} s, "
                f"first at {float(c.time[first]):.1f} s ({float(c.values[first]):.1f} against "
                f"{float(truth[first]):.1f} m/s): diameter, unit or clock?"
            )
