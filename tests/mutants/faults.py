"""Faults to plant: one line of the physics or the measures made wrong in a plausible way."""

from typing import NamedTuple


class Mutant(NamedTuple):
    """One fault.

    Attributes
    ----------
    name : str      what is wrong, in a few words
    file : str      under bench/
    right, wrong : str   text in that file, which must be there once, and what takes its place
    tests : tuple   test files that ought to catch it, under tests/, the quickest first
    """

    name: str
    file: str
    right: str
    wrong: str
    tests: tuple[str, ...]


PATH = "validation/test_independent_path.py"
AIR_PATH = "validation/test_independent_air_and_loads.py"

MUTANTS = (
    # the line
    Mutant(
        "curve resistance off",
        "kernel/step.py",
        "curve = curve_force(",
        "curve = 0.0 * curve_force(",
        ("kernel/test_pinned.py",),
    ),
    Mutant(
        "gradient's sign turned",
        "kernel/train.py",
        "force += axles[i_axle].mass_carried * GRAVITY * rise",
        "force -= axles[i_axle].mass_carried * GRAVITY * rise",
        ("kernel/test_train.py", "kernel/test_pinned.py"),
    ),
    Mutant(
        "gradient under the front for all axles",
        "kernel/train.py",
        "        place = distance - axles[i_axle].offset\n        rise = 0.0",
        "        place = distance\n        rise = 0.0",
        ("kernel/test_train.py",),
    ),
    Mutant(
        "quadratic resistance halved",
        "kernel/train.py",
        "train_speed * train.resistance_quadratic",
        "0.5 * train_speed * train.resistance_quadratic",
        ("kernel/test_train.py", PATH),
    ),
    # friction and heat
    Mutant(
        "composite block friction .50",
        "kernel/friction.py",
        "return 0.44 * by_force",
        "return 0.50 * by_force",
        ("kernel/test_pinned.py", "kernel/test_blocks.py"),
    ),
    Mutant(
        "cast-iron friction of 4 V + 100",
        "kernel/friction.py",
        "(5.0 * speed + 100.0)",
        "(4.0 * speed + 100.0)",
        ("kernel/test_pinned.py",),
    ),
    Mutant(
        "cooling without speed",
        "kernel/friction.py",
        "axle.cooling + axle.cooling_speed_term * train_speed",
        "axle.cooling",
        ("kernel/test_brake_response.py", "kernel/test_blocks.py", "kernel/test_pinned.py"),
    ),
    Mutant(
        "wet pads as dry",
        "packing/train.py",
        "pads * (1.0 - vehicle.pad_wetness)",
        "pads",
        ("kernel/test_blocks.py",),
    ),
    # loads
    Mutant(
        "pitch lag doubled",
        "kernel/codes.py",
        "PITCH_TIME = 0.25",
        "PITCH_TIME = 0.5",
        ("kernel/test_pinned.py", AIR_PATH),
    ),
    Mutant(
        "load transfer turned round",
        "kernel/loads.py",
        "push = -acceleration",
        "push = acceleration",
        ("kernel/test_loads.py", AIR_PATH),
    ),
    Mutant(
        "stiffness by load to the power 1/3",
        "kernel/loads.py",
        "* by_load * by_load",
        "* by_load",
        ("kernel/test_loads.py",),
    ),
    Mutant(
        "body pitch about the rail",
        "kernel/loads.py",
        "lever = vehicle.body_height - vehicle.pivot_height",
        "lever = vehicle.body_height",
        ("kernel/test_loads.py", AIR_PATH),
    ),
    # creep
    Mutant(
        "falling friction to A + 1",
        "kernel/creep.py",
        "return static_friction * ratio + fading,",
        "return static_friction * ratio + 1.02 * fading,",
        ("kernel/test_creep.py", PATH),
    ),
    Mutant(
        "reduction factors exchanged",
        "kernel/creep.py",
        "    adhering = adhesion_reduction * gradient\n    sliding = slip_reduction * gradient",
        "    adhering = slip_reduction * gradient\n    sliding = adhesion_reduction * gradient",
        ("kernel/test_creep.py",),
    ),
    Mutant(
        "gradient of creep 1 % off",
        "kernel/creep.py",
        "gradient = 0.25 * math.pi * normalised_creepage",
        "gradient = 0.2525 * math.pi * normalised_creepage",
        ("kernel/test_creep.py",),
    ),
    Mutant(
        "one wheel an axle",
        "kernel/creep.py",
        "return 2.0 * limit * ratio, 2.0 *",
        "return 1.0 * limit * ratio, 1.0 *",
        ("kernel/test_creep.py", PATH),
    ),
    # wheels
    Mutant(
        "gamma of the other root",
        "kernel/wheelset.py",
        "GAMMA = 1.0 - math.sqrt(0.5)",
        "GAMMA = 0.5",
        ("convergence/test_stop_order.py", "kernel/test_wheelset.py"),
    ),
    Mutant(
        "second stage from the start",
        "kernel/wheelset.py",
        "return start + (1.0 - GAMMA) / GAMMA * (wheel_1 - start)",
        "return start + (wheel_1 - start)",
        ("kernel/test_wheelset.py",),
    ),
    Mutant(
        "locked wheels re-spin at half the grip",
        "kernel/wheelset.py",
        "return grip - (course.brake_force + course.brake_rate * elapsed), grip",
        "return 2.0 * grip - (course.brake_force + course.brake_rate * elapsed), grip",
        ("kernel/test_wheelset.py", PATH),
    ),
    # rail
    Mutant(
        "cleaning of both wheels on one rail",
        "kernel/tally.py",
        "    cleaning = 0.5 * (",
        "    cleaning = 1.0 * (",
        ("kernel/test_lanes.py", "kernel/test_audit.py", PATH),
    ),
    Mutant(
        "W0 a tenth too large",
        "kernel/rail.py",
        "share = work / cell.cleaning_work",
        "share = work / (1.1 * cell.cleaning_work)",
        ("kernel/test_rail.py", PATH),
    ),
    Mutant(
        "a locked wheel cleans in full",
        "kernel/rail.py",
        "return 1.0 - min(1.0, max(beyond, 0.0)) * (1.0 - locked_cleaning_share)",
        "return 1.0",
        ("kernel/test_rail.py", PATH),
    ),
    Mutant(
        "no redeposition",
        "kernel/rail.py",
        "rail_work[i_cell] * math.exp(-train.redeposition)",
        "rail_work[i_cell]",
        ("kernel/test_rail.py",),
    ),
    Mutant(
        "sand kept whole",
        "kernel/rail.py",
        "rail_sand[i_cell] *= train.sand_retention",
        "rail_sand[i_cell] *= 1.0",
        ("kernel/test_sanding.py",),
    ),
    Mutant(
        "sand friction linear",
        "kernel/rail.py",
        "train.sand_friction * (1.0 - math.exp(-sand / train.sand_scale))",
        "train.sand_friction * sand / train.sand_scale",
        ("kernel/test_sanding.py",),
    ),
    # sand, handle, valves
    Mutant(
        "hopper never empties",
        "kernel/sanding.py",
        "sander_state.hopper -= amount",
        "sander_state.hopper -= 0.0",
        ("kernel/test_sanding.py",),
    ),
    Mutant(
        "release ramp by the build-up time",
        "kernel/driver.py",
        "train.release_time",
        "train.build_up_time",
        ("kernel/test_driver.py", AIR_PATH),
    ),
    Mutant(
        "fill delay for every command",
        "kernel/pneumatics.py",
        "(axle.fill_delay if valve == FILL else axle.vent_delay)",
        "axle.fill_delay",
        ("kernel/test_pneumatics.py",),
    ),
    Mutant(
        "short pulses act",
        "kernel/pneumatics.py",
        ">= axle.shortest_pulse - _NO_TIME",
        ">= 0.0",
        ("kernel/test_pneumatics.py",),
    ),
    Mutant(
        "spring not made up for",
        "kernel/pneumatics.py",
        "target += train.spring_pressure",
        "target += 0.0",
        ("kernel/test_cylinder.py",),
    ),
    Mutant(
        "hysteresis halved",
        "kernel/cylinder.py",
        "min(axle_state.clamp, above / (1.0 - axle.hysteresis))",
        "min(axle_state.clamp, above / (1.0 - 0.5 * axle.hysteresis))",
        ("kernel/test_cylinder.py",),
    ),
    # air
    Mutant(
        "choked flow of 1.0 kg/m3",
        "kernel/air.py",
        "REFERENCE_DENSITY = 1.185",
        "REFERENCE_DENSITY = 1.0",
        ("validation/test_brake_values.py", AIR_PATH),
    ),
    Mutant(
        "subsonic flow linear",
        "kernel/air.py",
        "return choked * math.sqrt(max(0.0, 1.0 - beyond * beyond))",
        "return choked * (1.0 - beyond)",
        ("validation/test_brake_values.py", AIR_PATH),
    ),
    Mutant(
        "adiabatic for isothermal",
        "kernel/air.py",
        "return flow * GAS_CONSTANT * TEMPERATURE / volume",
        "return 1.4 * flow * GAS_CONSTANT * TEMPERATURE / volume",
        ("validation/test_brake_values.py", "kernel/test_air.py", AIR_PATH),
    ),
    Mutant(
        "charged air comes from nowhere",
        "kernel/supply.py",
        "vehicle_state.main -= pressure_rate(charged, vehicle.main_volume)",
        "vehicle_state.main -= 0.0",
        ("kernel/test_supply.py",),
    ),
    Mutant(
        "compressor never stops",
        "kernel/supply.py",
        "elif own.main >= brakes[i].cut_out:",
        "elif own.main >= 2.0 * brakes[i].cut_out:",
        ("kernel/test_supply.py",),
    ),
    Mutant(
        "auxiliaries draw nothing",
        "kernel/supply.py",
        "used = min(vehicle.auxiliary_flow * duration, there + gained)",
        "used = 0.0",
        ("kernel/test_supply.py",),
    ),
    # sensing
    Mutant(
        "diameter error ignored",
        "packing/train.py",
        "2.0 * np.pi * draw.assumed_radii[here]",
        '2.0 * np.pi * own["wheel_radius"]',
        ("packing/test_draws.py", "kernel/test_sensor_errors.py"),
    ),
    Mutant(
        "zero after half the timeout",
        "kernel/sensing.py",
        "0.0 if waited > zero_timeout else measured",
        "0.0 if waited > 0.5 * zero_timeout else measured",
        ("kernel/test_sensing.py",),
    ),
    Mutant(
        "transducer without offset",
        "kernel/sensing.py",
        "pressure * axle.transducer_gain + axle.transducer_offset",
        "pressure * axle.transducer_gain",
        ("kernel/test_sensing.py",),
    ),
    # faults
    Mutant(
        "blocked choke vents",
        "kernel/faults.py",
        "axle_state.is_vent_blocked = 1",
        "axle_state.is_vent_blocked = 0",
        ("kernel/test_faults.py",),
    ),
    # sums and measures
    Mutant(
        "locked distance by half",
        "kernel/slides.py",
        "axle_state.locked_distance += locked * train_speed",
        "axle_state.locked_distance += 0.5 * locked * train_speed",
        ("kernel/test_tally.py",),
    ),
    Mutant(
        "demand with the inertia of the wheels",
        "kernel/tally.py",
        "net = net_demand(demanded, acceleration, mass)",
        "net = net_demand(demanded, 0.0, mass)",
        ("kernel/test_lanes.py",),
    ),
    Mutant(
        "rail heat of both wheels",
        "kernel/slides.py",
        "+= 0.5 * heat * locked / spent / train.cell_length",
        "+= heat * locked / spent / train.cell_length",
        ("kernel/test_tally.py", "measures/test_worth.py"),
    ),
    Mutant(
        "next application counts half the cylinders",
        "measures/air.py",
        "after = left - cylinders * full / volume",
        "after = left - 0.5 * cylinders * full / volume",
        ("measures/test_worth.py",),
    ),
    Mutant(
        "normal litre of another density",
        "measures/air.py",
        "NORMAL_DENSITY = 1.185",
        "NORMAL_DENSITY = 1.293",
        ("measures/test_worth.py", "validation/test_brake_values.py"),
    ),
)
