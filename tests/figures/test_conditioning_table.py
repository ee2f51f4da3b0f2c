"""Friction met and W by axle and place, against the closed law of cleaning."""

import csv
import math

import numpy as np

from slipbench.commands.pictures import _conditioning_csv
from slipbench.controllers import by_name
from slipbench.figures.conditioning import run_conditioning
from slipbench.scenario import load_scenario


def test_friction_met_follows_from_the_work_the_axle_before_left():
    """mu = mu_d + (mu_r - mu_d) (1 - exp(-W / W0)), W what the axle ahead left in the cell."""
    scenario = load_scenario("wet_leaf").replace(initial_speed=12.0)
    found = run_conditioning(scenario, by_name("none"))
    film = scenario.rail.sections[0]
    before, met = found.work_after[0], found.friction_met[1]
    # the stretch every axle passed whole: behind the train's front, ahead of where it stands
    seen = np.isfinite(before) & np.isfinite(met) & (found.place > 5.0) & (found.place < 40.0)
    assert seen.sum() > 20
    gain = film.recovered_friction - film.friction
    expected = film.friction + gain * (1.0 - np.exp(-before[seen] / film.cleaning_work))
    assert np.allclose(met[seen], expected, rtol=1e-9)
    assert np.allclose(found.friction_met[0][seen], film.friction)


def test_csv_has_both_for_every_axle():
    scenario = load_scenario("wet_leaf").replace(initial_speed=6.0)
    found = run_conditioning(scenario, by_name("none"))
    rows = list(csv.DictReader(_conditioning_csv(found).splitlines()))
    assert len(rows) == len(found.place)
    middle = rows[len(rows) // 2]
    for i in (1, 16):
        assert f"friction_met_axle_{i}" in middle and f"work_after_axle_{i}_j_per_m" in middle
    met = [float(row["friction_met_axle_1"] or math.nan) for row in rows]
    assert np.array_equal(np.array(met), found.friction_met[0], equal_nan=True)
