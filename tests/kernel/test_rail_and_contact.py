"""The law of rail and contact: each joule spent once, between the two laws with half of it.

The equation dW = mu(W) dk and its solution are this project's own derivation. Checked here against
an integration by SciPy, against the two older laws as its limits, and in whole stops.
"""

from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.support_stops import film, on_one_axle, packed, plain_stop, run_world

from slipbench.contact.conditioning import memoryless_adhesions
from slipbench.controllers import none, slip_band
from slipbench.kernel.rail import conditioned_friction, pass_friction, share_own_contact
from slipbench.scenario import Rail, Scenario, load_scenario
from slipbench.stop.shortest import shortest_possible
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop

LOW, HIGH, SCALE = 0.06, 0.28, 5300.0


def cell_of(**changes: float) -> Any:
    values = {"recovered_friction": HIGH, "cleaning_work": SCALE, **changes}
    return packed(plain_stop(20.0, sections=(film(LOW, **values),))).cells[0]


def left_by(cell: Any, work: float, sliding: float, sand: float = 0.0) -> float:
    """Return W after a pass. [J/m]"""
    return work + sliding * float(pass_friction(cell, work, sliding, sand))


# --- the pass -------------------------------------------------------------------------------------


def test_two_passes_have_the_values_worked_out_by_hand() -> None:
    """Computed with the closed form, outside this project's code: a regression value."""
    cell = cell_of()
    first = pass_friction(cell, 0.0, 10e3, 0.0)
    after = left_by(cell, 0.0, 10e3)
    assert first == pytest.approx(0.07368, abs=5e-6)
    assert pass_friction(cell, after, 10e3, 0.0) == pytest.approx(0.10545, abs=5e-6)
    assert left_by(cell, after, 10e3) == pytest.approx(1791.34, abs=5e-3)


@pytest.mark.parametrize("exponent", [0.7, 1.0, 2.0])
@pytest.mark.parametrize("sand", [0.0, 0.05])
@pytest.mark.parametrize("sliding", [1.0, 3e3, 2e4, 1e5])
def test_mean_friction_solves_the_equation(exponent: float, sand: float, sliding: float) -> None:
    cell, work = cell_of(cleaning_exponent=exponent), 800.0

    def rise(_: float, state: Any) -> Any:
        return [conditioned_friction(cell, float(state[0])) + sand]

    exact = solve_ivp(rise, (0.0, sliding), [work], rtol=1e-11, atol=1e-9).y[0, -1]
    # a film of two layers is integrated in eight steps, worst where one pass wears it through
    allowed = 1e-8 if exponent == 1.0 else (1e-5 if sliding < 5e4 else 2e-3)
    found = pass_friction(cell, work, sliding, sand)
    assert found == pytest.approx((exact - work) / sliding, rel=allowed)


@pytest.mark.parametrize("exponent", [1.0, 2.0])
@pytest.mark.parametrize("work", [0.0, 2e3])
def test_no_joule_is_spent_twice(exponent: float, work: float) -> None:
    """Two passes leave what one of twice the sliding leaves."""
    cell = cell_of(cleaning_exponent=exponent)
    twice = left_by(cell, left_by(cell, work, 4e3), 4e3)
    assert twice == pytest.approx(left_by(cell, work, 8e3), rel=1e-12 if exponent == 1.0 else 1e-5)


@pytest.mark.parametrize("sliding", [1e2, 5e3, 1e5, 1e8])
def test_mean_lies_between_friction_at_the_start_and_at_the_end_of_the_pass(sliding: float) -> None:
    cell = cell_of()
    for work in (0.0, 3e3, 1e5):
        mean = pass_friction(cell, work, sliding, 0.0)
        at_end = conditioned_friction(cell, left_by(cell, work, sliding))
        assert conditioned_friction(cell, work) <= mean <= at_end <= HIGH


def test_nothing_slid_nothing_gained() -> None:
    assert pass_friction(cell_of(), 2e3, 0.0, 0.0) == conditioned_friction(cell_of(), 2e3)
    assert pass_friction(cell_of(recovered_friction=LOW), 0.0, 1e5, 0.0) == LOW


# --- the two limits -------------------------------------------------------------------------------


def test_many_weak_passes_are_those_of_the_rail_memory() -> None:
    """The memory is one explicit step a pass: its error falls with the size of the passes."""
    cell, whole = cell_of(), 2e4
    missed = []
    for n_passes in (4, 8, 16, 32, 64):
        sliding, by_memory = whole / n_passes, 0.0
        for _ in range(n_passes):
            by_memory += sliding * float(conditioned_friction(cell, by_memory))
        missed.append(left_by(cell, 0.0, whole) - by_memory)
    slope = np.polyfit(np.log([4, 8, 16, 32, 64]), np.log(missed), 1)[0]
    assert slope == pytest.approx(-1.0, abs=0.15)


def test_a_single_pass_is_that_of_the_law_without_memory_with_half_the_cleaning_work() -> None:
    """That law takes the end of the pass for all of it: on a fresh rail, twice the gain.

    Equal to first order in the sliding, so what is left falls with its square.
    """
    cell, missed = cell_of(), []
    sizes = np.array([1600.0, 800.0, 400.0, 200.0])
    for sliding in sizes:
        # at creepage one and a load equal to the sliding its work is friction times sliding
        (alone,) = memoryless_adhesions(1.0, LOW, HIGH, float(sliding), 2.0 * SCALE)
        missed.append(abs(pass_friction(cell, 0.0, float(sliding), 0.0) - alone))
    assert np.polyfit(np.log(sizes), np.log(missed), 1)[0] == pytest.approx(2.0, abs=0.1)


def scenario_of(rail: str, law: str, **changes: float) -> Scenario:
    changes = {f"rail.{name}": value for name, value in changes.items()}
    return load_scenario(rail).replace({"rail.cleaning_law": law, **changes})


def distance_of(scenario: Scenario) -> float:
    found: float = simulate(scenario, slip_band.CONTROLLER, with_traces=False).summary[
        "stopping_distance"
    ]
    return found


def test_without_its_contact_share_it_is_the_rail_memory_to_the_last_bit() -> None:
    alone = scenario_of("detergent", "rail_and_contact", contact_share=0.0)
    assert distance_of(alone) == distance_of(scenario_of("detergent", "rail_memory"))


def test_a_lone_locked_axle_stops_as_under_the_law_without_memory_at_half_the_work() -> None:
    """No wheel behind profits, so only the mean of the pass against its end tells them apart."""
    work = 4e5  # a pass gains little: W0 far above what one wheel leaves, some 5 kJ/m
    both = {}
    for law, share in (("rail_and_contact", 1.0), ("contact_only", 2.0), ("rail_memory", 1.0)):
        locked = {} if law == "contact_only" else {"locked_cleaning_share": 1.0}  # of no effect
        scenario = on_one_axle(scenario_of("detergent", law, **locked))
        scenario = scenario.replace({"rail.sections.0.cleaning_work": share * work})
        summary = simulate(scenario, none.CONTROLLER, with_traces=False).summary
        both[law] = summary["stopping_distance"]
    gained = both["rail_memory"] - both["rail_and_contact"]
    assert gained > 5.0
    assert both["rail_memory"] - both["contact_only"] == pytest.approx(gained, rel=0.05)


# --- in a stop ------------------------------------------------------------------------------------


@cache
def stop_of(law: str) -> Stop:
    return simulate(scenario_of("detergent", law), slip_band.CONTROLLER)


def test_friction_in_a_stop_is_the_mean_of_each_pass() -> None:
    stop = stop_of("rail_and_contact")
    train, cell = packed(stop.scenario).train[0], packed(stop.scenario).cells[0]
    traces = stop.traces
    is_moving = traces["train_speed"] > 2.0
    friction = traces["friction"][is_moving]
    first = friction[:, 0]  # the leading axle meets the rail untouched
    assert first.min() >= cell["friction"] * (1.0 - 1e-12)
    assert first.max() > 1.1 * cell["friction"]
    # against the law, from the axle's own slip and force of the same moment
    speed = traces["train_speed"][is_moving]
    slip = np.clip(1.0 - traces["wheel_speed"][is_moving, 0] / speed, 0.0, 1.0)
    beyond = np.clip((slip - train["full_cleaning_slip"]) / (1 - train["full_cleaning_slip"]), 0, 1)
    cleaned = 0.5 * np.abs(traces["rail_force"][is_moving, 0]) * slip
    cleaned *= 1.0 - beyond * (1.0 - train["locked_cleaning_share"])
    mean = [pass_friction(cell, 0.0, k, 0.0) for k in cleaned / first]
    # a wheel that has just entered a cell or a new slide is a piece behind: first order in the step
    assert np.quantile(np.abs(first / mean - 1.0), 0.95) < 5e-3


def test_what_the_wheels_gave_lies_on_the_rail() -> None:
    """The energy a contact cleaned for itself is counted once: all of it is on the rail, no more.

    It is the cleaning share of the heat the contacts gave off, by the quadrature of the stepping.
    """
    controller = slip_band.CONTROLLER
    world = run_world(packed(scenario_of("detergent", "rail_and_contact"), controller), controller)
    lying = float(world.rail_work.sum()) * float(world.train["cell_length"][0])
    states = world.axle_states
    # sums of some thousand terms of one sign
    assert lying == pytest.approx(float(states["cleaning_energy"].sum()), rel=1e-11)
    assert 0.0 < lying < 0.5 * float(states["contact_energy"].sum())


def test_own_recovery_shortens_the_stop_where_one_pass_cleans_much() -> None:
    memory, both = distance_of(scenario_of("detergent", "rail_memory")), stop_of("rail_and_contact")
    assert both.summary["stopping_distance"] < memory


@pytest.mark.parametrize("rail", ["detergent", "wet_leaf"])
def test_stop_accounts_for_its_energy_and_stays_above_the_floor(rail: str) -> None:
    scenario = scenario_of(rail, "rail_and_contact").replace(initial_speed=12.0)
    floor = shortest_possible(scenario)
    for controller in (none.CONTROLLER, slip_band.CONTROLLER):
        summary = simulate(scenario, controller, with_traces=False).summary
        assert summary["is_stopped"]
        assert abs(summary["energy_residual"]) < 3e-6
        assert summary["stopping_distance"] > floor


def test_locked_wheel_gains_by_its_small_cleaning_share_only() -> None:
    rail = Rail(
        sections=(film(LOW, recovered_friction=HIGH, cleaning_work=SCALE),),
        cleaning_law="rail_and_contact",
    )
    world = packed(plain_stop(20.0, rail=rail))
    train, state, cell = world.train[0], world.axle_states[0], world.cells[0]
    found = {}
    for creepage in (0.5, 1.0):
        state["wheel_speed"] = 20.0 * (1.0 - creepage)
        share_own_contact(20.0, 1.0, cell, 0.0, 0.0, train, state)
        found[creepage] = float(state["friction"])
    assert LOW < found[1.0] < LOW + 0.3 * (found[0.5] - LOW)
