"""Sanders: trigger, rates, delays, hopper; where the sand goes, and what is left of it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.support_stops import clean

from slipbench.contract import DEMAND_FACTOR, FILL, SAMPLE_TIME, SLIDE, VALVE, Controller, Parameter
from slipbench.controllers import none, slip_band
from slipbench.ground.errors import InputError
from slipbench.kernel.fixed import SANDER, TRAIN
from slipbench.kernel.loop import run_compiled
from slipbench.kernel.moving import SANDER_STATE
from slipbench.kernel.records import World
from slipbench.kernel.sanding import lay_sand, let_sand_fall, sand_flow, watch_trigger
from slipbench.packing import pack
from slipbench.scenario import Driver, HandleEntry, Sander, Scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop
from slipbench.strategies.update import compile_update


def _slide_between(observation, parameters, memory, command, signals):  # type: ignore[no-untyped-def]
    """Fill always; signal a slide from one time to another, whatever the wheels do."""
    own = memory[observation.shape[0]]
    time = own[0]
    own[0] += observation[0, SAMPLE_TIME]
    signals[SLIDE] = 1.0 if parameters[0] <= time < parameters[1] else 0.0
    for i_axle in range(observation.shape[0]):
        command[i_axle, VALVE] = FILL
        command[i_axle, DEMAND_FACTOR] = 1.0


SLIDING = Controller(
    name="slide_between",
    title="signals a slide between two times",
    update=_slide_between,
    parameters=(
        Parameter("start", 0.0, "s", 0.0, 1e3, "assumed"),
        Parameter("end", 1e3, "s", 0.0, 1e3, "assumed"),
    ),
    n_memory=1,
)
SAMPLE = 0.02  # [s]; at most so late a slide is told


def slide_between(start: float, end: float) -> Controller:
    return SLIDING.with_parameters(start=start, end=end)


def dry(*sanders: Sander, **changes: object) -> Scenario:
    """Dry rail: every wheel rolls, so speed and places are those of a plain stop."""
    return clean("dry").replace(
        {"sanders": sanders, "rail.sand_friction": 0.0, "rail.sand_limit": 1.0, **changes}
    )


def sander(**changes: object) -> Sander:
    values: dict[str, object] = {"axle": 3, "rate": 2.0 / 60.0, "start_delay": 0.0, **changes}
    return Sander(**values)  # type: ignore[arg-type]


def run_world(scenario: Scenario, controller: Controller = SLIDING) -> World:
    world = pack(scenario, controller, 0)
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))
    update = compile_update(controller.update)
    assert run_compiled(world, update, controller.parameter_values, memory) == -1
    return world


def used(world: World) -> np.ndarray:
    difference: np.ndarray = world.sanders["hopper"] - world.sander_states["hopper"]
    return difference


# --- trigger -------------------------------------------------------------------------------------


def one(dtype: np.dtype, **values: float) -> object:
    array = np.zeros(1, dtype)
    for name, value in values.items():
        array[name] = value
    return array[0]


@pytest.mark.parametrize(
    ("demand", "own", "other", "train_wide", "is_triggered"),
    [
        (0.5, 1.0, 0.0, 0, 1),
        (0.5, 0.0, 1.0, 0, 0),  # another vehicle's slide does not count
        (0.5, 0.0, 1.0, 1, 1),  # ... but on a train wire
        (0.5, 0.0, 0.0, 1, 0),
        (0.49, 1.0, 1.0, 1, 0),  # below its brake step
        (0.0, 1.0, 1.0, 1, 0),
    ],
)
def test_trigger_needs_brake_step_and_slide(
    demand: float, own: float, other: float, train_wide: int, is_triggered: int
) -> None:
    signals = np.array([[other, 0.0], [own, 0.0]])
    fitted = one(SANDER, least_demand=0.5, train_wide=train_wide)
    state = one(SANDER_STATE)
    watch_trigger(7.0, demand, 1, signals, fitted, state)
    assert state["is_triggered"] == is_triggered  # type: ignore[index]
    assert state["triggered_since"] == 7.0 * is_triggered  # type: ignore[index]


def test_without_brake_demand_even_step_zero_does_not_sand() -> None:
    state = one(SANDER_STATE)
    watch_trigger(1.0, 0.0, 0, np.ones((1, 2)), one(SANDER, least_demand=0.0), state)
    assert state["is_triggered"] == 0  # type: ignore[index]


@pytest.mark.parametrize(
    ("position", "from_step", "is_sanding"),
    [(1, 2, False), (2, 2, True), (1, 1, True), (3, 4, False)],
)
def test_brake_step_decides_in_a_stop(position: int, from_step: int, is_sanding: bool) -> None:
    driver = Driver(programme=(HandleEntry(at_time=0.0, position=position),))
    scenario = dry(sander(from_step=from_step), driver=driver, initial_speed=10.0)
    used_kg = simulate(scenario, SLIDING, with_traces=False).summary["sand_used"][0]
    assert (used_kg > 0.0) == is_sanding


def test_no_slide_no_sand() -> None:
    stop = simulate(dry(sander(), initial_speed=10.0), none.CONTROLLER, with_traces=False)
    assert stop.summary["sand_used"] == [0.0]
    assert stop.rail_after.sand.max() == 0.0


@pytest.mark.parametrize("delay", [0.0, 1.0, 2.5])
def test_first_sand_falls_when_step_two_is_reached_and_the_delay_has_run(delay: float) -> None:
    """Step 2 of 3 acts after the demand's delay and two thirds of its build-up."""
    scenario = dry(sander(start_delay=delay), initial_speed=15.0)
    world, brake = run_world(scenario), scenario.brake
    share = brake.steps[1] / brake.steps[2]
    expected = brake.demand_delay + share * brake.build_up_time + delay
    # decided at the start of a step of 5 ms, noted at the end of the piece in which it falls
    late = float(world.sander_states["first_sand"][0]) - expected
    assert -1e-9 <= late <= 2.0 * scenario.run.maximum_step


@pytest.mark.parametrize(("delay", "run_on"), [(0.5, 0.0), (0.5, 3.0), (1.5, 1.0)])
def test_it_sands_from_its_delay_to_its_run_on(delay: float, run_on: float) -> None:
    scenario = dry(sander(start_delay=delay, run_on_time=run_on))
    world = run_world(scenario, slide_between(3.0, 5.0))
    amount = float(used(world)[0])
    # slide told late by a sample at either end, steps of 5 ms
    slack = 2.0 * SAMPLE + 0.01
    assert amount / (2.0 / 60.0) == pytest.approx(2.0 - delay + run_on, abs=slack)


def test_second_slide_within_the_run_on_needs_no_new_delay() -> None:
    """Triggered without a break, it never stops sanding."""
    fitted = one(SANDER, run_on_time=3.0, start_delay=1.0, rate=0.03)
    state = one(SANDER_STATE, hopper=1.0)
    for time, signal in ((0.0, 1.0), (2.0, 0.0), (4.0, 1.0), (6.0, 0.0)):
        watch_trigger(time, 0.5, 0, np.array([[signal, 0.0]]), fitted, state)
        if time >= 1.0:
            assert sand_flow(time, 20.0, fitted, state) == 0.03
    watch_trigger(7.5, 0.5, 0, np.zeros((1, 2)), fitted, state)
    assert sand_flow(7.5, 20.0, fitted, state) == 0.0
    watch_trigger(8.0, 0.5, 0, np.ones((1, 2)), fitted, state)
    assert sand_flow(8.5, 20.0, fitted, state) == 0.0
    assert sand_flow(9.0, 20.0, fitted, state) == 0.03


# --- rate and hopper -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "speed", "flow"), [(0, 5.0, 0.05), (0, 30.0, 0.05), (1, 5.0, 0.0375), (1, 30.0, 0.05)]
)
def test_rate_is_fixed_or_follows_speed_up_to_the_largest(
    mode: int, speed: float, flow: float
) -> None:
    fitted = one(SANDER, mode=mode, rate=0.05, density=0.0075)
    state = one(SANDER_STATE, is_triggered=1, hopper=1.0)
    assert sand_flow(1.0, speed, fitted, state) == pytest.approx(flow, rel=1e-15)


def test_hopper_gives_what_is_in_it_and_then_nothing() -> None:
    fitted = one(SANDER, rate=0.05, placement=1.0)
    state = one(SANDER_STATE, is_triggered=1, hopper=0.02, first_sand=-1.0)
    let_sand_fall(0.3, 4.0, 0.05, fitted, state)
    assert state["hopper"] == pytest.approx(0.005)  # type: ignore[index]
    let_sand_fall(0.3, 4.3, 0.05, fitted, state)
    assert state["hopper"] == 0.0  # type: ignore[index]
    assert state["pending"] == pytest.approx(0.02, rel=1e-15)  # type: ignore[index]
    assert sand_flow(5.0, 10.0, fitted, state) == 0.0
    assert state["first_sand"] == 4.0  # type: ignore[index]


def test_stop_with_an_empty_hopper_is_the_stop_without_sander() -> None:
    film = clean("tough_film").replace(initial_speed=12.0)
    plain = simulate(film, slip_band.CONTROLLER, with_traces=False).summary
    empty = film.replace({"sanders": (sander(hopper=0.0),)})
    summary = simulate(empty, slip_band.CONTROLLER, with_traces=False).summary
    assert summary["stopping_distance"] == plain["stopping_distance"]
    assert summary["emptied_sanders"] == 1


def test_small_hopper_runs_empty_on_the_way_and_says_so() -> None:
    scenario = dry(sander(hopper=0.1), sander(axle=7))
    stop = simulate(scenario, SLIDING, with_traces=False)
    summary = stop.summary
    assert "0.10, " in repr(stop) and "hoppers run empty: 1" in repr(stop)
    assert summary["sand_used"][0] == pytest.approx(0.1, rel=1e-12)
    assert summary["sand_used"][1] > 0.5
    assert summary["emptied_sanders"] == 1


# --- where it goes -------------------------------------------------------------------------------


def n_crushing(world: World, first_axle: int) -> np.ndarray:
    """How many wheels from this axle on have left each cell; a stop's end counts as leaving."""
    cells = np.arange(len(world.rail_sand))[:, None]
    counts: np.ndarray = (cells <= world.axle_states["i_cell"][None, first_axle - 1 :]).sum(axis=1)
    return counts


@pytest.mark.parametrize("retention", [1.0, 0.9, 0.5])
@pytest.mark.parametrize("placement", [1.0, 0.6])
@pytest.mark.parametrize("mode", ["fixed", "speed_proportional"])
def test_no_sand_is_lost_or_made(retention: float, placement: float, mode: str) -> None:
    """Used = hopper drop; of it the placed share lies on the rail, crushed, or still hangs."""
    scenario = dry(
        sander(mode=mode, placement=placement, rate=0.05),
        initial_speed=15.0,
        **{"rail.sand_retention": retention},
    )
    world = run_world(scenario)
    uncrushed = world.rail_sand / retention ** n_crushing(world, 3)
    laid = uncrushed.sum() * scenario.rail.cell_length
    pending = float(world.sander_states["pending"][0])
    assert used(world)[0] > 0.1
    assert laid + pending == pytest.approx(placement * used(world)[0], rel=1e-11)


def test_sand_beyond_the_limit_rolls_off() -> None:
    state = one(SANDER_STATE, pending=0.010)
    rail_sand, train = np.array([0.002, 0.002]), one(TRAIN, cell_length=1.0, sand_limit=0.0075)
    lay_sand(1, train, rail_sand, state)
    assert rail_sand.tolist() == [0.002, 0.0075]
    assert state["pending"] == 0.0  # type: ignore[index]
    # more than the limit that lay there already stays
    rail_sand[0], state["pending"] = 0.02, 0.001  # type: ignore[index]
    lay_sand(0, train, rail_sand, state)
    assert rail_sand[0] == 0.02


def test_limit_takes_off_what_a_slow_train_lays_too_thick() -> None:
    limit = 0.0075
    scenario = dry(sander(), initial_speed=15.0, **{"rail.sand_limit": limit})
    world = run_world(scenario)
    uncrushed = world.rail_sand / scenario.rail.sand_retention ** n_crushing(world, 3)
    assert uncrushed.max() == pytest.approx(limit, rel=1e-12)
    laid = uncrushed.sum() * scenario.rail.cell_length + float(world.sander_states["pending"][0])
    free = run_world(scenario.replace({"rail.sand_limit": 1.0}))
    unlimited = free.rail_sand / scenario.rail.sand_retention ** n_crushing(free, 3)
    rolled_off = np.maximum(unlimited - limit, 0.0).sum()
    assert rolled_off > 0.01
    assert used(world)[0] - laid == pytest.approx(rolled_off, rel=1e-9)


@pytest.mark.parametrize("mode", ["fixed", "speed_proportional"])
def test_density_is_rate_over_speed_or_the_density_aimed_at(mode: str) -> None:
    scenario = dry(sander(mode=mode, rate=0.1, density=0.0075))
    stop = simulate(scenario, SLIDING)
    world = run_world(scenario)
    uncrushed = world.rail_sand / scenario.rail.sand_retention ** n_crushing(world, 3)
    place = stop.traces["distance"] - scenario.train.axle_positions[2]
    centres = stop.rail_after.distance
    # sand of one cell's crossing is laid on the next
    is_inside = (centres > 150.0) & (centres < place.max() - 5.0)
    speed = np.interp(centres[is_inside] - 1.0, place, stop.traces["train_speed"])
    expected = 0.1 / speed
    if mode == "speed_proportional":
        expected = np.minimum(expected, 0.0075)
        assert (expected == 0.0075).any()
        assert (expected < 0.0075).any()
    # the flow is set once a step of 5 ms; near the end speed changes by 3 per cent in a cell
    assert uncrushed[is_inside] == pytest.approx(expected, rel=5e-3)


def test_axles_meet_the_sand_from_the_sanded_one_on_crushed_wheel_by_wheel() -> None:
    """Friction of axle k, sanded ahead of axle 3, is that of S retention^(k-3)."""
    film = {"friction": 0.02, "recovered_friction": 0.02, "friction_ratio": 1.0}
    scenario = clean("tough_film").replace(
        {
            "sanders": (sander(mode="speed_proportional", density=0.005, rate=1.0),),
            "rail.sand_friction": 0.05,  # so that wheels slide and the law alone is looked at
            **{f"rail.sections.0.{name}": value for name, value in film.items()},
        }
    )
    stop = simulate(scenario, SLIDING)
    distance = stop.traces["distance"]
    is_steady = (distance > 250.0) & (stop.traces["train_speed"] > 10.0)
    assert is_steady.sum() > 10
    crushed = 0.005 * scenario.rail.sand_retention ** (np.arange(16) - 2.0)
    crushed[:2] = 0.0
    expected = 0.02 - 0.05 * np.expm1(-crushed / scenario.rail.sand_scale)
    found = stop.traces["friction"][is_steady]
    # a cell gets what falls while the one before is crossed, at speeds of a step: below 1e-3
    assert found == pytest.approx(np.tile(expected, (is_steady.sum(), 1)), rel=1e-3)
    assert expected[2] > expected[15] > expected[0]


def test_sander_further_back_leaves_more_axles_without_sand() -> None:
    distances = []
    for axle in (3, 7, 13):
        scenario = clean("tough_film").replace({"sanders": (sander(axle=axle),)})
        summary = simulate(scenario, slip_band.CONTROLLER, with_traces=False).summary
        distances.append(summary["stopping_distance"])
    assert distances == sorted(distances)
    assert distances[-1] > 1.2 * distances[0]


# --- residue -------------------------------------------------------------------------------------

RESIDUE_LIMIT = 0.0075
"""Sand per rail on which the last two axles must not come to rest. [kg/m]

Older GB group standard (GM/RT2461), seen second-hand in a presentation.
"""


def stop_with(*sanders: Sander, **changes: float) -> Stop:
    scenario = clean("tough_film").replace({"sanders": sanders, **changes})
    return simulate(scenario, slip_band.CONTROLLER)


def test_residue_under_the_rear_axles_is_what_lies_in_their_cells() -> None:
    stop = stop_with(sander(), sander(axle=7))
    end = stop.traces["distance"][-1]
    cells = [
        int((end - offset - stop.rail_after.start) / stop.rail_after.cell_length)
        for offset in stop.scenario.train.axle_positions[-2:]
    ]
    expected = stop.rail_after.sand[cells].max()
    assert stop.summary["sand_under_rear_axles"] == expected
    # crushed by ten wheels from the sander on: well below the limit
    assert 0.0 < expected < 0.5 * RESIDUE_LIMIT


def test_residue_of_a_heavy_sander_near_the_rear_is_reported_above_the_standards_limit() -> None:
    heavy = sander(axle=15, mode="speed_proportional", rate=0.5, density=0.02)
    stop = stop_with(heavy, **{"rail.sand_limit": 0.02})
    assert stop.summary["sand_under_rear_axles"] > RESIDUE_LIMIT


def test_sand_on_a_rail_handed_over_is_met_by_the_next_train() -> None:
    first = stop_with(sander())
    scenario = clean("tough_film")
    again = simulate(scenario, slip_band.CONTROLLER, rail_before=first.rail_after)
    cleaned = replace(first.rail_after, sand=np.zeros_like(first.rail_after.sand))
    without = simulate(scenario, slip_band.CONTROLLER, rail_before=cleaned)
    gain = without.summary["stopping_distance"] - again.summary["stopping_distance"]
    assert gain > 5.0


# --- bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"axle": 0}, "axle"),
        ({"axle": 2.5}, "axle"),
        ({"mode": "random"}, "mode"),
        ({"rate": 0.0}, "rate"),
        ({"rate": math.nan}, "rate"),
        ({"density": -1.0}, "density"),
        ({"start_delay": -1.0}, "start_delay"),
        ({"run_on_time": math.inf}, "run_on_time"),
        ({"from_step": 0}, "from_step"),
        ({"trigger": "driver"}, "trigger"),
        ({"placement": 1.1}, "placement"),
        ({"hopper": -1.0}, "hopper"),
    ],
)
def test_bad_sander_is_refused_in_one_line(changes: dict[str, object], word: str) -> None:
    with pytest.raises(InputError) as caught:
        sander(**changes)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "word"),
    [({"axle": 17}, "sanders.0.axle"), ({"from_step": 5}, "sanders.0.from_step")],
)
def test_sander_that_does_not_fit_the_train_is_refused(
    change: dict[str, object], word: str
) -> None:
    with pytest.raises(InputError, match=word):
        dry(sander(**change))
