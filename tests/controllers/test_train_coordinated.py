"""What coordinating the axles gains, with equipment as fitted and with more."""

from functools import cache

import pytest

from slipbench.controllers import train_coordinated
from slipbench.ground.errors import InputError
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate


@cache
def distance(rail: str, limit: float, share: float = 0.25) -> float:
    scenario = load_scenario(rail).replace({"brake.demand_factor_limit": limit})
    own = train_coordinated.CONTROLLER.with_parameters(factor_limit=limit, cleaning_share=share)
    return float(simulate(scenario, own, with_traces=False).summary["stopping_distance"])


def test_more_demand_factor_gains_where_cleaned_rail_bears_it() -> None:
    """8 % on detergent; half of it either way for other settings of the strategy."""
    gain = 1.0 - distance("detergent", 1.3) / distance("detergent", 1.0)
    assert 0.04 < gain < 0.12


@pytest.mark.slow
def test_more_demand_factor_gains_nothing_where_no_axle_bears_its_demand() -> None:
    assert distance("wet_leaf", 1.3) == pytest.approx(distance("wet_leaf", 1.0), rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize(("rail", "low", "high"), [("wet_leaf", 0.15, 0.35), ("grease", -0.15, 0)])
def test_cleaning_axles_pay_where_the_film_cleans(rail: str, low: float, high: float) -> None:
    """25 % shorter on wet leaf film, 7 % longer on grease: the stated weakness."""
    assert low < 1.0 - distance(rail, 1.0) / distance(rail, 1.0, 0.0) < high


def test_asking_for_more_than_the_equipment_allows_is_refused() -> None:
    scenario = load_scenario("detergent")
    own = train_coordinated.CONTROLLER.with_parameters(factor_limit=1.3)
    with pytest.raises(InputError, match=r"factor .*; allowed: .* factor 0 to 1$"):
        simulate(scenario, own)
