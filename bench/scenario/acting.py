"""Which keys act in which configuration: one table, read wherever a value is given or shown.

A value that cannot act is refused where a file, an option or a caller gives it, is dropped where a
file below gave it, and is neither shown nor written.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from slipbench.scenario.brake import Brake, SlipControl
from slipbench.scenario.contact import Contact
from slipbench.scenario.driver import Routine
from slipbench.scenario.dynamic_brake import DynamicBrake
from slipbench.scenario.equipment import Equipment, grade_values
from slipbench.scenario.fault import Fault
from slipbench.scenario.fields import Record, default_of, specs_of
from slipbench.scenario.layers import BROKEN, Branch, Leaf, Noted, Patch, is_list, noting, refuse
from slipbench.scenario.rail import Rail, RailSection, RandomFriction
from slipbench.scenario.sander import Sander
from slipbench.scenario.track_brake import TrackBrake
from slipbench.scenario.train import Train, Vehicle
from slipbench.scenario.vehicle_brake import VehicleBrake

Get = Callable[[str], Any]
"""Value of a field: of the same record by its name, of any other by `/` and its dotted path."""


class Unknown(Exception):
    """A value is asked for that could not be read."""


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


def acts(rule: Rule, get: Get) -> bool:
    """Say whether a key acts; where what decides could not be read, it is taken to."""
    try:
        return rule.acts(get)
    except Unknown:
        return True


def _is_inert(rule: Rule | None, get: Get) -> bool:
    return rule is not None and rule.is_refused and not acts(rule, get)


def get_from(root: Record, owner: Record) -> Get:
    """Return how a rule looks up values in a built record."""

    def get(path: str) -> Any:
        if path.startswith("/"):
            return _along(root, path[1:].split("."))
        value = getattr(owner, path)
        implied = owner.implied(path) if value is None else None
        return value if implied is None else implied.value

    return get


def _along(owner: Any, words: list[str]) -> Any:
    for i, word in enumerate(words):
        if word == "*":
            return [_along(item, words[i + 1 :]) for item in owner]
        if owner is None:
            return None
        owner = getattr(owner, word)
    return owner


def inert_because(root: Record, owner: Record, name: str) -> str:
    """Return what would make a value of a built record act; empty where it does."""
    rule = rule_of(type(owner), name)
    is_silent = rule is not None and rule.is_refused and not acts(rule, get_from(root, owner))
    return rule.says if rule is not None and is_silent else ""


def silenced(root: Record, changes: Mapping[tuple[str, ...], Any]) -> dict[tuple[str, ...], Any]:
    """Return the changes that put values back to their defaults which others leave without effect.

    Parameters
    ----------
    root : Record      a scenario
    changes : mapping  path to new value; only a choice or a flag among them silences anything
    """
    if not any(isinstance(value, str | bool) for value in changes.values()):
        return {}
    found = {}
    for path, owner, name in _ruled(root, ()):
        rule, default = rule_of(type(owner), name), default_of(type(owner), name)
        here = (*path, name)
        if rule is None or default is dataclasses.MISSING or here in changes:
            continue
        get = _get_changed(root, path, changes)
        if getattr(owner, name) != default and _is_inert(rule, get):
            found[here] = default
    return found


def _ruled(owner: Record, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Record, str]]:
    """Yield path, record and name of every value of a built record that has a rule."""
    yield from ((path, owner, name) for name in RULES.get(type(owner), {}))
    for name, spec in specs_of(type(owner)).items():
        value = getattr(owner, name)
        if spec.kind == "record" and value is not None:
            items = enumerate(value) if spec.is_list else [("", value)]
            for i, item in items:
                yield from _ruled(item, (*path, name, *([str(i)] if spec.is_list else [])))


def _get_changed(
    root: Record, owner: tuple[str, ...], changes: Mapping[tuple[str, ...], Any]
) -> Get:
    """Return how a rule looks up values of a record that is about to be changed."""

    def at(words: tuple[str, ...], value: Any) -> Any:
        for n in range(len(words) + 1):
            if words[:n] in changes:
                return _along(changes[words[:n]], list(words[n:]))
        for i, word in enumerate(words):
            if word == "*":
                n_items = len(value)
                return [at((*words[:i], str(j), *words[i + 1 :]), root) for j in range(n_items)]
            if value is None:
                return None
            value = value[int(word)] if isinstance(value, tuple) else getattr(value, word)
        return value

    def get(path: str) -> Any:
        words = tuple(path[1:].split(".")) if path.startswith("/") else (*owner, path)
        return at(words, root)

    return get


def idle_in(root: Record, owner: Record, name: str) -> Any:
    """Return what stands for a value of a built record where it cannot act; else None."""
    rule = rule_of(type(owner), name)
    return rule.idle(get_from(root, owner)) if rule is not None and rule.idle is not None else None


def get_from_layer(root: Branch, owner: Branch) -> Get:
    """Return how a rule looks up values in a layer; what is not given has its default."""

    def get(path: str) -> Any:
        if path.startswith("/"):
            return _in_layer(root, path[1:].split("."))
        return _in_layer(owner, [path])

    return get


def _in_layer(branch: Branch, words: list[str]) -> Any:
    entry: Any = branch
    for i, word in enumerate(words):
        if word == "*":
            return [_in_layer(item, words[i + 1 :]) for item in entry]
        record_type, entry = entry.record_type, entry.entries.get(word)
        if entry is BROKEN or isinstance(entry, Patch):
            raise Unknown
        if entry is None:
            return _default(branch, record_type, words[i:])
    return entry.value if isinstance(entry, Leaf) else entry


def _default(branch: Branch, record_type: type[Any], words: list[str]) -> Any:
    default = default_of(record_type, words[0])
    if record_type is Equipment and words[0] != "grade":
        grade = branch.entries.get("grade")
        known = grade.value if isinstance(grade, Leaf) else default_of(Equipment, "grade")
        return grade_values(known)[words[0]].value
    if default is dataclasses.MISSING:
        raise Unknown
    return _along(default, words[1:])


def refuse_inert(own: Branch, merged: Branch, noted: Noted = None) -> None:
    """Refuse each value of a file that cannot act in the configuration it ends up in.

    Parameters
    ----------
    own : Branch      what the file itself gives
    merged : Branch   that over all it is based on
    """
    _refuse_inert(own, merged, merged, noted)


def _refuse_inert(own: Branch, there: Branch, root: Branch, noted: Noted) -> None:
    get = get_from_layer(root, there)
    for name, entry in own.entries.items():
        rule = rule_of(own.record_type, name)
        if isinstance(entry, Leaf) and _is_inert(rule, get):
            with noting(noted):
                says = rule.says if rule is not None else ""
                refuse(entry.file, entry.key, f"cannot act here: needs {says}", entry.shown)
        for mine, below in _pairs(entry, there.entries.get(name)):
            _refuse_inert(mine, below, root, noted)


def _pairs(entry: Any, there: Any) -> Iterator[tuple[Branch, Branch]]:
    """Yield the tables inside a value of a file, each beside what became of it."""
    if isinstance(entry, Branch) and isinstance(there, Branch):
        yield entry, there
    elif is_list(entry):
        pairs = zip(entry, there, strict=False) if is_list(there) else ()
        seen: set[int] = set()  # `repeat` puts the same table several times
        for mine, below in pairs:
            if id(mine) not in seen:
                seen.add(id(mine))
                yield mine, below
    elif isinstance(entry, Patch) and is_list(there):
        yield from ((item, there[i]) for i, item in entry.items.items() if i < len(there))
        if entry.each.entries and there:
            yield entry.each, there[0]


def without_inert(root: Branch) -> Branch:
    """Return a layer without the values that cannot act in it: those a file below gave."""
    return _without_inert(root, root)


def _without_inert(branch: Branch, root: Branch) -> Branch:
    get = get_from_layer(root, branch)
    entries: dict[str, Any] = {}
    for name, entry in branch.entries.items():
        rule = rule_of(branch.record_type, name)
        if isinstance(entry, Leaf) and _is_inert(rule, get):
            continue
        entries[name] = entry
        if isinstance(entry, Branch):
            entries[name] = _without_inert(entry, root)
        elif is_list(entry):
            entries[name] = tuple(_without_inert(item, root) for item in entry)
    return branch._replace(entries=entries)


def idle_value(branch: Branch, root: Branch, name: str) -> Any:
    """Return what stands for a required value that cannot act, or `dataclasses.MISSING`."""
    rule, get = rule_of(branch.record_type, name), get_from_layer(root, branch)
    if rule is None or rule.idle is None or acts(rule, get):
        return dataclasses.MISSING
    return rule.idle(get)


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
