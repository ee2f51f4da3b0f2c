"""Air through valves: ISO 6358 mass flow, and what it does to a volume of constant temperature."""

import math

from slipbench.compiling.jit import part

GAS_CONSTANT = 287.05
"""Of dry air. [J/(kg K)]"""

REFERENCE_TEMPERATURE = 293.15
"""ISO 6358 reference atmosphere, value from memory, fairly sure. [K]"""

REFERENCE_DENSITY = 1.185
"""... its density at 100 kPa, value from memory, fairly sure. [kg/m3]"""

ATMOSPHERE = 101325.0
"""Standard atmosphere, by definition. [Pa]"""

TEMPERATURE = 293.15
"""Of all air here: flow is slow enough for walls to keep it (isothermal). [K]"""


@part
def mass_flow(
    upstream: float, downstream: float, conductance: float, critical_ratio: float
) -> float:
    """Return the mass flow through a valve from the higher to the lower pressure. [kg/s]

    Parameters
    ----------
    upstream, downstream : float   absolute pressures. [Pa], > 0; no flow where downstream is higher
    conductance : float            sonic conductance C. [m3/(s Pa)]
    critical_ratio : float         b, downstream over upstream below which flow is choked. [-]

    References
    ----------
    ISO 6358: choked C rho0 p1 sqrt(T0/T1), else times sqrt(1 - ((p2/p1 - b)/(1 - b))^2); the
    equation seen on two software makers' help pages, reference values from memory.
    """
    if downstream >= upstream:
        return 0.0
    choked = (
        conductance * REFERENCE_DENSITY * upstream * math.sqrt(REFERENCE_TEMPERATURE / TEMPERATURE)
    )
    ratio = downstream / upstream
    if ratio <= critical_ratio:
        return choked
    beyond = (ratio - critical_ratio) / (1.0 - critical_ratio)
    return choked * math.sqrt(max(0.0, 1.0 - beyond * beyond))


@part
def mass_of(pressure_change: float, volume: float) -> float:
    """Return the mass that changes the pressure of a volume so much. [kg]"""
    return pressure_change * volume / (GAS_CONSTANT * TEMPERATURE)


@part
def pressure_rate(flow: float, volume: float) -> float:
    """Return how fast a flow into a volume raises its pressure. [Pa/s]"""
    return flow * GAS_CONSTANT * TEMPERATURE / volume


@part
def mean_fill_rate(
    duration: float,
    pressure: float,
    supply: float,
    conductance: float,
    critical_ratio: float,
    volume: float,
) -> float:
    """Return the mean rate at which a supply fills a cylinder over a short time. [Pa/s]

    `pressure` and `supply` are gauge. Midpoint rule: second order in the duration.
    """
    rate = 0.0
    for _ in range(2):
        middle = pressure + 0.5 * rate * duration
        flow = mass_flow(supply + ATMOSPHERE, middle + ATMOSPHERE, conductance, critical_ratio)
        rate = pressure_rate(flow, volume)
    return rate


@part
def mean_vent_rate(
    duration: float, pressure: float, conductance: float, critical_ratio: float, volume: float
) -> float:
    """Return the mean rate, below zero, at which a cylinder empties to atmosphere. [Pa/s]

    `pressure` is gauge, > 0. Midpoint rule.
    """
    rate = 0.0
    for _ in range(2):
        middle = max(pressure + 0.5 * rate * duration, 0.0)
        flow = mass_flow(middle + ATMOSPHERE, ATMOSPHERE, conductance, critical_ratio)
        rate = -pressure_rate(flow, volume)
    return rate
