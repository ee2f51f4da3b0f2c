"""What a speed shown is over the train's own: scale of every rim, and of the source."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.series import Series
from slipbench.measured.unit import Unit

SCALE, SOURCE_SCALE = 0.0005, 0.003
"""Deviation of the scale of all rims together and of an independent source (assumed: diameters are
set within .2 % each, each on its own, and sixteen of them; a radar's angle within .1 degree at
40). [-]"""

LIGHT = 0.15
"""Mean pressure, over the full one, up to which rims that run alike are taken as rolling. [-]"""


class Scales(NamedTuple):
    """What a speed shown is over the train's: of every rim, of the source; what is left in doubt.

    `rims` (n_axles,) [-], `source` [-], `deviation` of the scale of what came of both [-].
    """

    rims: Floats
    source: float
    deviation: float


def scales_of(series: Series, unit: Unit) -> Scales:
    """Return each rim's speed over the train's while nothing slides, and the source's.

    Rims and source differ by a scale each; where both are seen while all roll, each gets the part
    of the difference that its deviation gives it. One where that never is.
    """
    reference = np.nanmedian(series.wheel, axis=1)
    spread = np.nanmax(series.wheel, axis=1) - np.nanmin(series.wheel, axis=1)
    rolling = (spread < 6.0 * series.wheel_noise + 0.015 * reference) & (reference > 4.0)
    first = int(np.argmax(rolling)) if rolling.any() else 0
    ends = np.flatnonzero(~rolling[first:])
    rolling[first + (int(ends[0]) if len(ends) else len(rolling)) :] = False  # before any slide
    unseen = SOURCE_SCALE if series.has_train else SCALE
    light = np.nan_to_num(series.pressure).mean(axis=1) < LIGHT * unit.full_pressure
    if (rolling & light).sum() >= 10:  # hard braked rims may slide all alike
        rolling &= light
    if rolling.sum() < 10:
        return Scales(np.ones(series.wheel.shape[1]), 1.0, unseen)
    whole, source, doubt = 1.0, 1.0, unseen
    known = rolling & np.isfinite(series.train)
    if known.sum() >= 10:
        more = float(np.sum(reference[known]) / np.sum(series.train[known])) - 1.0
        noise = series.train_noise / reference[known].mean() / np.sqrt(known.sum())
        both = SCALE**2 + SOURCE_SCALE**2 + noise**2
        whole, source = 1.0 + more * SCALE**2 / both, 1.0 - more * SOURCE_SCALE**2 / both
        doubt = SCALE
    wheel = np.where(np.isnan(series.wheel), reference[:, None], series.wheel)[rolling]
    ratios = wheel.sum(axis=0) / reference[rolling].sum() * whole
    return Scales(np.where(np.abs(ratios - 1.0) < 0.08, ratios, 1.0), source, doubt)
