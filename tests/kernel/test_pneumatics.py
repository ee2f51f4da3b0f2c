"""Cylinder pressure: filling, holding, venting, delays, order of commands, moving targets."""

import math

import numpy as np
import pytest
from tests.support_stops import brake_of, packed, plain_stop

from slipbench.kernel.columns import FILL, HOLD, VENT
from slipbench.kernel.pneumatics import (
    acting_valve,
    apply_due_commands,
    limit_vent,
    next_due,
    pressure_piece,
    send_command,
)

FULL, FILL_RATE, VENT_RATE = 3e5, 4e5, 5e5
FILL_DELAY, VENT_DELAY = 0.04, 0.03


class Cylinder:
    """One cylinder on its own: commands at their times, pressure piece by piece."""

    def __init__(self, **changes):
        rates = {"full_pressure": FULL, "fill_rate": FILL_RATE, "vent_rate": VENT_RATE}
        delays = {"fill_delay": FILL_DELAY, "vent_delay": VENT_DELAY}
        brake = brake_of(0.9, **{**rates, **delays, **changes})
        self.world = packed(plain_stop(20.0, brake=brake))
        self.train, self.state = self.world.train[0], self.world.axle_states[0]
        self.axle = self.world.axles[0]
        self.time = 0.0
        self.n_pieces = 0

    @property
    def pressure(self):
        return float(self.state["pressure"])

    def send(self, valve, factor=1.0):
        send_command(self.time, valve, factor, self.axle, self.state)

    def piece(self, demanded, demanded_rate, longest=math.inf):
        """Return rate and length of the piece that begins now."""
        return pressure_piece(
            longest,
            demanded,
            demanded_rate,
            0.0,
            0,
            True,
            1e6,
            self.train,
            self.axle,
            self.state,
        )

    def run(self, duration, demanded=FULL, demanded_rate=0.0):
        """Move on by a duration; the demanded pressure is linear from its start."""
        start, end = self.time, self.time + duration
        while end - self.time > 1e-12:
            apply_due_commands(self.time, self.state)
            now = demanded + demanded_rate * (self.time - start)
            longest = min(end - self.time, next_due(self.state) - self.time)
            rate, until = self.piece(now, demanded_rate, longest)
            piece = min(until, longest)
            self.state["pressure"] += rate * piece
            self.time += piece
            self.n_pieces += 1
        self.time = end


def test_cylinder_fills_at_its_rate_and_stops_at_the_demand():
    cylinder = Cylinder()
    cylinder.run(0.3)
    assert cylinder.pressure == pytest.approx(0.3 * FILL_RATE, rel=1e-12)
    cylinder.run(1.0)
    assert cylinder.pressure == FULL


def test_cylinder_follows_a_lower_demand_at_the_vent_rate():
    cylinder = Cylinder()
    cylinder.run(1.0)
    cylinder.run(0.2, demanded=1e5)
    assert cylinder.pressure == pytest.approx(FULL - 0.2 * VENT_RATE, rel=1e-12)
    cylinder.run(1.0, demanded=1e5)
    assert cylinder.pressure == 1e5


def test_held_cylinder_keeps_its_pressure_whatever_is_demanded():
    cylinder = Cylinder()
    cylinder.run(0.4)
    cylinder.send(HOLD)
    cylinder.run(VENT_DELAY)
    held = cylinder.pressure
    cylinder.run(2.0, demanded=0.0)
    cylinder.run(2.0, demanded=FULL)
    assert cylinder.pressure == held == pytest.approx((0.4 + VENT_DELAY) * FILL_RATE, rel=1e-12)


def test_vented_cylinder_empties_and_stays_empty():
    cylinder = Cylinder()
    cylinder.run(1.0)
    cylinder.send(VENT)
    cylinder.run(VENT_DELAY + 0.5)
    assert cylinder.pressure == pytest.approx(FULL - 0.5 * VENT_RATE, rel=1e-12)
    cylinder.run(5.0)
    assert cylinder.pressure == 0.0


@pytest.mark.parametrize(("valve", "delay"), [(VENT, VENT_DELAY), (HOLD, VENT_DELAY)])
def test_command_acts_exactly_after_its_delay(valve, delay):
    cylinder = Cylinder()
    cylinder.run(0.2)
    cylinder.send(valve)
    assert next_due(cylinder.state) == pytest.approx(0.2 + delay, abs=1e-15)
    cylinder.run(delay)
    assert cylinder.pressure == pytest.approx((0.2 + delay) * FILL_RATE, rel=1e-12)
    assert cylinder.state["valve"] == FILL
    cylinder.run(0.05)
    assert cylinder.state["valve"] == valve
    fallen = 0.05 * VENT_RATE if valve == VENT else 0.0
    assert cylinder.pressure == pytest.approx((0.2 + delay) * FILL_RATE - fallen, rel=1e-12)


def test_fill_command_acts_exactly_after_its_delay():
    cylinder = Cylinder()
    cylinder.run(0.5)
    cylinder.send(VENT)
    cylinder.run(1.0)
    cylinder.send(FILL)
    cylinder.run(FILL_DELAY)
    assert cylinder.pressure == 0.0
    cylinder.run(0.1)
    assert cylinder.pressure == pytest.approx(0.1 * FILL_RATE, rel=1e-12)


def test_later_command_never_overtakes_an_earlier_one():
    """A fill takes 40 ms, the vent sent 5 ms later only 30: both act at 40 ms, the vent last."""
    cylinder = Cylinder()
    cylinder.run(0.5)
    cylinder.send(HOLD)
    cylinder.run(0.1)
    cylinder.send(FILL)
    sent = cylinder.time
    cylinder.run(0.005)
    cylinder.send(VENT)
    times = cylinder.state["queue_time"][:2]
    assert cylinder.state["queue_count"] == 2
    assert times[1] >= times[0]
    cylinder.run(FILL_DELAY - 0.005 - 1e-6)
    assert cylinder.state["valve"] == HOLD
    cylinder.run(2e-6)
    assert cylinder.state["valve"] == VENT
    assert cylinder.time == pytest.approx(sent + FILL_DELAY, abs=2e-6)


def test_commands_keep_their_order_through_a_wrapped_buffer():
    """A hundred factors sent every 10 ms through a buffer of 16 arrive 50 ms later, in order."""
    cylinder = Cylinder(fill_delay=0.05)
    for i in range(100):
        cylinder.send(FILL, 0.01 * i)
        cylinder.run(0.01)
        if i >= 5:  # half a sample after the one sent 50 ms ago has arrived
            assert cylinder.state["queue_count"] <= 6
            apply_due_commands(cylinder.time + 0.005, cylinder.state)
            assert cylinder.state["demand_factor"] == 0.01 * (i - 4)


def test_repeated_command_is_sent_once():
    cylinder = Cylinder()
    for _ in range(5):
        cylinder.send(VENT)
        cylinder.run(0.002)
    assert cylinder.state["queue_count"] == 1
    assert cylinder.state["vent_count"] == 1
    cylinder.run(VENT_DELAY - 0.01)
    cylinder.run(0.01)
    assert cylinder.state["valve"] == VENT


def test_demand_factor_scales_the_demanded_pressure():
    cylinder = Cylinder()
    cylinder.send(FILL, 0.4)
    cylinder.run(FILL_DELAY + 2.0)
    assert cylinder.state["demand_factor"] == 0.4
    assert cylinder.pressure == pytest.approx(0.4 * FULL, rel=1e-15)


@pytest.mark.parametrize("ramp_time", [1.5, 4.0])
def test_slow_ramp_is_followed_exactly(ramp_time):
    cylinder = Cylinder()
    for _ in range(7):
        cylinder.run(ramp_time / 10, cylinder.time * FULL / ramp_time, FULL / ramp_time)
        assert cylinder.pressure == pytest.approx(cylinder.time * FULL / ramp_time, rel=1e-12)


def test_filling_meets_a_rising_demand_where_the_lines_cross():
    """Empty under a demand of 1 bar that rises by 2 bar/s: met after 1 / (4 - 2) s at 2 bar."""
    cylinder = Cylinder()
    rate, until = cylinder.piece(1e5, 2e5)
    assert (rate, until) == (FILL_RATE, pytest.approx(0.5, rel=1e-12))
    cylinder.run(0.5, 1e5, 2e5)
    assert cylinder.pressure == pytest.approx(2e5, rel=1e-12)
    cylinder.run(0.25, 2e5, 2e5)
    assert cylinder.pressure == pytest.approx(2.5e5, rel=1e-12)


def test_filling_meets_a_falling_demand_where_the_lines_cross():
    """Empty under 3 bar falling by 2 bar/s: met after 3 / (4 + 2) s at 2 bar, then followed."""
    cylinder = Cylinder()
    cylinder.run(0.75, 3e5, -2e5)
    assert cylinder.pressure == pytest.approx(1.5e5, rel=1e-12)


def test_demand_that_outruns_the_cylinder_is_never_met():
    cylinder = Cylinder()
    rate, until = cylinder.piece(0.0, 1e6)
    assert rate == FILL_RATE
    assert until == math.inf
    cylinder.run(0.2, 0.0, 1e6)
    assert cylinder.pressure == pytest.approx(0.2 * FILL_RATE, rel=1e-12)


def test_pressure_reaches_its_demand_without_creeping():
    """Straight lines only: a piece to the demand, one along it; no ever smaller steps."""
    cylinder = Cylinder()
    cylinder.run(2.0)
    assert cylinder.n_pieces == 2
    cylinder.n_pieces = 0
    cylinder.run(1.0, FULL, -1e5)
    assert cylinder.n_pieces == 1
    assert cylinder.pressure == pytest.approx(FULL - 1e5, rel=1e-12)


@pytest.mark.parametrize("rate", np.linspace(-6e5, 6e5, 13))
@pytest.mark.parametrize("level", [0.0, 1e3, 1.5e5, FULL])
def test_pressure_never_moves_faster_than_its_valves(rate, level):
    cylinder = Cylinder()
    cylinder.state["pressure"] = level
    for demanded in (0.0, level, FULL):
        moved, until = cylinder.piece(demanded, rate)
        assert -VENT_RATE <= moved <= FILL_RATE
        assert until > 0.0


def test_unsupplied_cylinder_releases():
    """A vehicle whose brake does not act lets its cylinders empty through the brake control."""
    cylinder = Cylinder()
    cylinder.run(1.0)
    arguments = (math.inf, FULL, 0.0, 0.0, 0, False, 1e6)
    rate, until = pressure_piece(*arguments, cylinder.train, cylinder.axle, cylinder.state)
    assert (rate, until) == (-VENT_RATE, pytest.approx(FULL / VENT_RATE, rel=1e-12))


def test_stuck_valve_stays_where_it_is_stuck():
    cylinder = Cylinder()
    cylinder.run(0.5)
    cylinder.state["valve_fault"] = HOLD
    assert acting_valve(cylinder.state) == HOLD
    cylinder.run(1.0)
    assert cylinder.pressure == pytest.approx(0.5 * FILL_RATE, rel=1e-12)


class Timed:
    """A cylinder at full demand whose commands pass the vent limit, 0.995 s."""

    def __init__(self) -> None:
        self.cylinder = Cylinder()
        self.cylinder.train["vent_limit"] = 0.995
        self.cylinder.state["pressure"] = FULL

    def given(self, valve: float, n_samples: int, factor: float = 1.0) -> list[float]:
        """Return the valve's positions, the pressure left as it is."""
        cylinder = self.cylinder
        return [
            limit_vent(valve, factor, FULL, 0.01, cylinder.train, cylinder.state)[0]
            for _ in range(n_samples)
        ]


def test_unbroken_vent_is_overruled_after_its_limit():
    timed = Timed()
    assert timed.given(VENT, 150) == [VENT] * 99 + [FILL] * 51
    assert timed.cylinder.state["n_restored"] == 1
    assert timed.given(FILL, 50) == [FILL] * 50
    assert timed.given(VENT, 150) == [VENT] * 99 + [FILL] * 51


@pytest.mark.parametrize(
    ("valve", "factor"), [(HOLD, 1.0), (FILL, 0.04), (VENT, 1.0)], ids=["hold", "factor", "vent"]
)
def test_an_empty_cylinder_is_timed_whatever_keeps_it_empty(valve: float, factor: float):
    timed = Timed()
    timed.cylinder.state["pressure"] = 0.04 * FULL
    assert timed.given(valve, 150, factor) == [valve] * 99 + [FILL] * 51


def test_a_sample_of_fill_neither_stops_the_timer_nor_arms_it_again():
    timed = Timed()
    timed.cylinder.state["pressure"] = 0.0
    for _ in range(9):
        assert timed.given(VENT, 9) + timed.given(FILL, 1) == [VENT] * 9 + [FILL]
    assert timed.given(VENT, 15) == [VENT] * 9 + [FILL] * 6
    assert timed.given(FILL, 1) + timed.given(VENT, 50) == [FILL] * 51


def test_a_cylinder_that_brakes_may_be_held():
    timed = Timed()
    timed.cylinder.state["pressure"] = 0.06 * FULL
    assert timed.given(HOLD, 500) == [HOLD] * 500
    assert timed.cylinder.state["n_restored"] == 0


def test_electrical_and_mechanical_delay_add_up():
    """8 ms to the current and 25 ms for the armature: the valve vents 33 ms after the command."""
    cylinder = Cylinder(electrical_delay=0.008, vent_delay=0.025)
    cylinder.send(VENT)
    cylinder.run(0.033 - 1e-6)
    assert cylinder.state["valve"] == FILL
    cylinder.run(2e-6)
    assert cylinder.state["valve"] == VENT


@pytest.mark.parametrize(("pulse", "n_short"), [(0.011, 1), (0.013, 0)])
def test_a_pulse_shorter_than_the_valve_can_make_does_nothing(pulse, n_short):
    """Shortest pulse 12 ms: one of 11 ms leaves the pressure where it was, one of 13 ms vents."""
    cylinder = Cylinder(shortest_pulse=0.012)
    cylinder.run(1.0)
    assert cylinder.pressure == FULL
    cylinder.send(VENT)
    cylinder.run(pulse)
    cylinder.send(HOLD)
    cylinder.run(0.1)
    assert cylinder.state["short_pulses"] == n_short
    assert cylinder.state["vent_count"] == 1 - n_short
    vented = 0.0 if n_short else pulse * VENT_RATE  # both ends of the pulse are delayed alike
    assert cylinder.pressure == pytest.approx(FULL - vented, rel=1e-12)


def test_commands_that_flutter_faster_than_the_valve_leave_it_where_it_was():
    cylinder = Cylinder(shortest_pulse=0.012)
    cylinder.run(1.0)
    for _ in range(20):
        cylinder.send(VENT)
        cylinder.run(0.01)
        cylinder.send(FILL)
        cylinder.run(0.01)
    assert cylinder.pressure == FULL
    assert cylinder.state["vent_count"] == 0
    assert cylinder.state["short_pulses"] == 20


def test_a_short_pulse_takes_back_only_itself():
    """Vent for 20 ms, 5 ms of hold, vent again: one vent without a break."""
    cylinder = Cylinder(shortest_pulse=0.012)
    cylinder.run(1.0)
    cylinder.send(VENT)
    cylinder.run(0.02)
    cylinder.send(HOLD)
    cylinder.run(0.005)
    cylinder.send(VENT)
    cylinder.run(0.1)
    assert cylinder.state["vent_count"] == 1
    assert cylinder.pressure == pytest.approx(FULL - (0.125 - VENT_DELAY) * VENT_RATE, rel=1e-12)
