"""With equipment as it comes: silence where nothing slides, distances, locks; who is excused.

Excused are `none` and two strategies whose stated principle lets wheels lock; the mechanism is
shown in tests of their own (`test_stops.py::test_stated_weakness_shows_on_tough_film`;
`test_speed_difference.py`: a common slide slower than the limit; `test_deceleration.py`: a wheel
that slows like a train).
"""

from functools import cache

import pytest
from tests.guide.equipment import ALL_PAGE, OWN_PAGE, told

from slipbench import load_scenario
from slipbench.contract import Controller
from slipbench.controllers import ALL_CONTROLLERS, by_name
from slipbench.experiments.notebook import Run
from slipbench.experiments.what_real_equipment_costs import EXCUSED, GOOD_RAILS, stop_numbers
from slipbench.scenario import GRADES, scenario_names

OWN = "cleaning_balance"
JUDGED = [c for c in ALL_CONTROLLERS if c.name not in EXCUSED and not c.uses_truth]
SLIPPERY = [name for name in scenario_names() if name not in GOOD_RAILS]
SEEDS = range(4)


@cache
def numbers(name: str, rail: str, grade: str) -> tuple[float, int, float, float]:
    """Return mean distance [m], most vents, longest lock above 10 mph [s], mean air [litres]."""
    scenario = load_scenario(rail).replace({"equipment.grade": grade})
    found = [stop_numbers(Run(scenario, by_name(name), seed)) for seed in SEEDS]
    distance, air = (sum(n[i] for n in found) / len(SEEDS) for i in (0, 3))
    return distance, int(max(n[1] for n in found)), max(n[2] for n in found), air


def is_silent(name: str, rail: str) -> None:
    distance, vents, _, _ = numbers(name, rail, "service")
    assert vents == 0
    assert distance == pytest.approx(numbers("none", rail, "service")[0], rel=0.005)


@pytest.mark.parametrize("rail", GOOD_RAILS)
def test_ours_is_silent_where_nothing_slides(rail: str) -> None:
    is_silent(OWN, rail)


def test_ours_bears_uneven_pads_and_slow_valves_on_the_film_that_misled_it() -> None:
    """Emergency pressure read off a transducer's zero: 29 % longer on two of four trains."""
    clean = numbers(OWN, "tough_film", "clean")[0]
    distance, _, lock, _ = numbers(OWN, "tough_film", "service")
    assert distance == pytest.approx(clean, rel=0.05)
    assert lock == 0.0


@pytest.mark.slow
@pytest.mark.parametrize("rail", GOOD_RAILS)
@pytest.mark.parametrize("controller", JUDGED, ids=lambda c: c.name)
def test_nobody_acts_where_nothing_slides(controller: Controller, rail: str) -> None:
    is_silent(controller.name, rail)


@pytest.mark.slow
@pytest.mark.parametrize("rail", SLIPPERY)
@pytest.mark.parametrize("controller", JUDGED, ids=lambda c: c.name)
def test_equipment_in_service_costs_no_more_than_5_per_cent(
    controller: Controller, rail: str
) -> None:
    clean = numbers(controller.name, rail, "clean")[0]
    assert numbers(controller.name, rail, "service")[0] < 1.05 * clean


@pytest.mark.slow
@pytest.mark.parametrize("rail", SLIPPERY)
@pytest.mark.parametrize("controller", JUDGED, ids=lambda c: c.name)
def test_no_wheel_locks_for_long_with_worn_equipment(controller: Controller, rail: str) -> None:
    assert numbers(controller.name, rail, "worn")[2] <= 1.0


@pytest.mark.slow
@pytest.mark.parametrize("rail", SLIPPERY)
def test_ours_is_near_the_shortest_never_locks_and_spares_air(rail: str) -> None:
    distance, _, lock, air = numbers(OWN, rail, "service")
    others = [c.name for c in ALL_CONTROLLERS if c.name not in ("none", OWN) and not c.uses_truth]
    assert distance < 1.03 * min(numbers(name, rail, "service")[0] for name in others)
    assert lock == 0.0
    assert air <= numbers("slip_band", rail, "service")[3]


def metres(cell: str) -> float:
    return float(cell.removesuffix(" m").replace(",", ""))


def mean_of_three(name: str, rail: str, grade: str) -> float:
    scenario = load_scenario(rail).replace({"equipment.grade": grade})
    found = [stop_numbers(Run(scenario, by_name(name), seed))[0] for seed in range(3)]
    return sum(found) / 3


def test_the_page_on_ours_tells_every_slippery_rail() -> None:
    assert [row[0].strip("`") for row in told(OWN_PAGE)] == SLIPPERY


@pytest.mark.slow
@pytest.mark.parametrize("row", told(OWN_PAGE), ids=lambda row: row[0].strip("`"))
def test_the_page_on_ours_tells_what_the_experiment_prints(row: list[str]) -> None:
    """Three trains; within half a per cent, which a change of compiler may move."""
    for grade, cell in zip(GRADES, row[1:4], strict=True):
        found = mean_of_three(OWN, row[0].strip("`"), grade)
        assert found == pytest.approx(metres(cell), rel=0.005)


def test_the_page_of_all_tells_every_strategy_on_every_slippery_rail() -> None:
    names = [c.name for c in ALL_CONTROLLERS if not c.uses_truth]
    assert [row[0].strip("`") for row in told(ALL_PAGE)] == names
    assert all(cell.count(", ") == 2 for row in told(ALL_PAGE) for cell in row[1:])


@pytest.mark.slow
@pytest.mark.parametrize("row", told(ALL_PAGE), ids=lambda row: row[0].strip("`"))
def test_the_page_of_all_tells_what_the_experiment_prints(row: list[str]) -> None:
    """On one rail, each strategy on another."""
    name = row[0].strip("`")
    i_rail = [c.name for c in ALL_CONTROLLERS].index(name) % len(SLIPPERY)
    for grade, cell in zip(GRADES, row[1 + i_rail].split(", "), strict=True):
        found = mean_of_three(name, SLIPPERY[i_rail], grade)
        assert found == pytest.approx(metres(cell), rel=0.005)
