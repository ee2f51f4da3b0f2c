"""The shortest possible stop of trains with dynamic and track brakes: no command beats it."""

import dataclasses
import math

import pytest
from tests.support_stops import (
    FALLING,
    RANDOM_COMMANDS,
    RANDOM_TORQUE,
    brake_of,
    car,
    film,
    patches,
    plain_stop,
    train_of,
)

from slipbench.controllers import by_name, none
from slipbench.scenario import Blending, Driver, DynamicBrake, HandleEntry, Rail, Run, TrackBrake
from slipbench.stop.shortest import shortest_possible
from slipbench.stop.simulation import simulate


def _random_with_drives(observation, parameters, memory, command, signals):
    """Command valves and drives at random: drives mostly in full, as what stops short would."""
    n_axles = observation.shape[0]
    state = memory[n_axles, 0] if memory[n_axles, 0] > 0.0 else parameters[0]
    for i_axle in range(n_axles):
        state = (16807.0 * state) % 2147483647.0
        drawn = state / 2147483647.0
        if drawn < 0.05:
            memory[i_axle, 0] = 1.0 - memory[i_axle, 0]  # fill or hold
        elif drawn > 0.97:
            memory[i_axle, 1] = min(1.0, 50.0 * (drawn - 0.97))  # taken off a drive
        command[i_axle, 0] = memory[i_axle, 0]
        command[i_axle, 1] = 1.0
        command[i_axle, 2] = 1.0 - memory[i_axle, 1]
    memory[n_axles, 0] = state


RANDOM_DRIVES = dataclasses.replace(
    RANDOM_COMMANDS,
    name="random_drives",
    update=_random_with_drives,
    commands_dynamic=True,
)

DYNAMIC = DynamicBrake(
    force_limit=12e3,
    power_limit=200e3,
    fade_from=3.0,
    fade_to=1.0,
    jerk_limit=20.0,
    lag=0.05,
    dead_time=0.1,
    slide_rule="restore",
    slides_to_cut_out=0,
)

RAILS = {
    "film": Rail(sections=(film(0.05, recovered_friction=0.12, cleaning_work=5e3, **FALLING),)),
    "patches": Rail(sections=patches([12.0] * 60, [0.02, 0.3], **FALLING)),
    "dry": Rail(sections=(film(0.35, recovered_friction=0.35),)),
}


def stop_on(rail, position=1, rule="vehicle", track=None, speed=20.0, **brake):
    motored = dataclasses.replace(
        car(), motored_axles=(1, 2, 3, 4), dynamic_brake=DYNAMIC, track_brake=track
    )
    train = dataclasses.replace(
        train_of(motored, car()), blending=Blending(rule=rule, in_emergency="blended")
    )
    driver = Driver(programme=(HandleEntry(at_time=0.0, position=position),))
    return plain_stop(
        speed,
        train=train,
        rail=RAILS[rail],
        driver=driver,
        brake=brake_of(
            0.9, build_up_time=0.5, full_pressure=3e5, fill_rate=4e5, vent_rate=5e5, **brake
        ),
        run=Run(maximum_distance=1500.0, maximum_time=200.0),
    )


def shares(scenario, *controllers):
    """Return distances over the floor; infinite where the train did not stop."""
    floor = shortest_possible(scenario)
    found = []
    for controller in controllers:
        summary = simulate(scenario, controller, 0, with_traces=False).summary
        distance = summary["stopping_distance"] if summary["is_stopped"] else math.inf
        found.append(distance / floor)
    return found


DRAWN = (
    *(RANDOM_DRIVES.with_parameters(seed=seed) for seed in (1.0, 77.0)),
    RANDOM_COMMANDS.with_parameters(seed=5.0, change_chance=0.02, fill_share=0.6, vent_share=0.05),
    RANDOM_TORQUE.with_parameters(seed=9.0, fill_share=1.0),
    none.CONTROLLER,
    by_name("slip_band"),
    by_name("slip_target"),
)


@pytest.mark.parametrize("rule", ["vehicle", "train"])
@pytest.mark.parametrize("rail", RAILS)
def test_no_command_beats_the_floor_of_a_train_with_drives(rail, rule):
    assert min(shares(stop_on(rail, rule=rule), *DRAWN)) >= 1.0


@pytest.mark.parametrize(
    "track",
    [
        TrackBrake(attraction=60e3, lowering_time=0.5, cleaning_share=0.5),
        TrackBrake(kind="eddy_current", peak_force=8e3, critical_speed=8.0, lowering_time=0.5),
    ],
    ids=["magnetic", "eddy_current"],
)
@pytest.mark.parametrize("rail", RAILS)
def test_no_command_beats_the_floor_of_a_train_with_track_brakes(rail, track):
    assert min(shares(stop_on(rail, position=2, track=track), *DRAWN)) >= 1.0


@pytest.mark.parametrize("limit", [2.0])
def test_torque_that_acts_at_once_scales_the_drives_too(limit):
    hardest = RANDOM_TORQUE.with_parameters(
        factor_limit=limit, seed=2.0**31 - 2.0, change_chance=0.0, fill_share=1.0, vent_share=0.0
    )
    stop = stop_on("dry", demand_factor_limit=limit)
    assert min(shares(stop, hardest)) >= 1.0


def test_the_floor_of_magnets_alone_is_tight_on_dry_rail():
    """Wheels that follow their brake: between the two is that the floor asks magnets at .98 v."""
    track = TrackBrake(attraction=60e3, lowering_time=0.5)
    stop = stop_on("dry", position=2, track=track, speed=30.0).replace(
        {"train.vehicles.0.dynamic_brake": None, "train.blending": None}
    )
    assert 1.0 <= shares(stop, none.CONTROLLER)[0] < 1.004
