"""Records of what is fixed for a stop: train, brakes, axles, rail, driver, faults. All in SI."""

from __future__ import annotations

from typing import Any

import numpy as np

from slipbench.kernel.codes import N_CURVE, N_CURVE_SPEEDS, N_TABLE

f8, i8 = np.float64, np.int64


def record_type(*fields: tuple[Any, ...]) -> np.dtype[np.void]:
    """Return the type of a record laid out as in C."""
    return np.dtype(list(fields), align=True)


RUN = record_type(
    ("maximum_step", f8),  # [s]
    ("maximum_distance", f8),  # [m]
    ("maximum_time", f8),  # [s]
    ("trace_interval", f8),  # [s]
    ("locked_wheel_speed", f8),  # rim speed below which a wheel counts as locked [m/s]
    ("locked_train_speed", f8),  # ... while the train does more than this [m/s]
    ("sliding_creepage", f8),  # creepage above which a wheel counts as sliding [-]
    ("sliding_slip_speed", f8),  # ... with at least this slip speed [m/s]
    ("dragged_wheel_speed", f8),  # rim speed below which a turning wheel counts as dragged [m/s]
    ("maximum_pieces", i8),  # of time, all axles together: a stop that takes more is given up
)

TRAIN = record_type(
    ("mass", f8),  # without the rotating part [kg]
    ("resistance_constant", f8),  # [m/s2]
    ("resistance_linear", f8),  # [1/s]
    ("resistance_quadratic", f8),  # [1/m]
    ("n_steps", i8),  # service steps of the handle; emergency is n_steps + 1
    ("demand_delay", f8),  # handle to first pressure [s]
    ("build_up_time", f8),  # linear ramp to a higher demand [s]
    ("release_time", f8),  # linear ramp to a lower demand [s]
    ("fill_rate", f8),  # cylinder pressure, upper limit [Pa/s]
    ("vent_rate", f8),  # [Pa/s]
    ("demand_factor_limit", f8),  # [-]
    ("full_pressure", f8),  # at emergency demand, laden [Pa]
    ("spring_pressure", f8),  # below it a cylinder presses nothing [Pa]
    ("air_model", i8),  # RAMPS or FLOW
    ("fill_conductance", f8),  # sonic, reservoir to cylinder [m3/(s Pa)]
    ("release_conductance", f8),  # through the brake control, cylinder to atmosphere
    ("vent_conductance", f8),  # through the slip control's valve, cylinder to atmosphere
    ("charging_conductance", f8),  # main pipe to reservoir
    ("critical_ratio", f8),  # ISO 6358 b [-]
    ("reservoir_volume", f8),  # of each vehicle [m3]
    ("reservoir_pressure", f8),  # gauge, full [Pa]
    ("pipe_pressure", f8),  # gauge, what charges the reservoirs at most [Pa]
    ("has_main", i8),  # 1: main reservoirs and pipe are modelled, 0: held at that pressure
    ("main_pressure", f8),  # gauge, of main reservoirs and pipe at the start [Pa]
    ("cut_in", f8),  # of the compressors, gauge [Pa]
    ("cut_out", f8),
    ("pipe_conductance", f8),  # of the main pipe from vehicle to vehicle [m3/(s Pa)]
    ("vent_limit", f8),  # longest unbroken vent before the brake is restored [s]
    ("cut_out_speed", f8),  # reference speed below which valves are left in fill [m/s]
    ("cut_out_hysteresis", f8),  # above that they are freed again so much higher [m/s]
    (
        "shares_speed",
        i8,
    ),  # 1: the reference is of the train's fastest wheel, 0: the vehicle's
    ("emergency_deceleration", f8),  # [m/s2]
    ("valve_per_bogie", i8),  # 1: one valve for both axles of a bogie
    ("isolation_time", f8),  # one press of the isolation button [s]
    ("ambient", f8),  # [deg C]
    ("clock_tick", f8),  # resolution of pulse times [s]
    ("clock_rate", f8),  # one over that, zero for an exact clock [1/s]
    ("zero_timeout", f8),  # no pulse for so long: measured zero [s]
    ("has_pressure_transducer", i8),  # else the controllers see no cylinder pressure
    ("cell_length", f8),  # [m]
    ("rail_start", f8),  # distance where cell 0 begins, negative [m]
    ("room", f8),  # smallest axle spacing less a cell: axles that run less move together [m]
    ("locked_cleaning_share", f8),  # cleaning efficiency at creepage one [-]
    ("full_cleaning_slip", f8),  # creepage up to which cleaning is full [-]
    ("cleaning_law", i8),  # RAIL_MEMORY, CONTACT_ONLY or RAIL_AND_CONTACT
    ("contact_share", f8),  # of a pass's work, acting in its own contact (RAIL_AND_CONTACT) [-]
    ("redeposition", f8),  # share of W, as an exponent, that each wheel lays down again [-]
    ("sand_friction", f8),  # friction gained under much sand [-]
    ("sand_scale", f8),  # sand for a share 1 - 1/e of that [kg/m]
    ("sand_retention", f8),  # share of the sand a wheel leaves on the rail [-]
    ("sand_limit", f8),  # no more sand lies on a metre of one rail [kg/m]
    ("stopping_point", f8),  # distance where the train ought to stand, infinite if none [m]
    ("blends_train", i8),  # 1: dynamic and air brake share the whole train's demand, 0: a vehicle's
    ("blends_emergency", i8),  # 1: in emergency, too
    ("friction_lag", f8),  # with which the air brake's demand follows the shortfall [s]
    ("blending_lead", f8),  # so much earlier than the dynamic brake needs it [s]
    ("prefill_pressure", f8),  # of a cylinder before the changeover [Pa]
    ("prefill_time", f8),  # before the fade begins [s]
)

LAW = record_type(
    ("kind", i8),
    ("n_speeds", i8),
    ("log_first", f8),  # logarithm of the first node after the origin
    ("nodes_per_log", f8),
    ("nodes", f8, (N_TABLE,)),  # normalised creepage
    ("values", f8, (N_TABLE,)),  # traction ratio F / (mu N)
    ("slopes", f8, (N_TABLE,)),
    ("speeds", f8, (N_CURVE_SPEEDS,)),  # [m/s]
    ("creepages", f8, (N_CURVE,)),
    ("curve", f8, (N_CURVE_SPEEDS * N_CURVE,)),  # adhesion over the curve's largest, row by row
    ("curve_slopes", f8, (N_CURVE_SPEEDS * N_CURVE,)),
    ("steepest_fall", f8),  # of the curve, over creepage [-]
)

SANDER = record_type(
    ("i_axle", i8),  # it sands the rails ahead of this axle
    ("mode", i8),  # FIXED_RATE or SPEED_PROPORTIONAL
    ("rate", f8),  # per rail; the largest where speed-proportional [kg/s]
    ("density", f8),  # aimed at on the rail where speed-proportional [kg/m]
    ("start_delay", f8),  # [s]
    ("run_on_time", f8),  # it sands on so long after the trigger is gone [s]
    ("least_demand", f8),  # share of the emergency demand below which it does not sand [-]
    ("placement", f8),  # share of the sand that comes to lie under the wheel [-]
    ("hopper", f8),  # sand per rail at the start [kg]
    ("train_wide", i8),  # 1: any vehicle's slide triggers it, 0: its own
)

AXLE = record_type(
    ("offset", f8),  # behind the train's front [m]
    ("mass_carried", f8),  # [kg]
    ("wheel_radius", f8),  # [m]
    ("rotating_mass", f8),  # J / r^2 [kg]
    ("wheel_load", f8),  # of one wheel at rest [N]
    ("contact_stiffness", f8),  # G a b C11 of one wheel at rest [N]
    ("brake_gain", f8),  # rim force per cylinder pressure at design friction [N/Pa]
    ("friction_kind", i8),  # DISC, CAST_IRON or COMPOSITE
    ("pad_share", f8),  # friction over design friction, cold, dry and slow [-]
    ("pad_speed_term", f8),  # change of that share per rim speed [s/m]
    ("pad_heat_term", f8),  # ... per degree above ambient [1/K]
    ("design_friction", f8),  # of the friction pair [-]
    ("n_blocks", i8),  # tread blocks on the axle
    ("heat_capacity", f8),  # of discs or treads [J/K]
    ("cooling", f8),  # at rest [W/K]
    ("cooling_speed_term", f8),  # [W s/(K m)]
    ("cylinder_volume", f8),  # of the axle [m3]
    ("hysteresis", f8),  # share by which its pressure may fall before its force does [-]
    ("shortest_pulse", f8),  # commands shorter than this do nothing [s]
    ("transducer_gain", f8),  # shown over true cylinder pressure [-]
    ("transducer_offset", f8),  # shown without pressure [Pa]
    ("transducer_share", f8),  # of a change that shows at the next sample [-]
    ("pulse_pitch", f8),  # rim travel between two pulses [m]
    ("pulses_per_metre", f8),  # one over that [1/m]
    ("assumed_pitch", f8),  # what the equipment believes it to be [m]
    ("pitch_error", f8),  # once a turn, amplitude [m]
    ("turns_per_metre", f8),  # of the wheel [1/m]
    ("pitch_phase", f8),  # where in the turn the error stands as the stop begins, from 0 to 1 [-]
    ("jitter", f8),  # of each pulse, standard deviation [m]
    ("dropout", f8),  # share of pulses lost [-]
    ("dropout_burst", i8),  # most pulses lost one after the other
    ("fill_delay", f8),  # command to effect [s]
    ("vent_delay", f8),  # also for hold [s]
    ("i_group", i8),
    ("i_vehicle", i8),
    ("i_bogie", i8),
    ("i_drive", i8),  # of its motor, -1 none
    ("drive_gain", f8),  # its rim force over that of a rim of the drive's own radius [-]
)

DRIVE = record_type(  # one dynamic brake: forces and powers of one axle, at a rim of its own radius
    ("i_vehicle", i8),
    ("i_group", i8),
    ("first_axle", i8),
    ("last_axle", i8),  # of those in between, it feeds the ones that say so
    ("n_axles", i8),
    ("radius", f8),  # [m]
    ("force_limit", f8),  # [N]
    ("power_limit", f8),  # [W]
    ("field_speed", f8),  # infinite where there is none [m/s]
    ("fade_from", f8),  # [m/s]
    ("fade_to", f8),  # [m/s]
    ("dead_time", f8),  # [s]
    ("lag", f8),  # [s]
    ("force_rate", f8),  # of what is asked, by the jerk limit [N/s]
    ("receptivity", f8),  # of the line [-]
    ("resistor_power", f8),  # [W]
    ("share", f8),  # of an axle in what is asked of the vehicle's, or the train's, drives [-]
    ("slide_rule", i8),
    ("slide_slip", f8),  # [-]
    ("slide_speed", f8),  # [m/s]
    ("reduction", f8),  # [-]
    ("restore_rate", f8),  # [1/s]
    ("slides_to_cut_out", i8),  # 0: never
    ("hand_back_time", f8),  # [s]
    ("sample_time", f8),  # [s]
)

MAGNET = record_type(  # the track brakes of one bogie, one magnet over each rail
    ("i_vehicle", i8),
    ("kind", i8),
    ("offset", f8),  # behind the train's front [m]
    ("attraction", f8),  # of one magnet [N]
    ("friction", f8),  # dry, near standstill [-]
    ("friction_speed_term", f8),  # [s/m]
    ("film_factor", f8),  # [-]
    ("cleaning_share", f8),  # [-]
    ("peak_force", f8),  # of one magnet [N]
    ("critical_speed", f8),  # [m/s]
    ("lowering_time", f8),  # [s]
    ("least_position", i8),  # of the handle
    ("lowest_speed", f8),  # [m/s]
)

VEHICLE = record_type(
    ("first_axle", i8),
    ("n_axles", i8),
    ("load_factor", f8),  # demanded pressure over that of the laden vehicle [-]
    ("tare_factor", f8),
    ("laden_factor", f8),
    ("body_mass", f8),  # [kg]
    ("bogie_mass", f8),  # [kg]
    ("bogie_spacing", f8),  # first to last centre, 0 for a single bogie [m]
    ("wheelbase", f8),  # of a bogie [m]
    ("body_height", f8),  # centre of gravity above the rail [m]
    ("pivot_height", f8),  # where body and bogie push each other, above the rail [m]
    ("compressor_flow", f8),  # [kg/s]
    ("auxiliary_flow", f8),  # [kg/s]
    ("main_volume", f8),  # of its part of the main pipe, main reservoirs included [m3]
    ("demand_force", f8),  # of all its rims at emergency demand, laden [N]
    ("air_force", f8),  # what its air brake gives then, by design [N]
    ("n_drives", i8),
    ("demand_share", f8),  # what it makes of the driver's demand [-]
    ("emergency_share", f8),  # its own emergency demand over the train's [-]
    ("further_delay", f8),  # by which it gets that later than the train's brake says [s]
)

FAULT = record_type(
    ("kind", i8),
    ("i_target", i8),  # axle, vehicle, sander or wire
    ("trigger", i8),
    ("value", f8),  # of the trigger
    ("amount", f8),  # noise [m], first vehicle behind the broken wire, or share lost [-]
)

PRESS = record_type(("trigger", i8), ("value", f8))

DRIVER = record_type(
    ("kind", i8),
    ("reaction_time", f8),  # [s]
    ("calm_time", f8),  # without activity before braking harder again [s]
    ("eased_position", i8),
    ("full_position", i8),
    ("n_seen_axles", i8),  # of the leading bogie
    ("n_heard_axles", i8),  # of the leading bogie
    ("pressure_drop", f8),  # share of the gauge's pressure that shows activity [-]
)

CELL = record_type(
    ("friction", f8),  # uncleaned, static [-]
    ("recovered_friction", f8),  # wholly cleaned [-]
    ("cleaning_work", f8),  # W0 [J/m]
    ("cleaning_exponent", f8),  # p [-]
    ("friction_ratio", f8),  # A [-]
    ("friction_decay", f8),  # B [s/m]
    ("adhesion_reduction", f8),  # kA [-]
    ("slip_reduction", f8),  # kS [-]
)

GROUP = record_type(  # axles under one controller: a vehicle, or the whole train
    ("first_axle", i8),
    ("n_axles", i8),
    ("sample_time", f8),  # [s]
    ("phase", f8),  # first sample [s]
    ("lookahead", f8),  # before this long after a sample its commands cannot act [s]
    ("is_ideal", i8),  # 1: brake torque follows the demand factor at once, no valves
    ("sees_truth", i8),  # 1: the truth columns of the observation are filled
    ("commands_dynamic", i8),  # 1: its command has a column for the dynamic brake
)

HANDLE = record_type(
    ("trigger", i8),  # AT_TIME, AT_SPEED, AT_DISTANCE or AFTER
    ("value", f8),  # [s], [m/s] or [m]
    ("position", i8),
    ("level", f8),  # of a continuous controller, else below zero [-]
)
