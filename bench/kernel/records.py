"""The records that the kernel works on: what is fixed for a stop, and what moves.

Everything is SI. `World` bundles them; the kernel's functions change only the `*_state` parts.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np

QUEUE_LENGTH = 16
"""Valve commands on their way, or samples not yet taken, at once (delay over sample time + 1)."""

N_LANES = 16
"""Axles moved together at most."""

AT_TIME, AT_SPEED, AT_DISTANCE, AFTER = 0, 1, 2, 3
"""What releases an entry of the handle programme; `AFTER` counts from the entry before."""

RUNNING, STOPPED, TOO_FAR, TOO_LONG, BROKEN, TOO_MANY_PIECES = 0, 1, 2, 3, 4, 5
"""How a stop stands or ended."""

MOST_STEP_PIECES = 20_000
"""No axle needs so many pieces of time for one step; a step that takes them ends the stop."""

POLACH, TRACTION_TABLE, MEASURED_CURVE = 0, 1, 2
"""How the creep law is evaluated."""

N_TABLE = 401
"""Nodes of a traction table: the origin and 400 on a logarithmic grid."""

N_CURVE_SPEEDS, N_CURVE = 8, 241
"""Most train speeds of a measured curve, and its nodes of creepage."""

RAIL_MEMORY, CONTACT_ONLY, RAIL_AND_CONTACT = 0, 1, 2
"""Cleaning laws: the rail remembers for the wheels behind; the contact cleans only itself; both."""

FIXED_RATE, SPEED_PROPORTIONAL = 0, 1
"""How a sander doses."""

DISC, CAST_IRON, COMPOSITE = 0, 1, 2
"""Kinds of friction pair."""

RAMPS, FLOW = 0, 1
"""How cylinder pressure moves: at given rates, or by ISO 6358 flow from a reservoir."""

(
    SENSOR_DEAD,
    SENSOR_STUCK,
    SENSOR_NOISY,
    VALVE_STUCK_FILL,
    VALVE_STUCK_HOLD,
    VALVE_STUCK_VENT,
    VENT_BLOCKED,
    CONTROLLER_DEAD,
    SUPPLY_ISOLATED,
    LOAD_TARE,
    LOAD_CRUSH,
    SANDER_EMPTY,
    CAR_UNBRAKED,
    CONTROL_SUPPLY_LOST,
    CONTROL_WIRE_BROKEN,
    DYNAMIC_LOST,
    TRACK_LOST,
    LINE_LOST,
) = range(18)
"""Kinds of fault."""

SLIDE_RESTORE, SLIDE_CUT_OUT, SLIDE_HAND_OVER = 0, 1, 2
"""What a drive's own slip control does on a slide."""

MAGNETIC, EDDY_CURRENT = 0, 1
"""Kinds of track brake."""

HOLD_PROGRAMME, EASE_ON_ACTIVITY = 0, 1
"""What the driver does beyond the handle programme: nothing, or ease when wheels slide."""

JERK_TIME = 0.5
"""Acceleration is smoothed over this before its rate of change is taken (assumed). [s]"""

PITCH_TIME = 0.25
"""Body and bogie pitch follow the train's acceleration with this time constant (assumed). [s]"""

N_LOCK_LOG = 4000
"""Locks kept in the log; more are counted only."""

N_LOCK_TRAIL = 20000
"""Samples of all locks together; a lock that finds no room keeps its start, its end and what it had
until then."""

FAST_FALL, NEAR_LOCK = 3.0, 0.2
"""A rim that slows faster than any train is about to lock [m/s2], and then does this much [m/s]."""

FIRST_TRAIL, TRAIL_GROWTH = 0.001, 1.15
"""A running lock is sampled after this time, and then whenever it has grown by this factor. [s]

Its peak temperature comes some 10 to 20 ms into the lock.
"""

CROWDED_TRAIL, CROWDED_GROWTH = 0.7, 1.5
"""From this share of the trail on samples are spared: a lock has to grow by this factor."""

SPEEDOMETER_TOLERANCE = 2.2352
"""The cab's speedometer counts as wrong when it is off by more: five miles an hour (assumed).
[m/s]"""

SLIDE_SIGNAL = 0
"""Column of the signals on which sanders trigger."""

SENSOR = (
    *("rim_travel", "next_pulse", "n_pulses"),
    *("pulse_time", "sampled_pulse_time", "measured_speed"),
    *("pulse_shift", "deviate"),
)
"""What the state of a sensor is that loses no pulse meanwhile."""

TEETH = (
    *("pulse_pitch", "pulses_per_metre", "assumed_pitch"),
    *("pitch_error", "turns_per_metre", "pitch_phase"),
)
"""What its toothed wheel is like."""

ADHESION_WORKS = ("used", "usable", "excess", "driven", "inertia", "demanded", "peak", "load")
"""Works of the rail force, its parts and its bounds over distance, axle by axle."""

_f, _i = np.float64, np.int64


def _record(*fields: tuple[Any, ...]) -> np.dtype[np.void]:
    return np.dtype(list(fields), align=True)


RUN = _record(
    ("maximum_step", _f),  # [s]
    ("maximum_distance", _f),  # [m]
    ("maximum_time", _f),  # [s]
    ("trace_interval", _f),  # [s]
    ("locked_wheel_speed", _f),  # rim speed below which a wheel counts as locked [m/s]
    ("locked_train_speed", _f),  # ... while the train does more than this [m/s]
    ("sliding_creepage", _f),  # creepage above which a wheel counts as sliding [-]
    ("sliding_slip_speed", _f),  # ... with at least this slip speed [m/s]
    ("dragged_wheel_speed", _f),  # rim speed below which a turning wheel counts as dragged [m/s]
    ("maximum_pieces", _i),  # of time, all axles together: a stop that takes more is given up
)

TRAIN = _record(
    ("mass", _f),  # without the rotating part [kg]
    ("resistance_constant", _f),  # [m/s2]
    ("resistance_linear", _f),  # [1/s]
    ("resistance_quadratic", _f),  # [1/m]
    ("n_steps", _i),  # service steps of the handle; emergency is n_steps + 1
    ("demand_delay", _f),  # handle to first pressure [s]
    ("build_up_time", _f),  # linear ramp to a higher demand [s]
    ("release_time", _f),  # linear ramp to a lower demand [s]
    ("fill_rate", _f),  # cylinder pressure, upper limit [Pa/s]
    ("vent_rate", _f),  # [Pa/s]
    ("demand_factor_limit", _f),  # [-]
    ("full_pressure", _f),  # at emergency demand, laden [Pa]
    ("spring_pressure", _f),  # below it a cylinder presses nothing [Pa]
    ("air_model", _i),  # RAMPS or FLOW
    ("fill_conductance", _f),  # sonic, reservoir to cylinder [m3/(s Pa)]
    ("release_conductance", _f),  # through the brake control, cylinder to atmosphere
    ("vent_conductance", _f),  # through the slip control's valve, cylinder to atmosphere
    ("charging_conductance", _f),  # main pipe to reservoir
    ("critical_ratio", _f),  # ISO 6358 b [-]
    ("reservoir_volume", _f),  # of each vehicle [m3]
    ("reservoir_pressure", _f),  # gauge, full [Pa]
    ("pipe_pressure", _f),  # gauge, what charges the reservoirs at most [Pa]
    ("has_main", _i),  # 1: main reservoirs and pipe are modelled, 0: held at that pressure
    ("main_pressure", _f),  # gauge, of main reservoirs and pipe at the start [Pa]
    ("cut_in", _f),  # of the compressors, gauge [Pa]
    ("cut_out", _f),
    ("pipe_conductance", _f),  # of the main pipe from vehicle to vehicle [m3/(s Pa)]
    ("vent_limit", _f),  # longest unbroken vent before the brake is restored [s]
    ("cut_out_speed", _f),  # reference speed below which valves are left in fill [m/s]
    ("cut_out_hysteresis", _f),  # above that they are freed again so much higher [m/s]
    (
        "shares_speed",
        _i,
    ),  # 1: the reference is of the train's fastest wheel, 0: the vehicle's
    ("emergency_deceleration", _f),  # [m/s2]
    ("valve_per_bogie", _i),  # 1: one valve for both axles of a bogie
    ("isolation_time", _f),  # one press of the isolation button [s]
    ("ambient", _f),  # [deg C]
    ("clock_tick", _f),  # resolution of pulse times [s]
    ("clock_rate", _f),  # one over that, zero for an exact clock [1/s]
    ("zero_timeout", _f),  # no pulse for so long: measured zero [s]
    ("has_pressure_transducer", _i),  # else the controllers see no cylinder pressure
    ("cell_length", _f),  # [m]
    ("rail_start", _f),  # distance where cell 0 begins, negative [m]
    ("room", _f),  # smallest axle spacing less a cell: axles that run less move together [m]
    ("locked_cleaning_share", _f),  # cleaning efficiency at creepage one [-]
    ("full_cleaning_slip", _f),  # creepage up to which cleaning is full [-]
    ("cleaning_law", _i),  # RAIL_MEMORY, CONTACT_ONLY or RAIL_AND_CONTACT
    ("contact_share", _f),  # of a pass's work, acting in its own contact (RAIL_AND_CONTACT) [-]
    ("redeposition", _f),  # share of W, as an exponent, that each wheel lays down again [-]
    ("sand_friction", _f),  # friction gained under much sand [-]
    ("sand_scale", _f),  # sand for a share 1 - 1/e of that [kg/m]
    ("sand_retention", _f),  # share of the sand a wheel leaves on the rail [-]
    ("sand_limit", _f),  # no more sand lies on a metre of one rail [kg/m]
    ("stopping_point", _f),  # distance where the train ought to stand, infinite if none [m]
    ("blends_train", _i),  # 1: dynamic and air brake share the whole train's demand, 0: a vehicle's
    ("blends_emergency", _i),  # 1: in emergency, too
    ("friction_lag", _f),  # with which the air brake's demand follows the shortfall [s]
    ("blending_lead", _f),  # so much earlier than the dynamic brake needs it [s]
    ("prefill_pressure", _f),  # of a cylinder before the changeover [Pa]
    ("prefill_time", _f),  # before the fade begins [s]
)

LAW = _record(
    ("kind", _i),
    ("n_speeds", _i),
    ("log_first", _f),  # logarithm of the first node after the origin
    ("nodes_per_log", _f),
    ("nodes", _f, (N_TABLE,)),  # normalised creepage
    ("values", _f, (N_TABLE,)),  # traction ratio F / (mu N)
    ("slopes", _f, (N_TABLE,)),
    ("speeds", _f, (N_CURVE_SPEEDS,)),  # [m/s]
    ("creepages", _f, (N_CURVE,)),
    ("curve", _f, (N_CURVE_SPEEDS * N_CURVE,)),  # adhesion over the curve's largest, row by row
    ("curve_slopes", _f, (N_CURVE_SPEEDS * N_CURVE,)),
    ("steepest_fall", _f),  # of the curve, over creepage [-]
)

SANDER = _record(
    ("i_axle", _i),  # it sands the rails ahead of this axle
    ("mode", _i),  # FIXED_RATE or SPEED_PROPORTIONAL
    ("rate", _f),  # per rail; the largest where speed-proportional [kg/s]
    ("density", _f),  # aimed at on the rail where speed-proportional [kg/m]
    ("start_delay", _f),  # [s]
    ("run_on_time", _f),  # it sands on so long after the trigger is gone [s]
    ("least_demand", _f),  # share of the emergency demand below which it does not sand [-]
    ("placement", _f),  # share of the sand that comes to lie under the wheel [-]
    ("hopper", _f),  # sand per rail at the start [kg]
    ("train_wide", _i),  # 1: any vehicle's slide triggers it, 0: its own
)

SANDER_STATE = _record(
    ("is_triggered", _i),
    ("triggered_since", _f),  # [s]
    ("last_trigger", _f),  # [s]
    ("hopper", _f),  # sand left per rail [kg]
    ("falling", _f),  # rate now [kg/s]
    ("pending", _f),  # fallen on the cell ahead, not yet entered [kg]
    ("first_sand", _f),  # time of the first grain, negative before [s]
)

AXLE = _record(
    ("offset", _f),  # behind the train's front [m]
    ("mass_carried", _f),  # [kg]
    ("wheel_radius", _f),  # [m]
    ("rotating_mass", _f),  # J / r^2 [kg]
    ("wheel_load", _f),  # of one wheel at rest [N]
    ("contact_stiffness", _f),  # G a b C11 of one wheel at rest [N]
    ("brake_gain", _f),  # rim force per cylinder pressure at design friction [N/Pa]
    ("friction_kind", _i),  # DISC, CAST_IRON or COMPOSITE
    ("pad_share", _f),  # friction over design friction, cold, dry and slow [-]
    ("pad_speed_term", _f),  # change of that share per rim speed [s/m]
    ("pad_heat_term", _f),  # ... per degree above ambient [1/K]
    ("design_friction", _f),  # of the friction pair [-]
    ("n_blocks", _i),  # tread blocks on the axle
    ("heat_capacity", _f),  # of discs or treads [J/K]
    ("cooling", _f),  # at rest [W/K]
    ("cooling_speed_term", _f),  # [W s/(K m)]
    ("cylinder_volume", _f),  # of the axle [m3]
    ("hysteresis", _f),  # share by which its pressure may fall before its force does [-]
    ("shortest_pulse", _f),  # commands shorter than this do nothing [s]
    ("transducer_gain", _f),  # shown over true cylinder pressure [-]
    ("transducer_offset", _f),  # shown without pressure [Pa]
    ("transducer_share", _f),  # of a change that shows at the next sample [-]
    ("pulse_pitch", _f),  # rim travel between two pulses [m]
    ("pulses_per_metre", _f),  # one over that [1/m]
    ("assumed_pitch", _f),  # what the equipment believes it to be [m]
    ("pitch_error", _f),  # once a turn, amplitude [m]
    ("turns_per_metre", _f),  # of the wheel [1/m]
    ("pitch_phase", _f),  # where in the turn the error stands as the stop begins, from 0 to 1 [-]
    ("jitter", _f),  # of each pulse, standard deviation [m]
    ("dropout", _f),  # share of pulses lost [-]
    ("dropout_burst", _i),  # most pulses lost one after the other
    ("fill_delay", _f),  # command to effect [s]
    ("vent_delay", _f),  # also for hold [s]
    ("i_group", _i),
    ("i_vehicle", _i),
    ("i_bogie", _i),
    ("i_drive", _i),  # of its motor, -1 none
    ("drive_gain", _f),  # its rim force over that of a rim of the drive's own radius [-]
)

DRIVE = _record(  # one dynamic brake: forces and powers of one axle, at a rim of its own radius
    ("i_vehicle", _i),
    ("i_group", _i),
    ("first_axle", _i),
    ("last_axle", _i),  # of those in between, it feeds the ones that say so
    ("n_axles", _i),
    ("radius", _f),  # [m]
    ("force_limit", _f),  # [N]
    ("power_limit", _f),  # [W]
    ("field_speed", _f),  # infinite where there is none [m/s]
    ("fade_from", _f),  # [m/s]
    ("fade_to", _f),  # [m/s]
    ("lag", _f),  # [s]
    ("force_rate", _f),  # of what is asked, by the jerk limit [N/s]
    ("receptivity", _f),  # of the line [-]
    ("resistor_power", _f),  # [W]
    ("share", _f),  # of an axle in what is asked of the vehicle's, or the train's, drives [-]
    ("slide_rule", _i),
    ("slide_slip", _f),  # [-]
    ("slide_speed", _f),  # [m/s]
    ("reduction", _f),  # [-]
    ("restore_rate", _f),  # [1/s]
    ("slides_to_cut_out", _i),  # 0: never
    ("hand_back_time", _f),  # [s]
    ("sample_time", _f),  # [s]
)

DRIVE_STATE = _record(
    ("asked", _f),  # of an axle, by the jerk limit [N]
    ("command", _f),  # ... and the lag [N]
    ("command_after", _f),  # as the step now being taken ends [N]
    ("factor", _f),  # what slip control leaves of it [-]
    ("factor_acting", _f),  # ... after the lag [-]
    ("factor_after", _f),
    ("force", _f),  # that it would give without slip control, as the step begins [N]
    ("force_after", _f),  # ... and ends
    ("line_share", _f),  # of its power that the line takes in this step [-]
    ("commanded", _f),  # factor of a strategy that commands it [-]
    ("n_samples", _i),
    ("is_lost", _i),
    ("is_out", _i),  # until the brake is released
    ("is_handed", _i),  # over to friction
    ("is_sliding", _i),
    ("n_deep", _i),  # looks on end that saw a slide
    ("n_slides", _i),
    ("reduced_time", _f),  # when it was last reduced [s]
    ("quiet_time", _f),  # without a slide [s]
    ("out_time", _f),  # when it was first cut out or handed over [s]
    ("out_speed", _f),  # train speed then, zero if it never was [m/s]
    ("booked", _f),  # energy of its axles so far [J]
    ("recovered", _f),  # ... into the line [J]
    ("resistor", _f),  # ... into resistors [J]
)

MAGNET = _record(  # the track brakes of one bogie, one magnet over each rail
    ("i_vehicle", _i),
    ("kind", _i),
    ("offset", _f),  # behind the train's front [m]
    ("attraction", _f),  # of one magnet [N]
    ("friction", _f),  # dry, near standstill [-]
    ("friction_speed_term", _f),  # [s/m]
    ("film_factor", _f),  # [-]
    ("cleaning_share", _f),  # [-]
    ("peak_force", _f),  # of one magnet [N]
    ("critical_speed", _f),  # [m/s]
    ("lowering_time", _f),  # [s]
    ("least_position", _i),  # of the handle
    ("lowest_speed", _f),  # [m/s]
)

MAGNET_STATE = _record(
    ("applied_time", _f),  # negative while it is not [s]
    ("is_acting", _i),
    ("i_cell", _i),  # the cell it is over, -1 before the first
    ("film", _f),  # factor met there [-]
    ("cleaning_energy", _f),  # on one rail [J]
    ("work", _f),  # of both magnets [J]
)

VEHICLE = _record(
    ("first_axle", _i),
    ("n_axles", _i),
    ("load_factor", _f),  # demanded pressure over that of the laden vehicle [-]
    ("tare_factor", _f),
    ("laden_factor", _f),
    ("body_mass", _f),  # [kg]
    ("bogie_mass", _f),  # [kg]
    ("bogie_spacing", _f),  # first to last centre, 0 for a single bogie [m]
    ("wheelbase", _f),  # of a bogie [m]
    ("body_height", _f),  # centre of gravity above the rail [m]
    ("pivot_height", _f),  # where body and bogie push each other, above the rail [m]
    ("compressor_flow", _f),  # [kg/s]
    ("auxiliary_flow", _f),  # [kg/s]
    ("main_volume", _f),  # of its part of the main pipe, main reservoirs included [m3]
    ("demand_force", _f),  # of all its rims at emergency demand, laden [N]
    ("air_force", _f),  # what its air brake gives then, by design [N]
    ("n_drives", _i),
    ("demand_share", _f),  # what it makes of the driver's demand [-]
    ("further_delay", _f),  # by which it gets that later than the train's brake says [s]
)

FAULT = _record(
    ("kind", _i),
    ("i_target", _i),  # axle, vehicle, sander or wire
    ("trigger", _i),
    ("value", _f),  # of the trigger
    ("amount", _f),  # noise [m], first vehicle behind the broken wire, or share lost [-]
)

PRESS = _record(("trigger", _i), ("value", _f))

DRIVER = _record(
    ("kind", _i),
    ("reaction_time", _f),  # [s]
    ("calm_time", _f),  # without activity before braking harder again [s]
    ("eased_position", _i),
    ("full_position", _i),
    ("n_seen_axles", _i),  # of the leading bogie
    ("n_heard_axles", _i),  # of the leading bogie
    ("pressure_drop", _f),  # share of the gauge's pressure that shows activity [-]
)

CELL = _record(
    ("friction", _f),  # uncleaned, static [-]
    ("recovered_friction", _f),  # wholly cleaned [-]
    ("cleaning_work", _f),  # W0 [J/m]
    ("cleaning_exponent", _f),  # p [-]
    ("friction_ratio", _f),  # A [-]
    ("friction_decay", _f),  # B [s/m]
    ("adhesion_reduction", _f),  # kA [-]
    ("slip_reduction", _f),  # kS [-]
)

GROUP = _record(  # axles under one controller: a vehicle, or the whole train
    ("first_axle", _i),
    ("n_axles", _i),
    ("sample_time", _f),  # [s]
    ("phase", _f),  # first sample [s]
    ("lookahead", _f),  # before this long after a sample its commands cannot act [s]
    ("is_ideal", _i),  # 1: brake torque follows the demand factor at once, no valves
    ("sees_truth", _i),  # 1: the truth columns of the observation are filled
    ("commands_dynamic", _i),  # 1: its command has a column for the dynamic brake
)

HANDLE = _record(
    ("trigger", _i),  # AT_TIME, AT_SPEED, AT_DISTANCE or AFTER
    ("value", _f),  # [s], [m/s] or [m]
    ("position", _i),
    ("level", _f),  # of a continuous controller, else below zero [-]
)

TRAIN_STATE = _record(
    ("time", _f),
    ("distance", _f),
    ("speed", _f),
    ("acceleration", _f),  # mean over the last step [m/s2]
    ("demand", _f),  # mean of the vehicles' demands now acting [-]
    ("position", _i),  # of the handle, before any delay
    ("level", _f),  # of a continuous controller, else below zero [-]
    ("acting_position", _i),  # after the delay
    ("acting_level", _f),
    ("isolated_until", _f),  # slip control is out until then [s]
    ("n_pressed", _i),  # presses of the programme that have happened
    ("n_ignored_presses", _i),
    ("has_supply", _i),  # the brake's electrical control supply
    ("eased_since", _f),  # driver: when it eased, negative while not [s]
    ("activity_since", _f),  # driver: first activity noticed, negative while none [s]
    ("activity_last", _f),  # driver: last activity noticed [s]
    ("driver_position", _i),  # what the driver is about to select, -1 none
    ("driver_effective", _f),  # when that acts [s]
    ("n_eased", _i),
    ("next_look", _f),  # driver: looks at the cab [s]
    ("n_handled", _i),  # entries of the programme that have acted
    ("handled_time", _f),  # when the last of them did [s]
    ("brake_start", _f),  # place where the handle first left release, negative before [m]
    ("n_effective", _i),  # ... and whose delay has run out
    ("status", _i),
    # the step now being taken, see slipbench.kernel.step
    ("is_in_step", _i),
    ("step_duration", _f),  # [s]
    ("i_group", _i),  # controller whose axles are being moved
    ("elapsed", _f),  # how far into the step they are [s]
    ("is_together", _i),  # all axles are moved at once: no controller's command acts in the step
    ("clock", _f),  # time of the sample now being taken [s]
    ("impulse", _f),  # of the rail forces of the axles moved so far [N s]
    ("n_steps", _i),
    ("n_axle_steps", _i),  # pieces of time, all axles together
    ("most_pieces", _i),  # the step now being taken may bring them to
    ("pause_at", _i),  # pieces at which the time loop hands back to its caller
    ("resistance_work", _f),  # [J]
    ("gradient_work", _f),  # [J]
    ("next_trace", _f),  # [s]
    ("n_traces", _i),
    ("n_locks", _i),  # in the log and beyond
    ("pitch_acceleration", _f),  # what the bodies' pitch has followed so far [m/s2]
    ("filtered_acceleration", _f),  # over JERK_TIME [m/s2]
    ("largest_jerk", _f),  # [m/s3]
    ("final_jerk", _f),  # largest below 5 m/s, the jolt of the stop itself left out [m/s3]
    ("stop_jerk", _f),  # that jolt: the deceleration at standstill gone over JERK_TIME [m/s3]
    ("curve_work", _f),  # [J]
    ("jerk_time", _f),  # when the largest jerk was [s]
    ("jerk_speed", _f),  # [m/s]
    ("final_jerk_time", _f),  # when the largest jerk below 5 m/s was [s]
    ("final_jerk_speed", _f),  # [m/s]
    ("n_trail", _i),  # rows of the lock trail
    ("n_unsampled", _i),  # locks that found no room in it for all their samples
    ("unsampled_time", _f),  # when the first of them found none [s]
    ("unsampled_speed", _f),  # train speed then [m/s]
    ("point_time", _f),  # when the train passed its stopping point [s]
    ("point_speed", _f),  # ... and how fast, zero if it has not [m/s]
    ("emergency_time", _f),  # with the handle in emergency [s]
    ("emergency_start_time", _f),  # [s]
    ("emergency_start_speed", _f),  # [m/s]
    ("emergency_eased_time", _f),  # when it was left again under way, zero if it was not [s]
    ("emergency_eased_speed", _f),  # [m/s]
    ("isolated_time", _f),  # with slip control isolated by the button [s]
    ("isolation_start_time", _f),  # [s]
    ("isolation_start_speed", _f),  # [m/s]
    ("isolated_locked_time", _f),  # locked meanwhile, summed over axles [s]
    ("isolated_locked_distance", _f),  # [m]
    ("speedometer_error", _f),  # shown less true speed where its size was largest [m/s]
    ("speedometer_error_time", _f),  # [s]
    ("speedometer_error_speed", _f),  # true speed then [m/s]
    ("speedometer_wrong_time", _f),  # off by more than SPEEDOMETER_TOLERANCE [s]
    ("line_share", _f),  # what is left of the line's receptivity [-]
    ("track_force", _f),  # of all track brakes in this step [N]
    ("track_work", _f),  # [J]
)

VEHICLE_STATE = _record(
    ("demand", _f),  # share of the emergency demand now acting [-]
    ("demand_rate", _f),  # [1/s]
    ("demand_target", _f),
    ("ramp_end", _f),  # [s]
    ("load_factor", _f),  # now believed [-]
    ("is_unbraked", _i),
    ("is_dead", _i),  # its slip control computer
    ("is_isolated", _i),  # its reservoir from the main pipe
    ("lost_wires", _i),  # bit mask
    ("reservoir", _f),  # gauge pressure [Pa]
    ("lowest_reservoir", _f),
    ("charged_mass", _f),  # into the reservoir [kg]
    ("drawn_mass", _f),  # out of it into cylinders [kg]
    ("flow", _f),  # drawn in this step [kg]
    ("lowest_reservoir_time", _f),  # [s]
    ("lowest_reservoir_speed", _f),  # [m/s]
    ("main", _f),  # gauge pressure of its part of the main pipe [Pa]
    ("lowest_main", _f),
    ("is_pumping", _i),
    ("compressed_mass", _f),  # into the main pipe [kg]
    ("consumed_mass", _f),  # by auxiliaries [kg]
    # blending, see slipbench.kernel.blending
    ("air_demand", _f),  # what is left of the demand for the air brake [-]
    ("air_rate", _f),  # [1/s]
    ("is_prefilled", _i),
    ("coming", _f),  # demand received and perhaps still on its way [-]
    ("coming_time", _f),  # when it is there [s]
    ("is_track_lost", _i),  # its track brakes
)

AXLE_STATE = _record(
    ("wheel_speed", _f),
    ("wheel_load", _f),  # of one wheel, with load transfer [N]
    ("contact_stiffness", _f),  # at that load [N]
    ("is_locked", _i),
    ("pressure", _f),
    ("clamp", _f),  # pressure that acts on pads or blocks, see slipbench.kernel.cylinder [Pa]
    ("brake_force", _f),  # at the rim, as the last step ended [N]
    ("rail_force", _f),  # of both wheels, as the last step ended [N]
    ("curve_slip", _f),  # slip speed where the creep curve was evaluated last [m/s]
    ("curve_force", _f),  # ... and what it gave [N]
    ("curve_slope", _f),  # [N s/m]
    ("valve", _i),
    ("demand_factor", _f),
    ("queue_time", _f, (QUEUE_LENGTH,)),
    ("queue_sent", _f, (QUEUE_LENGTH,)),
    ("queue_valve", _i, (QUEUE_LENGTH,)),
    ("queue_factor", _f, (QUEUE_LENGTH,)),
    ("queue_head", _i),
    ("queue_count", _i),
    ("vent_time", _f),  # brake without force so far; once overruled, filled so far [s]
    ("is_restored", _i),  # the vent limit has overruled the controller
    ("n_restored", _i),
    ("valve_fault", _i),  # -1, or the valve's stuck position
    ("is_vent_blocked", _i),
    ("vented_mass", _f),  # to atmosphere through the slip control's valve [kg]
    ("released_mass", _f),  # ... through the brake control [kg]
    ("filled_mass", _f),  # [kg]
    ("temperature", _f),  # of discs or treads [deg C]
    ("hottest", _f),
    ("wheel_acceleration", _f),  # over the last piece [m/s2]
    ("elapsed", _f),  # how far into the step it has been moved [s]
    # the cell it stands in
    ("i_cell", _i),
    ("to_border", _f),  # [m]
    ("cell_energy", _f),  # cleaning energy of one wheel collected here, not yet on the rail [J]
    ("friction", _f),
    ("friction_ratio", _f),
    ("friction_decay", _f),
    ("adhesion_reduction", _f),
    ("slip_reduction", _f),
    ("peak_ratio", _f),  # peak of the creep curve over load and friction [-]
    ("peak_creepage", _f),
    ("peak_speed", _f),  # train speed for which the peak was last found [m/s]
    ("peak_friction", _f),  # ... and friction [-]
    ("peak_bend", _f),  # of the curve there, zero where it is not to be followed [-]
    ("locked_share", _f),  # force of a locked wheel over the peak's when that was searched for [-]
    ("found_speed", _f),  # train speed for which the peak was last searched for [m/s]
    ("found_friction", _f),  # ... and friction [-]
    # what its sensor has seen
    ("rim_travel", _f),  # [m]
    ("next_pulse", _f),  # rim travel of the next pulse [m]
    ("n_pulses", _f),  # since the last sample
    ("pulse_time", _f),  # latest pulse [s]
    ("sampled_pulse_time", _f),  # latest pulse the last sample knew, by its clock [s]
    ("measured_speed", _f),
    ("n_sensed", _i),  # samples of its controller it has been moved past
    ("sensed_speed", _f, (QUEUE_LENGTH,)),  # what they found, the oldest overwritten [m/s]
    ("sensed_pressure", _f, (QUEUE_LENGTH,)),  # [Pa]
    ("shown_pressure", _f),  # what a slow transducer has followed so far [Pa]
    ("pulse_shift", _f),  # how late the latest pulse of the last sample was seen [s]
    ("deviate", _f),  # of the next pulse that counts, over the standard deviation [-]
    ("until_lost", _f),  # pulses yet to be seen before one is lost, infinite where none is [-]
    ("n_losing", _i),  # pulses then lost one after the other
    ("noise_state", _i),
    ("noise", _f),  # extra jitter by fault [m]
    ("sensor_fault", _i),  # 0, SENSOR_DEAD + 1 or SENSOR_STUCK + 1
    # tallies
    ("locked_time", _f),
    ("lock_duration", _f),  # of the lock now running [s]
    ("longest_lock", _f),
    ("longest_lock_speed", _f),  # train speed where it began [m/s]
    ("lock_start_speed", _f),
    ("n_locks", _i),
    ("i_lock", _i),  # row of the lock now running, -1 none
    ("locked_distance", _f),
    ("sliding_time", _f),
    ("sliding_distance", _f),
    ("contact_energy", _f),  # both wheels [J]
    ("locked_energy", _f),  # ... while locked [J]
    ("brake_energy", _f),  # of its friction brake [J]
    ("redeposited", _f),  # W laid down again behind this axle, times cell length [J]
    ("cleaning_energy", _f),  # one wheel, after the efficiency [J]
    # works over distance while demanded; braking force: rail force and what the wheel's own
    # momentum gives as the train slows, m_rot |dv/dt|
    ("used_work", _f),  # braking force up to the usable one [J]
    ("usable_work", _f),  # min(peak and momentum's part, demand) [J]
    ("excess_work", _f),  # braking force above the usable one: wheels spinning up [J]
    ("driven_work", _f),  # braking force below zero, sign turned: the rail drives the wheel [J]
    ("inertia_work", _f),  # momentum's part [J]
    ("demanded_work", _f),  # demanded rim force net of wheel inertia over distance [J]
    ("peak_work", _f),  # peak of the creep curve met over distance, brakes applied [J]
    ("load_work", _f),  # axle load over that distance [J]
    ("vent_count", _i),
    ("short_pulses", _i),  # changes of the valve's command too short to act
    ("lock_start_time", _f),  # [s]
    ("longest_lock_time", _f),  # when the longest lock began [s]
    ("next_trail", _f),  # duration of the running lock at its next sample [s]
    ("first_slide_time", _f),  # [s]
    ("first_slide_speed", _f),  # train speed then, zero if it never slid [m/s]
    ("initial_adhesion", _f),  # rail force over axle load as the first slide began [-]
    ("flash_intensity", _f),  # largest P / (sqrt(u) + sqrt(v)) of a turning wheel [W s^.5/m^.5]
    ("flash_time", _f),  # [s]
    ("flash_train_speed", _f),  # [m/s]
    ("flash_wheel_speed", _f),  # [m/s]
    ("hottest_time", _f),  # discs or treads [s]
    ("hottest_speed", _f),  # [m/s]
    ("low_speed_vents", _i),  # vents begun below 6 mph
    ("low_speed_vent_time", _f),  # of the first one [s]
    ("low_speed_vent_speed", _f),  # [m/s]
    ("dragged_distance", _f),  # slid while nearly locked [m]
    ("dragged_travel", _f),  # ... of the rim meanwhile [m]
    ("dragged_energy", _f),  # ... dissipated, both wheels [J]
    ("dragged_time", _f),  # when it first was [s]
    ("dragged_speed", _f),  # train speed then, zero if it never was [m/s]
    ("restored_time", _f),  # when the vent limit first overruled the controller [s]
    ("restored_speed", _f),  # [m/s]
    ("dynamic_force", _f),  # of its drive, at the rim, as the step began [N]
    ("dynamic_rate", _f),  # [N/s]
    ("dynamic_demand", _f),  # ... had no slip control taken off [N]
    ("dynamic_demand_rate", _f),  # [N/s]
    ("dynamic_energy", _f),  # of its drive, at the rim [J]
)

GROUP_STATE = _record(
    ("n_samples", _i),
    ("next_sample", _f),  # [s]
    # the equipment's reference speed, see slipbench.kernel.cut_out
    ("own_fastest", _f),  # fastest measured wheel of the group [m/s]
    ("fastest", _f),  # ... of all the reference knows [m/s]
    ("fastest_rate", _f),  # smoothed [m/s2]
    ("reference", _f),  # [m/s]
    ("steady_time", _f),  # the fastest wheel has slowed as a train does [s]
    ("carried_time", _f),  # ... has carried the reference [s]
    ("is_cut_out", _i),
)

_lane = (N_LANES,)

LANES = _record(  # pieces of time that axles are moved through together, see slipbench.kernel.axle
    ("i_axle", _i, _lane),
    ("duration", _f, _lane),  # [s]
    ("elapsed", _f, _lane),  # how far into the step the axle has been moved [s]
    ("to_border", _f, _lane),  # [m]
    ("border", _f, _lane),  # when the axle would stand at the border of its cell [s]
    ("speed", _f, _lane),  # train speed as the piece begins [m/s]
    ("pressure_before", _f, _lane),  # of the cylinder, as it begins [Pa]
    ("pressure_rate", _f, _lane),  # [Pa/s]
    ("brake", _f, _lane),  # brake force at the rim as it begins [N]
    ("brake_rate", _f, _lane),  # [N/s]
    ("wheel_before", _f, _lane),  # rim speed as it begins [m/s]
    # of the axle and its cell, as in AXLE and AXLE_STATE
    *((name, _f, _lane) for name in ("rotating_mass", "wheel_load", "contact_stiffness")),
    *((name, _f, _lane) for name in ("friction", "friction_ratio", "friction_decay")),
    *((name, _f, _lane) for name in ("adhesion_reduction", "slip_reduction")),
    *((name, _f, _lane) for name in ("curve_slip", "curve_force", "curve_slope")),
    ("wheel_1", _f, _lane),  # rim speed at the first stage [m/s]
    ("force_1", _f, _lane),  # ... and rail force of both wheels [N]
    ("wheel_2", _f, _lane),  # ... as the piece ends
    ("force_2", _f, _lane),
    ("next_slip", _f, _lane),  # where the creep curve was evaluated last, and what it gave
    ("next_force", _f, _lane),
    ("next_slope", _f, _lane),
    ("is_right", _f, _lane),  # 1 where the stages hold
    # the sensor: of the axle, and what it knows, as in AXLE and AXLE_STATE
    *((name, _f, _lane) for name in TEETH),
    *((name, _f, _lane) for name in SENSOR),
    ("jitter", _f, _lane),  # standard deviation, with that of a fault [m]
    ("start", _f, _lane),  # time at the piece's start [s]
    ("sample", _f, _lane),  # next sample of its controller after that [s]
    # for what is added up, see slipbench.kernel.tally
    ("demanded", _f, _lane),  # rim force demanded as the piece begins [N]
    ("demanded_rate", _f, _lane),  # [N/s]
    ("peak", _f, _lane),  # of the creep curve met [N]
    ("wheel_acceleration", _f, _lane),  # [m/s2]
    ("contact_heat", _f, _lane),  # of both wheels [J]
    ("brake_heat", _f, _lane),  # of the friction brake, once the drive's is off it [J]
    ("cleaning", _f, _lane),  # cleaning energy of one wheel [J]
    ("creepage", _f, _lane),  # as the piece ends [-]
    ("flash_intensity", _f, _lane),  # as in AXLE_STATE
    *((f"{name}_work", _f, _lane) for name in ADHESION_WORKS),  # as in AXLE_STATE [J]
    ("dynamic", _f, _lane),  # the drive's part of the brake force, of axles that have one [N]
    ("dynamic_rate", _f, _lane),  # [N/s]
)

SLIDE_BANDS, SPEED_BANDS = 6, 10
"""Rows of the slide histogram: creepage up to .05, .1, .2, .4, .8 and above; columns: speed."""

# One row of each record, as functions are handed it: numba types them, so to mypy they are `Any`.
Axle = Any
AxleState = Any
Cell = Any
Drive = Any
DriveState = Any
Driver = Any
Fault = Any
Group = Any
GroupState = Any
Lanes = Any
Law = Any
Magnet = Any
MagnetState = Any
Run = Any
Sander = Any
SanderState = Any
Train = Any
TrainState = Any
Vehicle = Any
VehicleState = Any


class World(NamedTuple):
    """Everything one stop needs. Fixed parts first, then what moves.

    Lengths: `n_axles` axles from the front, `n_cells` rail cells along the track, `n_groups`
    controllers, `n_entries` handle entries, `n_grades` gradient sections.
    """

    run: Any  # (1,) RUN
    train: Any  # (1,) TRAIN
    brakes: Any  # (n_vehicles,) TRAIN, each with the brake values that are its vehicle's own
    axles: Any  # (n_axles,) AXLE
    cells: Any  # (n_cells,) CELL
    grades: Any  # (n_grades, 2) from distance [m], rise [-]
    groups: Any  # (n_groups,) GROUP
    handle: Any  # (n_entries,) HANDLE
    vehicles: Any  # (n_vehicles,) VEHICLE
    demand_table: Any  # (n_steps + 2, 1) share of the emergency demand by handle position [-]
    wire_table: Any  # (n_steps + 2, 1) control wires energised, a bit mask by handle position
    controller_table: Any  # (n_points, 2) level and share of the emergency demand [-]
    curves: Any  # (n_curves, 2) from distance [m], resistance [N/kN]
    faults: Any  # (n_faults,) FAULT
    presses: Any  # (n_presses,) PRESS
    driver: Any  # (1,) DRIVER
    drives: Any  # (n_drives,) DRIVE
    magnets: Any  # (n_magnets,) MAGNET
    train_state: Any  # (1,) TRAIN_STATE
    axle_states: Any  # (n_axles,) AXLE_STATE
    lanes: Any  # (1,) LANES
    rail_work: Any  # (n_cells,) cleaning work W left by all wheels of one rail [J/m]
    rail_sand: Any  # (n_cells,) sand on one rail [kg/m]
    law: Any  # (1,) LAW
    sanders: Any  # (n_sanders,) SANDER
    sander_states: Any  # (n_sanders,) SANDER_STATE
    signals: Any  # (n_groups, n_signals) what the controllers tell the rest
    vehicle_states: Any  # (n_vehicles,) VEHICLE_STATE
    fault_states: Any  # (n_faults,) 1 where active
    fault_log: Any  # (n_faults, len(FAULT_COLUMNS))
    lock_log: Any  # (N_LOCK_LOG, len(LOCK_COLUMNS))
    lock_trail: Any  # (N_LOCK_TRAIL, len(TRAIL_COLUMNS))
    rail_heat: Any  # (n_cells,) heat under locked wheels, one rail [J/m]
    slide_histogram: Any  # (SLIDE_BANDS, SPEED_BANDS) axle seconds
    effective: Any  # (n_entries,) when an acted entry takes effect [s]
    group_states: Any  # (n_groups,) GROUP_STATE
    drive_states: Any  # (n_drives,) DRIVE_STATE
    magnet_states: Any  # (n_magnets,) MAGNET_STATE
    observation: Any  # (n_axles, n_observed)
    command: Any  # (n_axles, 2) valve, demand factor; a third column for the dynamic brake
    train_traces: Any  # (n_traces, len(TRACED_TRAIN))
    axle_traces: Any  # (n_traces, n_axles, len(TRACED_AXLE))


def _array(dtype: np.dtype[np.void]) -> Any:
    return numba.types.Array(numba.from_dtype(dtype), 1, "C")


_matrix = numba.float64[:, ::1]

_PART_TYPES = {
    "run": _array(RUN),
    "train": _array(TRAIN),
    "brakes": _array(TRAIN),
    "axles": _array(AXLE),
    "cells": _array(CELL),
    "groups": _array(GROUP),
    "handle": _array(HANDLE),
    "vehicles": _array(VEHICLE),
    "faults": _array(FAULT),
    "presses": _array(PRESS),
    "driver": _array(DRIVER),
    "drives": _array(DRIVE),
    "magnets": _array(MAGNET),
    "drive_states": _array(DRIVE_STATE),
    "magnet_states": _array(MAGNET_STATE),
    "law": _array(LAW),
    "sanders": _array(SANDER),
    "train_state": _array(TRAIN_STATE),
    "axle_states": _array(AXLE_STATE),
    "lanes": _array(LANES),
    "vehicle_states": _array(VEHICLE_STATE),
    "sander_states": _array(SANDER_STATE),
    "group_states": _array(GROUP_STATE),
    "rail_work": numba.float64[::1],
    "rail_sand": numba.float64[::1],
    "fault_states": numba.float64[::1],
    "rail_heat": numba.float64[::1],
    "effective": numba.float64[::1],
    "axle_traces": numba.float64[:, :, ::1],
}


def part_types(*names: str) -> list[Any]:
    """Return the compiled types of parts of the `World`."""
    return [_PART_TYPES.get(name, _matrix) for name in names]


WORLD_TYPE: Any = numba.types.NamedTuple(  # type: ignore[no-untyped-call]
    part_types(*World._fields), World
)
"""The compiled type of `World`: the loop is compiled for it once, before any call."""

UPDATE_SIGNATURE = numba.types.void(
    numba.float64[:, ::1],
    numba.float64[::1],
    numba.float64[:, ::1],
    numba.float64[:, ::1],
    numba.float64[::1],
)
"""update(observation, parameters, memory, command, signals): see slipbench.contract."""
