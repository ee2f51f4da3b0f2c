"""The published sanding trial, closed loop with slip control: order and distances.

RSSB T1107 as reported in Rail Engineer, 12 February 2018: disc-braked electric units, 55 mph, 9 %g
demand, untreated friction 0.02.

What was fitted to what. Without sand, the film's cleaning work was fitted to "more than 1200 m".
With sand, two numbers, the ratio of `rail.sand_friction` to `rail.sand_scale` and
`rail.sand_retention`, were fitted to all four sanded rows at once, for the smallest largest error
(`refit` below). `rail.sand_scale`, `rail.sand_limit` and the sanders' delay of 1 s were set, not
fitted. So this is a calibration and validates nothing: it shows that the law can take the shape of
the trial, within 15 per cent, and in order.

Least squares on the logarithm of distance instead gives errors of -4, -5, -5 and +16 per cent:
three rows well met and the last one missed. The last row lies close to what two sanders can do at
all here: with as much sand friction as one likes it is 407 m, because axles 1 and 2 meet none and
the first sand falls 2.4 s after the handle has moved.

Run this file to fit again: `python tests/validation/test_sanding_trial.py`.
"""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from tests.support_stops import clean

from slipbench.controllers import by_name
from slipbench.scenario import Scenario, scenario_names
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop

PUBLISHED = {
    "_tough_film_one_fixed": 800.0,
    "_tough_film_two_fixed": 650.0,
    "_tough_film_one_variable": 600.0,
    "_tough_film_two_variable": 400.0,
}  # [m]
UNTREATED = "tough_film"
UNTREATED_AT_LEAST = 1200.0  # [m]
FITTED = ("rail.sand_friction", "rail.sand_retention")
RESIDUE_LIMIT = 0.0075  # [kg/m] older GB group standard, seen second-hand


@cache
def stop_on(name: str, seed: int = 0) -> Stop:
    return simulate(clean(name), by_name("slip_band"), seed, with_traces=False)


def distance(scenario: Scenario | str, seed: int = 0) -> float:
    stop = stop_on(scenario, seed) if isinstance(scenario, str) else _run(scenario)
    found: float = stop.summary["stopping_distance"]
    return found


def _run(scenario: Scenario) -> Stop:
    return simulate(scenario, by_name("slip_band"), with_traces=False)


def largest_error(**changes: float) -> float:
    """Largest |distance / published - 1| of the four sanded rows. [-]"""
    wanted = {f"rail.{name}": value for name, value in changes.items()}
    found = [distance(clean(name).replace(wanted)) for name in PUBLISHED]
    return float(np.abs(np.array(found) / list(PUBLISHED.values()) - 1.0).max())


def refit(sand_scale: float) -> tuple[float, float, float]:
    """Return sand friction, retention and largest error of the best fit at a sand scale. [-]"""
    from scipy.optimize import minimize

    rail = clean(UNTREATED).rail

    def error(values: np.ndarray) -> float:
        friction, retention = values
        if not (0.0 < friction <= 0.6 and 0.0 < retention <= 1.0):
            return 10.0
        return largest_error(
            sand_friction=float(friction), sand_retention=float(retention), sand_scale=sand_scale
        )

    start = [rail.sand_friction * sand_scale / rail.sand_scale, rail.sand_retention]
    simplex = [start, [start[0] * 1.1, start[1]], [start[0], start[1] - 0.02]]
    options = {"maxfev": 40, "xatol": 2e-3, "fatol": 5e-4, "initial_simplex": simplex}
    best = minimize(error, start, method="Nelder-Mead", options=options)
    return float(best.x[0]), float(best.x[1]), float(best.fun)


# --- the rows -------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [0, 1])
def test_untreated_stop_matches_rail_engineer_2018(seed: int) -> None:
    """Rail Engineer, 12 February 2018 (RSSB T1107): without sand more than 1200 m."""
    assert distance(UNTREATED, seed) > UNTREATED_AT_LEAST


def test_order_matches_rail_engineer_2018() -> None:
    """Rail Engineer, 12 February 2018 (RSSB T1107): every step of sanding shortens the stop."""
    found = [distance(name) for name in (UNTREATED, *PUBLISHED)]
    assert found == sorted(found, reverse=True)
    # no two rows are alike: the published ones differ by 8 to 50 per cent
    assert min(a / b for a, b in pairwise(found)) > 1.04


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("name", PUBLISHED)
def test_distance_with_sand_matches_rail_engineer_2018(name: str, seed: int) -> None:
    """Rail Engineer, 12 February 2018 (RSSB T1107): 800, 650, 600, 400 m. Fitted, see above."""
    # 15 per cent: what is asked of the fit; the report's own figures are rounded to 50 m
    assert distance(name, seed) == pytest.approx(PUBLISHED[name], rel=0.15)


@pytest.mark.parametrize("name", [UNTREATED, *PUBLISHED])
def test_slip_control_works_throughout(name: str) -> None:
    summary = stop_on(name).summary
    # below that the equipment has cut slip control out
    assert summary["longest_lock"] < 1.0 or summary["longest_lock_speed"] < 3.3
    assert summary["vent_count"] > 50
    assert summary["emptied_sanders"] == 0


@pytest.mark.parametrize("name", PUBLISHED)
def test_rear_axles_rest_on_less_sand_than_the_older_standard_allows(name: str) -> None:
    """7.5 g/m per rail, GM/RT2461, seen second-hand in a presentation."""
    assert 0.0 < stop_on(name).summary["sand_under_rear_axles"] < RESIDUE_LIMIT


# --- the fit --------------------------------------------------------------------------------------


def test_numbers_shipped_are_near_the_smallest_largest_error() -> None:
    rail = clean(UNTREATED).rail
    shipped = largest_error()
    for friction, retention in ((0.06, 0.0), (-0.06, 0.0), (0.0, 0.03), (0.0, -0.03)):
        moved = largest_error(
            sand_friction=rail.sand_friction + friction,
            sand_retention=rail.sand_retention + retention,
        )
        assert moved > shipped - 0.005


def test_only_the_ratio_of_sand_friction_to_scale_is_identifiable() -> None:
    rail = clean(UNTREATED).rail
    stretch = 0.58 / rail.sand_friction  # both 40 per cent larger, friction up to its bound
    for name in PUBLISHED:
        stretched = clean(name).replace(
            {
                "rail.sand_friction": stretch * rail.sand_friction,
                "rail.sand_scale": stretch * rail.sand_scale,
            }
        )
        doubled = clean(name).replace({"rail.sand_friction": stretch * rail.sand_friction})
        same, other = distance(stretched), distance(doubled)
        assert same == pytest.approx(distance(name), rel=0.06)
        # ... whereas friction alone changes the distance more
        assert distance(name) - other > 1.2 * (distance(name) - same) > 0.0


def test_the_file_says_that_it_is_a_calibration() -> None:
    values = {value.path: value for value in clean("_tough_film_one_fixed").values()}
    for path in FITTED:
        assert "derived" in values[path].source
        assert "calibration, not a validation" in values[path].source
    assert "set, not fitted" in values["rail.sand_scale"].source


def test_sanded_variants_load_by_name_but_stay_out_of_the_default_comparison() -> None:
    for name in PUBLISHED:
        scenario = clean(name)
        assert scenario.name == name
        assert scenario.rail.sections == clean(UNTREATED).rail.sections
        assert name not in scenario_names()


if __name__ == "__main__":
    for scale in (0.02, 0.03):
        friction, retention, error = refit(scale)
        print(
            f"sand scale {1e3 * scale:g} g/m: friction {friction:.3f}, retention {retention:.3f}, "
            f"largest error {100 * error:.1f} %"
        )
