"""Records of what moves in a stop: train, vehicles, axles, drives, and the lanes. All in SI."""

from __future__ import annotations

from slipbench.kernel.codes import ADHESION_WORKS, N_KEPT, N_LANES, QUEUE_LENGTH, SENSOR, TEETH
from slipbench.kernel.fixed import f8, i8, record_type

TRAIN_STATE = record_type(
    ("time", f8),
    ("distance", f8),
    ("speed", f8),
    ("acceleration", f8),  # mean over the last step [m/s2]
    ("demand", f8),  # mean of the vehicles' demands now acting, of the train's emergency [-]
    ("position", i8),  # of the handle, before any delay
    ("level", f8),  # of a continuous controller, else below zero [-]
    ("acting_position", i8),  # after the delay
    ("acting_level", f8),
    ("isolated_until", f8),  # slip control is out until then [s]
    ("n_pressed", i8),  # presses of the programme that have happened
    ("n_ignored_presses", i8),
    ("has_supply", i8),  # the brake's electrical control supply
    ("eased_since", f8),  # driver: when it eased, negative while not [s]
    ("activity_since", f8),  # driver: first activity noticed, negative while none [s]
    ("activity_last", f8),  # driver: last activity noticed [s]
    ("driver_position", i8),  # what the driver is about to select, -1 none
    ("driver_effective", f8),  # when that acts [s]
    ("n_eased", i8),
    ("next_look", f8),  # driver: looks at the cab [s]
    ("n_handled", i8),  # entries of the programme that have acted
    ("handled_time", f8),  # when the last of them did [s]
    ("brake_start", f8),  # place where the handle first left release, negative before [m]
    ("n_effective", i8),  # ... and whose delay has run out
    ("status", i8),
    # the step now being taken, see slipbench.kernel.step
    ("is_in_step", i8),
    ("step_duration", f8),  # [s]
    ("i_group", i8),  # controller whose axles are being moved
    ("elapsed", f8),  # how far into the step they are [s]
    ("is_together", i8),  # all axles are moved at once: no controller's command acts in the step
    ("clock", f8),  # time of the sample now being taken [s]
    ("impulse", f8),  # of the rail forces of the axles moved so far [N s]
    ("n_steps", i8),
    ("n_axle_steps", i8),  # pieces of time, all axles together
    ("most_pieces", i8),  # the step now being taken may bring them to
    ("pause_at", i8),  # pieces at which the time loop hands back to its caller
    ("resistance_work", f8),  # [J]
    ("gradient_work", f8),  # [J]
    ("next_trace", f8),  # [s]
    ("n_traces", i8),
    ("n_locks", i8),  # in the log and beyond
    ("pitch_acceleration", f8),  # what the bodies' pitch has followed so far [m/s2]
    ("filtered_acceleration", f8),  # over JERK_TIME [m/s2]
    ("largest_jerk", f8),  # [m/s3]
    ("final_jerk", f8),  # largest below 5 m/s, the jolt of the stop itself left out [m/s3]
    ("stop_jerk", f8),  # that jolt: the deceleration at standstill gone over JERK_TIME [m/s3]
    ("curve_work", f8),  # [J]
    ("jerk_time", f8),  # when the largest jerk was [s]
    ("jerk_speed", f8),  # [m/s]
    ("final_jerk_time", f8),  # when the largest jerk below 5 m/s was [s]
    ("final_jerk_speed", f8),  # [m/s]
    ("n_trail", i8),  # rows of the lock trail
    ("n_unsampled", i8),  # locks that found no room in it for all their samples
    ("unsampled_time", f8),  # when the first of them found none [s]
    ("unsampled_speed", f8),  # train speed then [m/s]
    ("point_time", f8),  # when the train passed its stopping point [s]
    ("point_speed", f8),  # ... and how fast, zero if it has not [m/s]
    ("emergency_time", f8),  # with the handle in emergency [s]
    ("emergency_start_time", f8),  # [s]
    ("emergency_start_speed", f8),  # [m/s]
    ("emergency_eased_time", f8),  # when it was left again under way, zero if it was not [s]
    ("emergency_eased_speed", f8),  # [m/s]
    ("isolated_time", f8),  # with slip control isolated by the button [s]
    ("isolation_start_time", f8),  # [s]
    ("isolation_start_speed", f8),  # [m/s]
    ("isolated_locked_time", f8),  # locked meanwhile, summed over axles [s]
    ("isolated_locked_distance", f8),  # [m]
    ("speedometer_error", f8),  # shown less true speed where its size was largest [m/s]
    ("speedometer_error_time", f8),  # [s]
    ("speedometer_error_speed", f8),  # true speed then [m/s]
    ("speedometer_wrong_time", f8),  # off by more than SPEEDOMETER_TOLERANCE [s]
    ("line_share", f8),  # what is left of the line's receptivity [-]
    ("track_force", f8),  # of all track brakes in this step [N]
    ("track_work", f8),  # [J]
)

VEHICLE_STATE = record_type(
    ("demand", f8),  # share of its emergency demand now acting [-]
    ("demand_rate", f8),  # [1/s]
    ("demand_target", f8),
    ("ramp_end", f8),  # [s]
    ("load_factor", f8),  # now believed [-]
    ("is_unbraked", i8),
    ("is_dead", i8),  # its slip control computer
    ("is_isolated", i8),  # its reservoir from the main pipe
    ("lost_wires", i8),  # bit mask
    ("reservoir", f8),  # gauge pressure [Pa]
    ("lowest_reservoir", f8),
    ("charged_mass", f8),  # into the reservoir [kg]
    ("drawn_mass", f8),  # out of it into cylinders [kg]
    ("flow", f8),  # drawn in this step [kg]
    ("lowest_reservoir_time", f8),  # [s]
    ("lowest_reservoir_speed", f8),  # [m/s]
    ("main", f8),  # gauge pressure of its part of the main pipe [Pa]
    ("lowest_main", f8),
    ("is_pumping", i8),
    ("compressed_mass", f8),  # into the main pipe [kg]
    ("consumed_mass", f8),  # by auxiliaries [kg]
    # blending, see slipbench.kernel.blending
    ("air_demand", f8),  # what is left of the demand for the air brake [-]
    ("air_rate", f8),  # [1/s]
    ("is_prefilled", i8),
    ("coming", f8),  # demand received and perhaps still on its way [-]
    ("coming_time", f8),  # when it is there [s]
    ("is_track_lost", i8),  # its track brakes
)

AXLE_STATE = record_type(
    ("wheel_speed", f8),
    ("wheel_load", f8),  # of one wheel, with load transfer [N]
    ("contact_stiffness", f8),  # at that load [N]
    ("is_locked", i8),
    ("pressure", f8),
    ("clamp", f8),  # pressure that acts on pads or blocks, see slipbench.kernel.cylinder [Pa]
    ("brake_force", f8),  # at the rim, as the last step ended [N]
    ("rail_force", f8),  # of both wheels, as the last step ended [N]
    ("curve_slip", f8),  # slip speed where the creep curve was evaluated last [m/s]
    ("curve_force", f8),  # ... and what it gave [N]
    ("curve_slope", f8),  # [N s/m]
    ("valve", i8),
    ("demand_factor", f8),
    ("queue_time", f8, (QUEUE_LENGTH,)),
    ("queue_sent", f8, (QUEUE_LENGTH,)),
    ("queue_valve", i8, (QUEUE_LENGTH,)),
    ("queue_factor", f8, (QUEUE_LENGTH,)),
    ("queue_head", i8),
    ("queue_count", i8),
    ("vent_time", f8),  # brake without force so far; once overruled, filled so far [s]
    ("is_restored", i8),  # the vent limit has overruled the controller
    ("n_restored", i8),
    ("valve_fault", i8),  # -1, or the valve's stuck position
    ("is_vent_blocked", i8),
    ("vented_mass", f8),  # to atmosphere through the slip control's valve [kg]
    ("released_mass", f8),  # ... through the brake control [kg]
    ("filled_mass", f8),  # [kg]
    ("temperature", f8),  # of discs or treads [deg C]
    ("hottest", f8),
    ("wheel_acceleration", f8),  # over the last piece [m/s2]
    ("elapsed", f8),  # how far into the step it has been moved [s]
    # the cell it stands in
    ("i_cell", i8),
    ("to_border", f8),  # [m]
    ("cell_energy", f8),  # cleaning energy of one wheel collected here, not yet on the rail [J]
    ("friction", f8),
    ("friction_ratio", f8),
    ("friction_decay", f8),
    ("adhesion_reduction", f8),
    ("slip_reduction", f8),
    ("peak_ratio", f8),  # peak of the creep curve over load and friction [-]
    ("peak_creepage", f8),
    ("peak_speed", f8),  # train speed for which the peak was last found [m/s]
    ("peak_friction", f8),  # ... and friction [-]
    ("peak_bend", f8),  # of the curve there, zero where it is not to be followed [-]
    ("locked_share", f8),  # force of a locked wheel over the peak's when that was searched for [-]
    ("found_speed", f8),  # train speed for which the peak was last searched for [m/s]
    ("found_friction", f8),  # ... and friction [-]
    # what its sensor has seen
    ("rim_travel", f8),  # [m]
    ("next_pulse", f8),  # rim travel of the next pulse [m]
    ("n_pulses", f8),  # since the last sample
    ("pulse_time", f8),  # latest pulse [s]
    ("sampled_pulse_time", f8),  # latest pulse the last sample knew, by its clock [s]
    ("measured_speed", f8),
    ("n_sensed", i8),  # samples of its controller it has been moved past
    ("sensed_speed", f8, (QUEUE_LENGTH,)),  # what they found, the oldest overwritten [m/s]
    ("sensed_pressure", f8, (QUEUE_LENGTH,)),  # [Pa]
    ("shown_pressure", f8),  # what a slow transducer has followed so far [Pa]
    ("pulse_shift", f8),  # how late the latest pulse of the last sample was seen [s]
    ("deviate", f8),  # of the next pulse that counts, over the standard deviation [-]
    ("until_lost", f8),  # pulses yet to be seen before one is lost, infinite where none is [-]
    ("n_losing", i8),  # pulses then lost one after the other
    ("noise_state", i8),
    ("noise", f8),  # extra jitter by fault [m]
    ("sensor_fault", i8),  # 0, SENSOR_DEAD + 1 or SENSOR_STUCK + 1
    # tallies
    ("locked_time", f8),
    ("lock_duration", f8),  # of the lock now running [s]
    ("longest_lock", f8),
    ("longest_lock_speed", f8),  # train speed where it began [m/s]
    ("lock_start_speed", f8),
    ("n_locks", i8),
    ("i_lock", i8),  # row of the lock now running, -1 none
    ("locked_distance", f8),
    ("sliding_time", f8),
    ("sliding_distance", f8),
    ("contact_energy", f8),  # both wheels [J]
    ("locked_energy", f8),  # ... while locked [J]
    ("brake_energy", f8),  # of its friction brake [J]
    ("redeposited", f8),  # W laid down again behind this axle, times cell length [J]
    ("cleaning_energy", f8),  # one wheel, after the efficiency [J]
    # works over distance while demanded; braking force: rail force and what the wheel's own
    # momentum gives as the train slows, m_rot |dv/dt|
    ("used_work", f8),  # braking force up to the usable one [J]
    ("usable_work", f8),  # min(peak and momentum's part, demand) [J]
    ("excess_work", f8),  # braking force above the usable one: wheels spinning up [J]
    ("driven_work", f8),  # braking force below zero, sign turned: the rail drives the wheel [J]
    ("inertia_work", f8),  # momentum's part [J]
    ("demanded_work", f8),  # demanded rim force net of wheel inertia over distance [J]
    ("peak_work", f8),  # peak of the creep curve met over distance, brakes applied [J]
    ("load_work", f8),  # axle load over that distance [J]
    ("vent_count", i8),
    ("short_pulses", i8),  # changes of the valve's command too short to act
    ("lock_start_time", f8),  # [s]
    ("longest_lock_time", f8),  # when the longest lock began [s]
    ("next_trail", f8),  # duration of the running lock at its next sample [s]
    ("first_slide_time", f8),  # [s]
    ("first_slide_speed", f8),  # train speed then, zero if it never slid [m/s]
    ("initial_adhesion", f8),  # rail force over axle load as the first slide began [-]
    ("flash_intensity", f8),  # largest P / (sqrt(u) + sqrt(v)) of a turning wheel [W s^.5/m^.5]
    ("flash_time", f8),  # [s]
    ("flash_train_speed", f8),  # [m/s]
    ("flash_wheel_speed", f8),  # [m/s]
    ("hottest_time", f8),  # discs or treads [s]
    ("hottest_speed", f8),  # [m/s]
    ("low_speed_vents", i8),  # vents begun below 6 mph
    ("low_speed_vent_time", f8),  # of the first one [s]
    ("low_speed_vent_speed", f8),  # [m/s]
    ("dragged_distance", f8),  # slid while nearly locked [m]
    ("dragged_travel", f8),  # ... of the rim meanwhile [m]
    ("dragged_energy", f8),  # ... dissipated, both wheels [J]
    ("dragged_time", f8),  # when it first was [s]
    ("dragged_speed", f8),  # train speed then, zero if it never was [m/s]
    ("restored_time", f8),  # when the vent limit first overruled the controller [s]
    ("restored_speed", f8),  # [m/s]
    ("dynamic_force", f8),  # of its drive, at the rim, as the step began [N]
    ("dynamic_rate", f8),  # [N/s]
    ("dynamic_demand", f8),  # ... had no slip control taken off [N]
    ("dynamic_demand_rate", f8),  # [N/s]
    ("dynamic_energy", f8),  # of its drive, at the rim [J]
)

SANDER_STATE = record_type(
    ("is_triggered", i8),
    ("triggered_since", f8),  # [s]
    ("last_trigger", f8),  # [s]
    ("hopper", f8),  # sand left per rail [kg]
    ("falling", f8),  # rate now [kg/s]
    ("pending", f8),  # fallen on the cell ahead, not yet entered [kg]
    ("first_sand", f8),  # time of the first grain, negative before [s]
)

DRIVE_STATE = record_type(
    ("asked", f8),  # of an axle, by the jerk limit [N]
    ("n_kept", i8),  # moments kept so far, the oldest overwritten
    ("kept_time", f8, (N_KEPT,)),  # [s]
    ("kept_asked", f8, (N_KEPT,)),  # [N]
    ("kept_factor", f8, (N_KEPT,)),  # a strategy's [-]
    ("command", f8),  # ... after dead time and lag [N]
    ("command_after", f8),  # as the step now being taken ends [N]
    ("factor", f8),  # what slip control leaves of it [-]
    ("factor_acting", f8),  # ... after the lag [-]
    ("factor_after", f8),
    ("force", f8),  # that it would give without slip control, as the step begins [N]
    ("force_after", f8),  # ... and ends
    ("line_share", f8),  # of its power that the line takes in this step [-]
    ("commanded", f8),  # factor of a strategy that commands it [-]
    ("n_samples", i8),
    ("is_lost", i8),
    ("is_out", i8),  # until the brake is released
    ("is_handed", i8),  # over to friction
    ("is_sliding", i8),
    ("n_deep", i8),  # looks on end that saw a slide
    ("n_slides", i8),
    ("reduced_time", f8),  # when it was last reduced [s]
    ("quiet_time", f8),  # without a slide [s]
    ("out_time", f8),  # when it was first cut out or handed over [s]
    ("out_speed", f8),  # train speed then, zero if it never was [m/s]
    ("booked", f8),  # energy of its axles so far [J]
    ("recovered", f8),  # ... into the line [J]
    ("resistor", f8),  # ... into resistors [J]
)

MAGNET_STATE = record_type(
    ("applied_time", f8),  # negative while it is not [s]
    ("is_acting", i8),
    ("i_cell", i8),  # the cell it is over, -1 before the first
    ("film", f8),  # factor met there [-]
    ("cleaning_energy", f8),  # on one rail [J]
    ("work", f8),  # of both magnets [J]
)

GROUP_STATE = record_type(
    ("n_samples", i8),
    ("next_sample", f8),  # [s]
    # the equipment's reference speed, see slipbench.kernel.cut_out
    ("own_fastest", f8),  # fastest measured wheel of the group [m/s]
    ("fastest", f8),  # ... of all the reference knows [m/s]
    ("fastest_rate", f8),  # smoothed [m/s2]
    ("reference", f8),  # [m/s]
    ("steady_time", f8),  # the fastest wheel has slowed as a train does [s]
    ("carried_time", f8),  # ... has carried the reference [s]
    ("is_cut_out", i8),
)

_lane = (N_LANES,)

# pieces of time that axles are moved through together, see slipbench.kernel.axle
LANES = record_type(
    ("i_axle", i8, _lane),
    ("duration", f8, _lane),  # [s]
    ("elapsed", f8, _lane),  # how far into the step the axle has been moved [s]
    ("to_border", f8, _lane),  # [m]
    ("border", f8, _lane),  # when the axle would stand at the border of its cell [s]
    ("speed", f8, _lane),  # train speed as the piece begins [m/s]
    ("pressure_before", f8, _lane),  # of the cylinder, as it begins [Pa]
    ("pressure_rate", f8, _lane),  # [Pa/s]
    ("brake", f8, _lane),  # brake force at the rim as it begins [N]
    ("brake_rate", f8, _lane),  # [N/s]
    ("wheel_before", f8, _lane),  # rim speed as it begins [m/s]
    # of the axle and its cell, as in AXLE and AXLE_STATE
    *((name, f8, _lane) for name in ("rotating_mass", "wheel_load", "contact_stiffness")),
    *((name, f8, _lane) for name in ("friction", "friction_ratio", "friction_decay")),
    *((name, f8, _lane) for name in ("adhesion_reduction", "slip_reduction")),
    *((name, f8, _lane) for name in ("curve_slip", "curve_force", "curve_slope")),
    ("wheel_1", f8, _lane),  # rim speed at the first stage [m/s]
    ("force_1", f8, _lane),  # ... and rail force of both wheels [N]
    ("wheel_2", f8, _lane),  # ... as the piece ends
    ("force_2", f8, _lane),
    ("next_slip", f8, _lane),  # where the creep curve was evaluated last, and what it gave
    ("next_force", f8, _lane),
    ("next_slope", f8, _lane),
    ("is_right", f8, _lane),  # 1 where the stages hold
    # the sensor: of the axle, and what it knows, as in AXLE and AXLE_STATE
    *((name, f8, _lane) for name in TEETH),
    *((name, f8, _lane) for name in SENSOR),
    ("jitter", f8, _lane),  # standard deviation, with that of a fault [m]
    ("start", f8, _lane),  # time at the piece's start [s]
    ("sample", f8, _lane),  # next sample of its controller after that [s]
    # for what is added up, see slipbench.kernel.tally
    ("demanded", f8, _lane),  # rim force demanded as the piece begins [N]
    ("demanded_rate", f8, _lane),  # [N/s]
    ("peak", f8, _lane),  # of the creep curve met [N]
    ("wheel_acceleration", f8, _lane),  # [m/s2]
    ("contact_heat", f8, _lane),  # of both wheels [J]
    ("brake_heat", f8, _lane),  # of the friction brake, once the drive's is off it [J]
    ("cleaning", f8, _lane),  # cleaning energy of one wheel [J]
    ("creepage", f8, _lane),  # as the piece ends [-]
    ("flash_intensity", f8, _lane),  # as in AXLE_STATE
    *((f"{name}_work", f8, _lane) for name in ADHESION_WORKS),  # as in AXLE_STATE [J]
    ("dynamic", f8, _lane),  # the drive's part of the brake force, of axles that have one [N]
    ("dynamic_rate", f8, _lane),  # [N/s]
)
