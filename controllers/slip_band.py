"""Keep each axle's slip inside a band by filling, holding and venting.

Principle: slip against a reference speed. Above the band the cylinder is vented, inside it is held,
below it is filled. A wheel in the band that gains slip fast is vented early, one that loses slip
fast is held rather than vented: the valve's delay is as long as a slide needs to cross the band.
Observes: measured wheel speeds of its own vehicle, and demand. The reference is the fastest wheel,
its fall limited; when every axle slides at once, a probe axle founds it anew.
Known weakness: the band is a fixed slip, whatever the rail; a probe takes one axle of a vehicle
from braking for about a second.
"""

from slipbench.contract import (
    DEMAND_FACTOR,
    FILL,
    HOLD,
    SAMPLE_TIME,
    SLIDE,
    VALVE,
    VENT,
    Controller,
    Floats,
    Parameter,
)
from slipbench.controllers.parts.pulses import end_vent
from slipbench.controllers.parts.reference import N_STATE, PROBED, probed_axle
from slipbench.controllers.parts.settings import cut_out_speed, patience, slowing_limit
from slipbench.controllers.parts.wheels import N_WHEEL, SPEED, sense_wheels

FILL_SLIP, VENT_SLIP, LOOK_AHEAD, SLOWING_LIMIT, CUT_OUT_SPEED, PATIENCE = 0, 1, 2, 3, 4, 5
SLIP, VENTED = N_WHEEL, N_WHEEL + 1  # of an axle's memory

CERTAIN_SPEED = 10.0
"""Above it the change of slip over a sample can be told. Assumed. [m/s]"""


def update(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Vent above the band, fill below it, hold inside, each for the slip a look ahead."""
    n_axles = observation.shape[0]
    sample_time = observation[0, SAMPLE_TIME]
    state = memory[n_axles]
    sense_wheels(observation, memory)
    reference = probed_axle(
        observation,
        parameters[SLOWING_LIMIT],
        parameters[PATIENCE],
        parameters[CUT_OUT_SPEED],
        memory,
    )
    # at walking pace speeds come in steps, and looking ahead would magnify them
    look_ahead = parameters[LOOK_AHEAD] * min(reference / CERTAIN_SPEED, 1.0)
    signals[SLIDE] = 0.0
    for i_axle in range(n_axles):
        own = memory[i_axle]
        slip = 1.0 - own[SPEED] / max(reference, 0.1)
        expected = slip + (slip - own[SLIP]) / sample_time * look_ahead
        own[SLIP] = slip
        valve = HOLD
        if state[PROBED] == i_axle + 1.0:
            valve = VENT
        elif reference < parameters[CUT_OUT_SPEED] or expected < parameters[FILL_SLIP]:
            valve = FILL
        elif expected > parameters[VENT_SLIP]:
            valve = VENT
        if slip > parameters[FILL_SLIP]:
            signals[SLIDE] = 1.0
        command[i_axle, DEMAND_FACTOR] = 1.0
        command[i_axle, VALVE] = end_vent(valve, own[SPEED], sample_time, own[VENTED : VENTED + 1])


CONTROLLER = Controller(
    name="slip_band",
    title="fill, hold and vent to keep slip inside a band",
    update=update,
    parameters=(
        Parameter(
            "fill_slip",
            0.12,
            "-",
            0.01,
            0.5,
            "set by hand; 5 to 8 per cent from memory",
            doc="Slip below which the cylinder is filled.",
        ),
        Parameter(
            "vent_slip",
            0.4,
            "-",
            0.03,
            0.8,
            "set by hand; 10 to 20 per cent from memory",
            doc="Slip above which it is vented; held in between.",
        ),
        Parameter(
            "look_ahead",
            0.05,
            "s",
            0.0,
            0.3,
            "assumed: about the valve's delay",
            doc=("Time the slip is extrapolated by its rate, to make up for the valve's delay."),
        ),
        slowing_limit(),
        cut_out_speed(1.0, "assumed; 3 to 5 km/h from memory"),
        patience(2.0, 0.2, 10.0),
    ),
    observes=("measured_wheel_speed", "brake_demand", "sample_time"),
    n_memory=max(N_STATE, N_WHEEL + 2),
)
