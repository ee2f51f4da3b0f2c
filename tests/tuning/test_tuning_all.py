"""When a tuned setting is worth adopting: by its held-out rails alone."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from slipbench.controllers import by_name
from slipbench.statistics.designs import parameter_space
from slipbench.statistics.intervals import paired
from slipbench.strategies.registry import known_controllers
from slipbench.tuning.tuning_all import dry_extension, objections, tunable

NONE = np.zeros(8)
MUCH = np.arange(8.0) + 5.0


def tuned(overruns: int = 0, **changes: np.ndarray):  # type: ignore[no-untyped-def]
    """Return a tuning whose held-out numbers change by this from the default's."""
    base = {"distance": np.full(8, 500.0), "flats": np.full(8, 0.2), "lock": np.full(8, 30.0)}
    pairs = {name: paired(base[name], base[name] + changes.get(name, NONE)) for name in base}
    held = SimpleNamespace(
        differences=pairs,
        default=SimpleNamespace(n_overruns=1),
        tuned=SimpleNamespace(n_overruns=1 + overruns),
    )
    return SimpleNamespace(held_out=held)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"distance": -MUCH}, []),
        ({"distance": -MUCH, "flats": -MUCH}, []),
        ({}, ["not told shorter"]),
        ({"distance": MUCH}, ["not told shorter"]),
        ({"distance": MUCH * np.array([-1, 1] * 4)}, ["not told shorter"]),
        ({"distance": -MUCH, "flats": 0.01 * MUCH}, ["flats worse"]),
        ({"distance": -MUCH, "lock": MUCH}, ["lock worse"]),
        ({"distance": -MUCH, "overruns": 1}, ["more overruns"]),
    ],
)
def test_what_speaks_against_a_setting(changes, expected) -> None:  # type: ignore[no-untyped-def]
    assert objections(tuned(**changes), on_dry=1.0) == expected


def test_a_setting_at_work_on_dry_rail_is_not_adopted() -> None:
    assert objections(tuned(distance=-MUCH), on_dry=1.003) == ["0.3 % longer on dry rail"]
    assert objections(tuned(distance=-MUCH), on_dry=math.nan) != []


def test_dry_extension_is_that_of_the_stops() -> None:
    """A reference that sinks slower than the train stops makes slides of what rolls."""
    jumpy = by_name("rule_table").with_parameters(slowing_limit=0.82, cut_out_speed=0.7)
    assert dry_extension(by_name("slip_band")) == pytest.approx(1.0, abs=1e-6)
    assert dry_extension(jumpy) > 1.001


def test_every_strategy_with_own_parameters_is_tuned_but_those_with_truth() -> None:
    names = {known.controller.name for known in tunable(list(known_controllers().values()))}
    everyone = set(known_controllers())
    assert names == everyone - {"none", "peak_follower"}


def test_facts_of_the_vehicle_are_not_tuned() -> None:
    names = {factor.name for factor in parameter_space(by_name("train_coordinated"))}
    assert "grip_slip" in names
    assert not names & {"factor_limit", "full_pressure", "brake_gain", "axle_mass", "fill_delay"}
    asked = parameter_space(by_name("train_coordinated"), ["brake_gain"])
    assert [factor.name for factor in asked] == ["brake_gain"]
