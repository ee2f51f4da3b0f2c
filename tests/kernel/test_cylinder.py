"""What of a cylinder's pressure presses on the pads: return spring, hysteresis, whole stops."""

import math

import numpy as np
import pytest
from tests.support_stops import RANDOM_COMMANDS, brake_of, car, packed, plain_stop, train_of

from slipbench import shortest_possible, simulate
from slipbench.controllers import by_name, none
from slipbench.ground.errors import InputError
from slipbench.kernel.cylinder import clamp_piece, pressing
from slipbench.scenario import Equipment

SPRING = 500.0 / (324e-4 * 0.98)
"""Return spring of 500 N on a piston of 324 cm2, efficiency .98 (seen second-hand, in a public
worked example that cites nothing): .157 bar. [Pa]"""

HYSTERESIS = 1.0 - (0.98 * 0.95) ** 2
"""Cylinder and rigging of efficiency .98 and .95 while rising, the inverse while falling. [-]"""


class Rigging:
    """One cylinder: its pressure is moved from level to level, as the kernel moves it."""

    def __init__(self, spring=0.0, hysteresis=0.0):
        world = packed(
            plain_stop(
                20.0,
                brake=brake_of(
                    0.9, full_pressure=3e5, spring_pressure=spring, hysteresis=hysteresis
                ),
            )
        )
        self.parts = world.train[0], world.axles[0], world.axle_states[0]
        self.state = self.parts[2]
        self.n_pieces = 0

    def move(self, to, rate=1e5):
        """Move on to a pressure, piece by piece; return what presses then."""
        pressure = float(self.state["pressure"])
        rate = math.copysign(rate, to - pressure)
        left = (to - pressure) / rate
        while left > 1e-12:
            self.state["clamp"] = pressing(pressure, *self.parts)
            clamp_rate, until = clamp_piece(pressure, rate, *self.parts)
            piece = min(until, left)
            expected = float(self.state["clamp"]) + clamp_rate * piece
            pressure += rate * piece
            left -= piece
            self.n_pieces += 1
            assert pressing(pressure, *self.parts) == pytest.approx(expected, abs=2e-3)
        self.state["pressure"] = pressure
        self.state["clamp"] = pressing(pressure, *self.parts)
        return float(self.state["clamp"])


def test_without_spring_and_friction_the_pressure_presses():
    rigging = Rigging()
    assert [rigging.move(to) for to in (2e5, 1e5, 3e5, 0.0)] == [2e5, 1e5, 3e5, 0.0]
    assert rigging.n_pieces == 4


def test_spring_of_a_worked_example_takes_its_pressure():
    assert pytest.approx(0.157e5, rel=3e-3) == SPRING
    rigging = Rigging(spring=SPRING)
    assert rigging.move(0.9 * SPRING) == 0.0
    assert rigging.move(2e5) == pytest.approx(2e5 - SPRING)
    assert rigging.move(1e5) == pytest.approx(1e5 - SPRING)
    assert rigging.move(0.5 * SPRING) == 0.0


def test_force_stays_while_the_pressure_falls_by_the_hysteresis():
    """Rising, the pads get eta p, falling p / eta: so p falls by 1 - eta^2 before the force does.

    Written as the forces of piston and rigging themselves, in units of the rising ones.
    """
    efficiency = 0.98 * 0.95
    rigging = Rigging(hysteresis=HYSTERESIS)
    assert pytest.approx(0.133, abs=1e-3) == HYSTERESIS

    def force(pressure, is_rising):
        return pressure * (efficiency if is_rising else 1.0 / efficiency) / efficiency

    assert rigging.move(3e5) == force(3e5, True)
    assert rigging.move(0.95 * 3e5) == 3e5
    assert rigging.move(2e5) == pytest.approx(force(2e5, False))
    assert rigging.move(2.1e5) == pytest.approx(force(2e5, False)), "backlash the other way"
    assert rigging.move(2.8e5) == pytest.approx(2.8e5)
    assert rigging.move(0.0) == pytest.approx(0.0, abs=1e-6)


def test_pieces_end_at_kinks_only():
    """Spring met, risen, backlash used up, fallen to the spring, fallen on: five straight lines."""
    rigging = Rigging(SPRING, HYSTERESIS)
    rigging.move(3e5)
    rigging.move(0.0)
    assert rigging.n_pieces == 5


@pytest.mark.parametrize("deceleration", [0.3, 0.9])
def test_brake_control_makes_up_for_the_spring(deceleration):
    """On dry rail a stop is as long with the spring as without, once its pressure is there."""
    stops = {}
    for spring in (0.0, SPRING):
        brake = brake_of(
            deceleration, full_pressure=3e5, fill_rate=1e7, vent_rate=1e7, spring_pressure=spring
        )
        stops[spring] = simulate(
            plain_stop(30.0, brake=brake), none.CONTROLLER, with_traces=False
        ).summary
    late = 0.5 * SPRING / 1e7  # the ramp ends at the same time but begins above the spring's part
    assert stops[SPRING]["stopping_distance"] == pytest.approx(
        stops[0.0]["stopping_distance"] + 30.0 * late, abs=2e-3
    )


def test_whole_stop_under_flutter_keeps_its_energy_and_its_floor():
    """Random commands on cylinders with everything: balances close, the floor holds."""
    brake = brake_of(
        1.1,
        full_pressure=3e5,
        fill_rate=4e5,
        vent_rate=5e5,
        electrical_delay=0.008,
        fill_delay=0.035,
        vent_delay=0.025,
        shortest_pulse=0.012,
        spring_pressure=SPRING,
        hysteresis=HYSTERESIS,
    )
    scenario = plain_stop(20.0, 0.06, brake=brake, train=train_of(car(), car()))
    floor = shortest_possible(scenario)
    summary = simulate(
        scenario, RANDOM_COMMANDS.with_parameters(change_chance=0.7), seed=3, with_traces=False
    ).summary
    assert summary["is_stopped"]
    assert abs(summary["energy_residual"]) < 1e-4
    assert summary["stopping_distance"] >= floor
    assert summary["short_pulses"] > 10


def test_hysteresis_brakes_on_while_the_valve_vents():
    """A vent takes effect later: with 13 % of backlash a wheel that slides is braked for longer."""
    found = []
    for hysteresis in (0.0, HYSTERESIS):
        brake = brake_of(
            0.9, full_pressure=3e5, fill_rate=4e5, vent_rate=5e5, hysteresis=hysteresis,
            fill_delay=0.04, vent_delay=0.03,
        )  # fmt: skip
        scenario = plain_stop(20.0, 0.05, brake=brake, train=train_of(car()))
        stop = simulate(scenario, by_name("slip_band"), seed=0)
        traces = stop.traces
        ratio = traces["brake_force"] / np.maximum(traces["pressure"], 1e3)
        falling = (np.diff(traces["pressure"], axis=0, prepend=0.0) < -1e3) & (
            traces["pressure"] > 3e4
        )
        found.append(float(ratio[falling].mean()))
    assert found[1] > found[0] * 1.02


def test_transducers_err_by_axle_and_seed():
    equipment = Equipment(
        grade="clean", transducer_offset=5e3, transducer_gain=0.01, transducer_lag=0.01
    )
    scenario = plain_stop(20.0, equipment=equipment, train=train_of(*[car()] * 12))
    world = packed(scenario)
    assert world.axles["transducer_share"] == pytest.approx(1.0 - math.exp(-1.0))
    again, other = packed(scenario), packed(scenario, seed=1)
    for name, mean, spread in (("transducer_offset", 0.0, 5e3), ("transducer_gain", 1.0, 0.01)):
        drawn = world.axles[name]
        assert drawn.tolist() == again.axles[name].tolist() != other.axles[name].tolist()
        assert np.all(np.abs(drawn - mean) <= 3.0 * spread)
        # 48 axles: the standard deviation of their standard deviation is a tenth
        assert drawn.std() == pytest.approx(spread, rel=0.4)
    for name in ("noise_state", "next_pulse"):
        exact = packed(scenario.replace({"equipment.transducer_offset": 0.0}))
        assert exact.axle_states[name].tolist() == world.axle_states[name].tolist()


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"brake.shortest_pulse": 0.03}, "brake.shortest_pulse"),
        ({"brake.spring_pressure": 1.6e5}, "brake.spring_pressure"),
        ({"brake.electrical_delay": 0.12}, "brake.fill_delay"),
    ],
)
def test_valves_and_cylinders_that_cannot_be_are_refused(changes, key):
    brake = brake_of(0.9, full_pressure=3e5, fill_delay=0.04, vent_delay=0.02)
    with pytest.raises(InputError, match=key):
        plain_stop(20.0, brake=brake).replace(changes)
