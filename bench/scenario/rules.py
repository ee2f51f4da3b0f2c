"""Which keys act in which configuration: one table; `acting` reads it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from slipbench.scenario.brake import Brake, SlipControl
from slipbench.scenario.contact import Contact
from slipbench.scenario.driver import Routine
from slipbench.scenario.dynamic_brake import DynamicBrake
from slipbench.scenario.equipment import Equipment
from slipbench.scenario.fault import Fault
from slipbench.scenario.fields import Record, specs_of
from slipbench.scenario.rail import Rail, RailSection, RandomFriction
from slipbench.scenario.sander import Sander
from slipbench.scenario.track_brake import TrackBrake
from slipbench.scenario.train import Train
from slipbench.scenario.vehicle import Vehicle
from slipbench.scenario.vehicle_brake import VehicleBrake

Get = Callable[[str], Any]
"""Value of a field: of the same record by its name, of any other by `/` and its dotted path."""


class Rule(NamedTuple):
    """When a key acts.

    `says` names the key that decides, as a file spells it, and what it must be; `idle` stands for a
    required value where it cannot act. A key that a mere change of numbers would bring to life may
    be given (`is_refused` false); it only need not be.
    """

    acts: Callable[[Get], bool]
    says: str
    idle: Callable[[Get], Any] | None = None
    is_refused: bool = True


def _is(decider: str, *values: Any) -> Rule:
    """Return the rule of a key that acts where a field of its own record has one of some values."""
    return Rule(lambda get: get(decider) in values, f"{decider} = {' or '.join(map(str, values))}")


def _is_above_zero(decider: str) -> Rule:
    return Rule(lambda get: get(decider) > 0.0, f"{decider} above 0")


def _airs(get: Get) -> list[Any]:
    """Return the air model of every vehicle: its own, or the train's."""
    shared = get("/brake.air")
    return [own or shared for own in get("/train.vehicles.*.brake.air")]


_RAMPS = Rule(lambda get: "ramps" in _airs(get), 'brake.air = "ramps"')
_FLOW = Rule(lambda get: "flow" in _airs(get), 'brake.air = "flow"')
_MAIN = Rule(
    lambda get: any(volume > 0.0 for volume in get("/train.vehicles.*.main_reservoir_volume")),
    "train.vehicle.main_reservoir_volume above 0 on some vehicle",
)
_BREATHES = Rule(lambda get: (get("air") or get("/brake.air")) == "flow", 'brake.air = "flow"')
_BY_RAMPS = Rule(lambda get: (get("air") or get("/brake.air")) == "ramps", 'brake.air = "ramps"')
_SUPPLIED = Rule(lambda get: _FLOW.acts(get) and _MAIN.acts(get), f"{_FLOW.says} and {_MAIN.says}")
_DISC = _is("brake_kind", "disc")
_BLOCKS = _is("brake_kind", "cast_iron", "composite")
_SOME_DISC = Rule(
    lambda get: "disc" in get("/train.vehicles.*.brake_kind"),
    "train.vehicle.brake_kind = disc on some vehicle",
)
_LAW = "/contact.law"
_FALLS = Rule(lambda get: get(_LAW) != "measured", "contact.law other than measured")
_POLACH = Rule(lambda get: get(_LAW) == "polach", "contact.law = polach", lambda get: 1.0)
_CLEANS = Rule(
    lambda get: (
        get("/rail.random") is not None
        or get("/rail.profile") is not None
        or get("recovered_friction") != get("friction")
    ),
    "recovered_friction above friction",
    lambda get: 1e4,
    is_refused=False,
)
_REMEMBERS = _is("cleaning_law", "rail_memory", "rail_and_contact")._replace(
    says="rail.cleaning_law other than contact_only"
)
_TRANSDUCER = Rule(
    lambda get: get("/sensing.has_pressure_transducer"), "sensing.has_pressure_transducer = true"
)
_MAGNETIC, _EDDY = _is("kind", "magnetic"), _is("kind", "eddy_current")
_RESTORES = _is("slide_rule", "restore")
_REPEATS = _is("kind", "release_and_reapply")


RULES: Mapping[type[Record], Mapping[str, Rule]] = {
    Brake: {
        "fill_rate": _RAMPS,
        "vent_rate": _RAMPS,
        **dict.fromkeys(
            (
                "fill_conductance", "release_conductance", "vent_conductance",
                "charging_conductance", "critical_ratio", "reservoir_volume",
                "reservoir_pressure", "pipe_pressure",
            ),
            _FLOW,
        ),
        **dict.fromkeys(
            (
                "main_pressure", "compressor_cut_in", "compressor_cut_out", "main_pipe_volume",
                "main_pipe_conductance",
            ),
            _SUPPLIED,
        ),
        "weighs_rotating_mass": Rule(
            lambda get: (
                get("variable_load") or True in get("/train.vehicles.*.brake.variable_load")
            ),
            "brake.variable_load = true",
        ),
        "pad_friction": _SOME_DISC,
        "design_pad_friction": _SOME_DISC,
    },
    VehicleBrake: {
        "fill_rate": _BY_RAMPS,
        "vent_rate": _BY_RAMPS,
        **dict.fromkeys(
            (
                "fill_conductance", "release_conductance", "vent_conductance",
                "charging_conductance", "critical_ratio", "reservoir_volume",
                "reservoir_pressure", "pipe_pressure",
            ),
            _BREATHES,
        ),
        **dict.fromkeys(
            ("compressor_cut_in", "compressor_cut_out", "main_pipe_volume"), _SUPPLIED
        ),
        "weighs_rotating_mass": Rule(
            lambda get: (
                get("/brake.variable_load")
                if get("variable_load") is None
                else get("variable_load")
            ),
            "variable_load = true",
        ),
        "controller_demands": Rule(
            lambda get: get("/brake.controller_levels") is not None, "brake.controller_levels"
        ),
    },
    SlipControl: {
        "cut_out_hysteresis": _is_above_zero("cut_out_speed"),
        "reference": _is_above_zero("cut_out_speed"),
    },
    Train: {
        "load": Rule(
            lambda get: None in get("/train.vehicles.*.load"),
            "some vehicle without a load of its own",
        ),
    },
    Vehicle: {
        "main_reservoir_volume": _FLOW,
        "compressor_flow": _SUPPLIED,
        "auxiliary_flow": _SUPPLIED,
        "pad_speed_term": _DISC,
        "pad_heat_term": _DISC,
        "blocks_per_axle": _BLOCKS,
        "block_design_friction": _BLOCKS,
        "wheel_diameter": Rule(
            lambda get: get("wheel_diameters") is None or get(_LAW) == "strip",
            "wheel_diameters not given",
            lambda get: get("wheel_diameters")[0],
        ),
        "wheelset_inertia": Rule(
            lambda get: get("wheelset_inertias") is None,
            "wheelset_inertias not given",
            lambda get: get("wheelset_inertias")[0],
        ),
        "motored_axles": Rule(
            lambda get: get("dynamic_brake") is not None or get("motor_inertia") > 0.0,
            "a dynamic_brake or motor_inertia above 0",
        ),
        "motor_inertia": Rule(lambda get: len(get("motored_axles")) > 0, "motored_axles"),
        "gear_ratio": _is_above_zero("motor_inertia"),
    },
    DynamicBrake: {
        "reduction": _RESTORES,
        "restore_time": _RESTORES,
        "slides_to_cut_out": _RESTORES,
        "hand_back_time": _is("slide_rule", "hand_over"),
    },
    TrackBrake: {
        **dict.fromkeys(
            ("attraction", "friction", "friction_speed_term", "film_factor", "cleaning_share"),
            _MAGNETIC,
        ),
        "peak_force": _EDDY,
        "critical_speed": _EDDY,
    },
    Contact: {},
    Rail: {
        "contact_share": _is("cleaning_law", "rail_and_contact")._replace(
            says="rail.cleaning_law = rail_and_contact"
        ),
        "redeposition": _REMEMBERS,
        "locked_cleaning_share": _REMEMBERS,
        "full_cleaning_slip": _REMEMBERS,
    },
    RailSection: {
        "friction": Rule(
            lambda get: (
                get("/rail.profile") is None
                and (get("/rail.random") is None or get(_LAW) == "strip")
            ),
            "neither [rail.random] nor rail.profile given",
            lambda get: 0.002,
        ),
        "from_distance": Rule(
            lambda get: get("/rail.profile") is None, "rail.profile not given", lambda get: 0.0
        ),
        "friction_ratio": _FALLS._replace(idle=lambda get: 1.0),
        "friction_decay": _FALLS._replace(idle=lambda get: 0.0),
        "adhesion_reduction": _POLACH,
        "slip_reduction": _POLACH,
        "cleaning_work": _CLEANS,
        "cleaning_exponent": _CLEANS,
    },
    RandomFriction: {
        "mean_patch": Rule(lambda get: get("long_share") < 1.0, "long_share below 1"),
        "long_from": _is_above_zero("long_share"),
        "long_to": _is_above_zero("long_share"),
    },
    Sander: {"density": _is("mode", "speed_proportional")},
    Fault: {"noise": _is("kind", "sensor_noisy"), "share": _is("kind", "line_lost")},
    Routine: {
        "pause_time": _is("kind", "pause"),
        "ease_speeds": _is("kind", "final_easing"),
        "approach_speed": _is("kind", "slow_approach"),
        "apply_time": _REPEATS,
        "release_time": _REPEATS,
        "n_repeats": _REPEATS,
    },
    Equipment: {
        "dropout_burst": _is_above_zero("dropout"),
        **dict.fromkeys(("transducer_offset", "transducer_gain", "transducer_lag"), _TRANSDUCER),
    },
}  # fmt: skip
"""Keys that act in some configurations only; every other acts in all of them."""


def rule_of(record_type: type[Record], name: str) -> Rule | None:
    """Return the rule of a field; None for one that always acts."""
    return RULES.get(record_type, {}).get(name)


def rules() -> Iterator[tuple[type[Record], str, Rule]]:
    """Yield every rule with its record and field; fields that are none are a mistake of the table.

    Raises
    ------
    LookupError
    """
    for record_type, of_fields in RULES.items():
        for name, rule in of_fields.items():
            if name not in specs_of(record_type):
                raise LookupError(f"{record_type.__name__} has no {name}")
            yield record_type, name, rule
