"""Blocks, valves, cylinders and reservoirs against numbers computed from stated formulas by hand.

None is a measurement: formulas of blocks are from memory, ISO 6358 was read on help pages of two
software makers, and ideal gas is ideal gas. The flow has an independent library beside it.
"""

import math

import numpy as np
import pytest
from fluids.compressible import P_critical_flow
from fluids.flow_meter import flow_meter_discharge, nozzle_expansibility
from tests.support_stops import brake_of, packed, plain_stop

from slipbench.kernel.air import (
    GAS_CONSTANT,
    REFERENCE_DENSITY,
    REFERENCE_TEMPERATURE,
    mass_flow,
    mass_of,
)
from slipbench.kernel.columns import VENT
from slipbench.kernel.friction import cast_iron_friction
from slipbench.kernel.pneumatics import pressure_piece
from slipbench.kernel.supply import move_air
from slipbench.scenario import Brake

BAR = 1e5


@pytest.mark.parametrize(
    ("block_force", "speed_kmh", "friction"),
    [
        (20e3, 0.0, 0.3024),
        (20e3, 60.0, 0.1210),
        (20e3, 120.0, 0.0951),
        (10e3, 60.0, 0.1538),
        (40e3, 60.0, 0.0930),
    ],
)
def test_cast_iron_friction_matches_karwatzki_formula(block_force, speed_kmh, friction):
    """Karwatzki's formula, value from memory, not verified; computed by hand to four digits."""
    # the reference is rounded to 5e-5; 2e-4 leaves room for g = 9.81 against 9.80665
    assert cast_iron_friction(block_force, speed_kmh / 3.6) == pytest.approx(friction, abs=2e-4)


@pytest.mark.parametrize(
    ("upstream", "downstream", "critical_ratio", "flow"),
    [(8.0, 1.0, 0.3, 0.01896), (6.0, 5.0, 0.3, 0.00921)],
    ids=["choked", "subsonic"],
)
def test_mass_flow_matches_iso_6358(upstream, downstream, critical_ratio, flow):
    """ISO 6358, the equation as on two software makers' help pages, C = 2e-8, 293.15 K, by hand."""
    found = mass_flow(upstream * BAR, downstream * BAR, 2e-8, critical_ratio)
    assert found == pytest.approx(flow, abs=1e-5)  # the digits given


AREA, UPSTREAM, KAPPA = 5e-5, 8.0 * BAR, 1.4
DIAMETER = math.sqrt(4.0 * AREA / math.pi)


def nozzle_flow(downstream: float) -> float:
    """Return the flow of air through an ideal nozzle out of a large vessel, by `fluids`. [kg/s]"""
    critical = P_critical_flow(UPSTREAM, KAPPA)
    behind = max(downstream, critical)  # choked below: no more goes through
    density = UPSTREAM / (GAS_CONSTANT * REFERENCE_TEMPERATURE)
    factor = nozzle_expansibility(100.0 * DIAMETER, DIAMETER, UPSTREAM, behind, KAPPA)
    return flow_meter_discharge(100.0 * DIAMETER, DIAMETER, UPSTREAM, behind, density, 1.0, factor)


@pytest.mark.parametrize("ratio", [0.1, 0.4, 0.528, 0.6, 0.7, 0.8, 0.9, 0.97])
def test_mass_flow_matches_ideal_nozzle_of_fluids(ratio):
    """`fluids` (Bell et al.), adiabatic nozzle; ISO 6358 with b = 0.528 is its usual stand-in."""
    # sonic conductance of the nozzle, from the closed form of choked flow
    per_area = math.sqrt(KAPPA / (GAS_CONSTANT * REFERENCE_TEMPERATURE)) * (
        2.0 / (KAPPA + 1.0)
    ) ** ((KAPPA + 1.0) / (2.0 * (KAPPA - 1.0)))
    conductance = AREA * per_area / REFERENCE_DENSITY
    found = mass_flow(UPSTREAM, ratio * UPSTREAM, conductance, 0.528)
    # choked: the same closed form. Subsonic: an ellipse for a root of two powers, which differ by
    # 0.3 % at most (largest at 0.97, computed outside the project)
    tolerance = 1e-3 if ratio <= 0.528 else 5e-3
    assert found == pytest.approx(nozzle_flow(ratio * UPSTREAM), rel=tolerance)


def flow_world(**changes):
    """Return the one-axle train with flowing air, its cylinder at 3.8 bar."""
    values = {"air": "flow", "full_pressure": 3.8 * BAR, "critical_ratio": 0.3, **changes}
    stop = plain_stop(20.0, brake=brake_of(0.9, **values))
    world = packed(stop.replace({"train.vehicles.0.cylinder_volume": 0.010}))
    world.axle_states[0]["pressure"] = 3.8 * BAR
    return world


def test_venting_cylinder_matches_closed_form():
    """Isothermal choked venting, C = 8e-8, 10 litres: 3.8 to 2.0 bar in 0.587 s, -3.84 bar/s."""
    world = flow_world(vent_conductance=8e-8)
    state, axle, train = world.axle_states[0], world.axles[0], world.train[0]
    state["valve"] = VENT
    times, pressures = [0.0], [3.8 * BAR]
    while pressures[-1] > 1.9 * BAR:
        rate, _ = pressure_piece(0.005, 0.0, 0.0, 0.0, 0, True, 7.0 * BAR, train, axle, state)
        state["pressure"] += rate * 0.005
        times.append(times[-1] + 0.005)
        pressures.append(float(state["pressure"]))
    first = (pressures[1] - pressures[0]) / 0.005
    # 1 %: the reference takes an atmosphere of 1.013 bar, and its rate is that of the first moment
    assert first == pytest.approx(-3.84 * BAR, rel=1e-2)
    reached = np.interp(-2.0 * BAR, -np.array(pressures), times)
    assert reached == pytest.approx(0.587, rel=1e-2)


def test_filling_a_cylinder_takes_the_air_of_an_ideal_gas_from_the_reservoir():
    """Ideal gas: 10 litres by 2 bar at 293.15 K are 23.77 g, 0.20 bar of a reservoir of 100."""
    mass = mass_of(2.0 * BAR, 0.010)
    assert mass == pytest.approx(23.77e-3, rel=5e-3)
    world = flow_world(reservoir_volume=0.100, charging_conductance=0.0, reservoir_pressure=7e5)
    vehicle = world.vehicle_states[0]
    vehicle["flow"] = mass
    train = world.train[0]
    move_air(0.005, world.train_state[0], train, world.brakes, world.vehicles, world.vehicle_states)
    assert vehicle["reservoir"] - 7.0 * BAR == pytest.approx(-0.20 * BAR, rel=5e-3)
    assert vehicle["lowest_reservoir"] == vehicle["reservoir"]


def test_default_vent_conductance_is_that_of_its_choke():
    """C = Cd A 0.0404184 / (rho0 sqrt(T0)) for 9 mm and Cd 0.8 (derived, as its source says)."""
    area = 0.25 * math.pi * 0.009**2
    derived = 0.8 * area * 0.0404184 / (REFERENCE_DENSITY * math.sqrt(REFERENCE_TEMPERATURE))
    given = Brake.__dataclass_fields__["vent_conductance"].default
    assert given == pytest.approx(derived, rel=0.02)  # given to one digit
