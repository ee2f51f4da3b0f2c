"""The seeded random rail: the same for the same seed, and distributed as it declares."""

import math

import numpy as np
import pytest

from slipbench.controllers import none, slip_band
from slipbench.ground.errors import InputError
from slipbench.packing import pack, pack_cells, random_friction
from slipbench.scenario import RandomFriction, Scenario, load_scenario
from slipbench.stop.simulation import simulate

UNCLIPPED = {"lowest_friction": 0.002, "highest_friction": 0.9}
N_CELLS = 2_000_000


def scenario_with(random: RandomFriction, **changes: object) -> Scenario:
    return load_scenario("wet_leaf").replace({"rail.random": random, **changes})


def draw(**law: float) -> np.ndarray:
    """Two thousand kilometres of rail in cells of one metre."""
    friction: np.ndarray = random_friction(RandomFriction(**{"seed": 5, **law}), 0.0, N_CELLS, 1.0)  # type: ignore[arg-type]
    return friction


def patches(friction: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lengths [m] and frictions of patches; the last, cut short, is left out."""
    borders = np.flatnonzero(np.diff(friction)) + 1
    starts = np.concatenate([[0], borders])
    return np.diff(starts).astype(float), friction[starts[:-1]]


def test_same_seed_same_rail_and_another_seed_another() -> None:
    rails = [
        pack_cells(scenario_with(RandomFriction(seed=seed)))[1]["friction"] for seed in (3, 3, 4)
    ]
    assert (rails[0] == rails[1]).all()
    assert (rails[0] != rails[2]).mean() > 0.9


def test_seed_of_the_rail_is_not_that_of_the_stop() -> None:
    scenario = scenario_with(RandomFriction(seed=3), initial_speed=15.0)
    worlds = [pack(scenario, none.CONTROLLER, seed) for seed in (0, 1)]
    assert (worlds[0].cells == worlds[1].cells).all()


@pytest.mark.parametrize(
    "changes", [{"run.maximum_distance": 3000.0}, {"rail.cell_length": 0.5}, {"n_vehicles": 8}]
)
def test_rail_ahead_depends_on_the_seed_alone(changes: dict[str, float]) -> None:
    """Not on how long the stop may get, the grain of the cells or the length of the train."""
    scenario = scenario_with(RandomFriction(seed=3))
    other = dict(changes)
    vehicles = scenario.train.vehicles * (2 if other.pop("n_vehicles", 0) else 1)
    changed = scenario.replace({"train.vehicles": vehicles, **other})
    places = np.arange(-70.0, 2900.0, 1.0) + 0.25
    found = []
    for one in (scenario, changed):
        start, cells = pack_cells(one)
        i_cell = np.floor((places - start) / one.rail.cell_length).astype(int)
        found.append(cells["friction"][i_cell])
    # a border may round to the next cell of another grain
    n_patches = len(np.flatnonzero(np.diff(found[0]))) + 1
    assert n_patches > 3
    assert (found[0] != found[1]).sum() <= (n_patches if "rail.cell_length" in changes else 0)


def test_friction_is_log_normal_as_declared() -> None:
    """Some 4,000 patches: the mean of a logarithm is known to spread / sqrt(n), 4 sigma allowed."""
    lengths, friction = patches(draw(median_friction=0.05, spread=0.5, **UNCLIPPED))
    logarithms = np.log(friction)
    n = len(lengths)
    assert n > 3000
    assert logarithms.mean() == pytest.approx(math.log(0.05), abs=4 * 0.5 / math.sqrt(n))
    assert logarithms.std() == pytest.approx(0.5, rel=4 / math.sqrt(2 * n))
    skewness = (((logarithms - logarithms.mean()) / logarithms.std()) ** 3).mean()
    assert abs(skewness) < 4 * math.sqrt(6 / n)


def test_ordinary_patches_are_exponential_as_declared() -> None:
    lengths, _ = patches(draw(long_share=0.0, mean_patch=300.0, **UNCLIPPED))
    n = len(lengths)
    assert lengths.mean() == pytest.approx(300.0, rel=4 / math.sqrt(n))
    assert lengths.std() == pytest.approx(300.0, rel=4 * math.sqrt(2 / n))
    assert (lengths > 600.0).mean() == pytest.approx(math.exp(-2), abs=4 * math.sqrt(0.12 / n))


def test_long_tail_has_the_share_and_bounds_declared() -> None:
    lengths, _ = patches(
        draw(long_share=0.2, mean_patch=20.0, long_from=1000.0, long_to=5000.0, **UNCLIPPED)
    )
    is_long = lengths > 500.0  # an ordinary patch of mean 20 m is never so long
    assert is_long.mean() == pytest.approx(0.2, abs=4 * math.sqrt(0.16 / len(lengths)))
    assert lengths[is_long].min() >= 999.0  # ends are rounded to cells
    assert lengths[is_long].max() <= 5001.0
    assert lengths[is_long].mean() == pytest.approx(3000.0, abs=4 * 1155 / math.sqrt(is_long.sum()))


def test_friction_is_clipped_and_as_often_as_the_distribution_says() -> None:
    law = RandomFriction(seed=1)
    friction = draw()
    assert friction.min() >= law.lowest_friction
    assert friction.max() == law.highest_friction
    _, free = patches(draw(**UNCLIPPED))
    # the clip of 0.15 lies ln 3 / 0.5 = 2.197 sigma up: 1.40 per cent
    assert (free > 0.15).mean() == pytest.approx(0.0140, abs=4 * math.sqrt(0.014 / len(free)))


def test_recovered_friction_is_never_below_the_friction_drawn() -> None:
    law = RandomFriction(seed=2, median_friction=0.2, spread=1.0, highest_friction=0.6)
    scenario = scenario_with(law)
    cells = pack_cells(scenario)[1]
    recovered = scenario.rail.sections[0].recovered_friction
    assert (cells["recovered_friction"] >= cells["friction"]).all()
    assert (cells["friction"] > recovered).any()
    assert (cells["recovered_friction"][cells["friction"] < recovered] == recovered).all()


def test_axles_meet_the_friction_drawn() -> None:
    scenario = scenario_with(RandomFriction(seed=3), initial_speed=20.0)
    stop = simulate(scenario, slip_band.CONTROLLER)
    start, cells = pack_cells(scenario)
    is_moving = stop.traces["train_speed"] > 0.1
    place = stop.traces["distance"][is_moving] - scenario.train.axle_positions[0]
    i_cell = np.floor(place - start).astype(int)
    assert (stop.traces["friction"][is_moving, 0] == cells["friction"][i_cell]).all()


@pytest.mark.parametrize(
    ("law", "word"),
    [
        ({"seed": -1}, "seed"),
        ({"seed": 1.5}, "seed"),
        ({"seed": 1, "median_friction": 0.0}, "median_friction"),
        ({"seed": 1, "spread": -0.1}, "spread"),
        ({"seed": 1, "lowest_friction": 0.2}, "highest_friction"),
        ({"seed": 1, "mean_patch": 0.0}, "mean_patch"),
        ({"seed": 1, "long_share": 1.1}, "long_share"),
        ({"seed": 1, "long_from": 6000.0}, "long_to"),
        ({"seed": 1, "mean_patch": math.nan}, "mean_patch"),
    ],
)
def test_bad_law_is_refused_in_one_line(law: dict[str, float], word: str) -> None:
    with pytest.raises(InputError) as caught:
        RandomFriction(**law)  # type: ignore[arg-type]
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def test_every_number_of_the_law_says_that_it_is_assumed() -> None:
    values = {value.path: value for value in scenario_with(RandomFriction(seed=1)).values()}
    ours = [value for path, value in values.items() if path.startswith("rail.random.")]
    assert len(ours) == 9
    for value in ours:
        if not value.path.endswith("seed"):
            assert value.mark == "default"
            assert value.source.startswith("assumed: ")
