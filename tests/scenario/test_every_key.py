"""Every key of a scenario is read by the physics: changed, it moves some result somewhere."""

import dataclasses
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest

from slipbench import simulate
from slipbench.ground.errors import InputError
from slipbench.guide.key_list import Key, all_keys
from slipbench.scenario import Scenario, load_scenario
from slipbench.scenario.acting import inert_because
from slipbench.scenario.fields import Record, specs_of

MOST_TRIED = 6

LABELS = {"name", "title", "train.name", "train.vehicle.name"}
"""Names, which stand in tables and pictures."""

FILES = {"contact.measured_curve", "rail.profile", "driver.log"}
"""Files; that what they hold is read has tests of its own (`test_profile`, `test_laws`, ...)."""

WRITTEN_OUT = "driver.routine."
"""A routine is gone once it is written out; `test_routines` holds what each key makes of it."""


def short(name: str = "wet_leaf", speed: float = 9.0, **changes: Any) -> Scenario:
    """Return a short stop of two cars."""
    base = load_scenario(name)
    vehicles = base.train.vehicles
    fewer = {"train.vehicles": (vehicles[0], vehicles[1]), "initial_speed": speed}
    return base.replace(fewer).replace(changes)


@cache
def configurations() -> tuple[tuple[str, Scenario], ...]:
    """Return (strategy, scenario) in which keys are tried, the plain ones first."""
    return tuple(_configurations())


def _configurations() -> Iterator[tuple[str, Scenario]]:
    from slipbench.scenario import (
        CurveSection,
        Easing,
        Fault,
        GradientSection,
        HandleEntry,
        IsolationPress,
        RandomFriction,
        Sander,
    )

    plain = short()
    yield "slip_band", plain
    yield "none", plain
    yield "slip_band", short("detergent", 14.0)
    yield "slip_band", plain.replace({"brake.air": "ramps"})
    for law in ("contact_only", "rail_and_contact"):
        yield "slip_band", plain.replace({"rail.cleaning_law": law})
    for law in ("strip", "carter"):
        yield "slip_band", plain.replace({"contact.law": law})
    sanded = (Sander(axle=3, rate=0.03, mode="speed_proportional", start_delay=0.1, from_step=1),)
    yield "slip_band", short("wet_leaf", 14.0, sanders=sanded)
    yield (
        "slip_band",
        short(
            "wet_leaf",
            14.0,
            sanders=(
                Sander(
                    axle=3,
                    rate=0.03,
                    start_delay=0.1,
                    run_on_time=0.5,
                    from_step=1,
                    trigger="vehicle",
                ),
            ),
        ),
    )
    line = {
        "gradient": (
            GradientSection(from_distance=-200.0, rise=0.01),
            GradientSection(from_distance=10.0, rise=-0.01),
        ),
        "curves": (CurveSection(from_distance=-200.0, radius=400.0),),
    }
    yield "slip_band", plain.replace(line)
    film = plain.rail.sections[0]
    two = (film, dataclasses.replace(film, from_distance=8.0, friction=0.1))
    yield "slip_band", plain.replace({"rail.sections": two})
    yield (
        "slip_band",
        plain.replace(
            {
                "rail.random": RandomFriction(
                    seed=4,
                    mean_patch=5.0,
                    long_share=0.5,
                    long_from=2.0,
                    long_to=6.0,
                    lowest_friction=0.03,
                    highest_friction=0.1,
                )
            }
        ),
    )
    for kind in ("cast_iron", "composite"):
        yield "none", plain.replace({"train.vehicles.*.brake_kind": kind})
    steps = (
        HandleEntry(at_time=0.0, position=1),
        HandleEntry(after=0.6, position=3),
        HandleEntry(at_speed=5.0, position=2),
        HandleEntry(at_distance=18.0, position=4),
    )
    yield "slip_band", plain.replace({"driver.programme": steps})
    eased = Easing(position=1, reaction_time=0.2, calm_time=0.5, pressure_drop=0.1)
    yield "slip_band", short("wet_leaf", 14.0).replace({"driver.easing": eased})
    emergency = {"driver.programme.0.position": 4}
    presses = (
        IsolationPress(at_time=2.0),
        IsolationPress(at_speed=6.0),
        IsolationPress(at_distance=9.0),
    )
    for press in presses:
        yield (
            "slip_band",
            plain.replace({**emergency, "driver.presses": (press,), "brake.isolation_time": 1.0}),
        )
    yield "slip_band", plain.replace({**emergency, "brake.enhanced_emergency": 1.5})
    yield "slip_band", plain.replace({"driver.stopping_point": 30.0})
    levels = {
        "brake.controller_levels": (0.0, 0.5, 1.0),
        "brake.controller_demands": (0.0, 0.5, 1.1),
        "driver.programme": (HandleEntry(at_time=0.0, position=1, level=0.8),),
    }
    yield "slip_band", plain.replace(levels)
    for fault in (
        Fault(kind="sensor_noisy", axle=1, at_time=0.5),
        Fault(kind="sensor_dead", axle=2, at_speed=7.0),
        Fault(kind="car_unbraked", vehicle=1, at_distance=5.0),
        Fault(kind="control_wire_broken", wire=1, vehicle=2, at_time=0.0),
    ):
        yield "slip_band", plain.replace({"faults": (fault,)})
    yield (
        "slip_band",
        plain.replace(
            {"sanders": sanded * 2, "faults": (Fault(kind="sander_empty", sander=1, at_time=0.0),)}
        ),
    )
    worn = {"equipment.grade": "worn", "equipment.dropout": 0.2, "equipment.dropout_burst": 3}
    yield "slip_band", plain.replace(worn)
    axles = {
        "train.vehicles.*.wheel_diameters": (0.84, 0.83, 0.82, 0.84),
        "train.vehicles.*.wheelset_inertias": (100.0, 110.0, 120.0, 100.0),
        "train.vehicles.*.assumed_wheel_diameters": (0.84, 0.84, 0.84, 0.83),
        "train.vehicles.*.load": 0.5,
        "train.vehicles.*.unbraked_axles": (1,),
    }
    yield "slip_band", plain.replace(axles)
    names = ("main_reservoir_volume", "compressor_flow", "auxiliary_flow")
    no_main = {f"train.vehicles.*.{name}": 0.0 for name in names}
    yield "slip_band", plain.replace(no_main)
    for strategy in ("train_coordinated", "phase_logic", "deceleration"):
        yield strategy, plain
    yield from _electric(plain)
    yield from _rare(plain)


def _electric(plain: Scenario) -> Iterator[tuple[str, Scenario]]:
    """Yield stops with dynamic brakes, of each rule on a slide, and with track brakes."""
    from slipbench.scenario import Blending, DynamicBrake, Fault, TrackBrake

    dynamic = DynamicBrake(
        force_limit=9e3,
        power_limit=6e4,
        fade_from=3.0,
        fade_to=1.5,
        field_speed=8.0,
        receptivity=0.7,
        resistor_power=1e4,
        slide_slip=0.05,
        slide_speed=0.2,
    )
    motored = {
        "train.vehicles.0.motored_axles": (1, 2, 3, 4),
        "train.vehicles.0.motor_inertia": 1.0,
        "train.vehicles.0.gear_ratio": 4.0,
        "train.blending": Blending(),
    }
    for name, speed in (("dry", 12.0), ("wet_leaf", 12.0)):
        for rule in ("cut_out", "restore", "hand_over"):
            brake = dataclasses.replace(dynamic, slide_rule=rule)
            if rule == "restore":
                brake = dataclasses.replace(brake, slides_to_cut_out=1)
            if rule == "hand_over":
                brake = dataclasses.replace(brake, hand_back_time=0.3)
            fitted = motored | {"train.vehicles.0.dynamic_brake": brake}
            yield "slip_band", short(name, speed, **fitted)
    fitted = motored | {"train.vehicles.0.dynamic_brake": dynamic}
    lost = Fault(kind="line_lost", at_time=1.0, share=0.5)
    yield "slip_band", short("dry", 12.0, **fitted, faults=(lost,))
    for position in (1, 4):
        yield "slip_band", short("dry", 12.0, **fitted, **{"driver.programme.0.position": position})
    emergency = {"driver.programme.0.position": 4}
    for track in (
        TrackBrake(attraction=4e4, lowering_time=0.3, lowest_speed=2.0),
        TrackBrake(kind="eddy_current", peak_force=8e3, critical_speed=8.0, lowering_time=0.3),
    ):
        yield "slip_band", plain.replace({**emergency, "train.vehicles.0.track_brake": track})
        yield "slip_band", plain.replace({"train.vehicles.0.track_brake": track})


def _rare(plain: Scenario) -> Iterator[tuple[str, Scenario]]:
    """Yield what few keys need: brakes of a vehicle's own, sanders that run on, two curves."""
    from slipbench.scenario import CurveSection, Fault, HandleEntry, Sander, VehicleBrake

    own = {"train.vehicles.0.brake": VehicleBrake()}
    later = (
        HandleEntry(at_time=0.0, position=3),
        HandleEntry(after=2.0, position=1),
        HandleEntry(after=1.0, position=3),
    )
    yield "slip_band", plain.replace(own)
    yield "slip_band", plain.replace({**own, "driver.programme": later})
    # a cylinder that slip control has vented has nothing to release: on dry rail it has
    yield "none", short("dry", 14.0, **own).replace({"driver.programme": later})
    mixed = {"train.vehicles.0.brake": VehicleBrake(air="ramps")}
    yield "slip_band", plain.replace(mixed)
    levels = {
        "brake.controller_levels": (0.0, 0.5, 1.0),
        "brake.controller_demands": (0.0, 0.5, 1.1),
        "driver.programme": (HandleEntry(at_time=0.0, position=1, level=0.8),),
    }
    yield "slip_band", plain.replace({**own, **levels})
    emergency = {"driver.programme.0.position": 4}
    yield "slip_band", plain.replace({**own, **emergency})
    yield "slip_band", plain.replace({**own, "brake.air": "ramps"})
    more = short("damp_oxide", 20.0).replace({"brake.demand_factor_limit": 1.3})
    yield "train_coordinated:factor_limit=1.3", more
    yield "train_coordinated:factor_limit=1.3", more.replace(own)
    long_vent = short("wet_leaf", 20.0).replace({"brake.vent_time_limit": 0.3})
    yield "slip_band", long_vent
    yield "slip_band", long_vent.replace({"train.vehicles.0.brake": VehicleBrake()})
    broken = Fault(kind="control_wire_broken", wire=1, at_time=0.0)
    yield "slip_band", plain.replace({"faults": (broken,), "brake.wire_codes": (1, 2, 3)})
    lets_go = (
        HandleEntry(at_time=0.0, position=3),
        HandleEntry(after=2.0, position=0),
        HandleEntry(after=3.0, position=3),
    )
    running_on = Sander(axle=3, rate=0.03, start_delay=0.1, run_on_time=1.0, from_step=2)
    yield (
        "slip_band",
        short("wet_leaf", 14.0, sanders=(running_on,)).replace({"driver.programme": lets_go}),
    )
    curves = (
        CurveSection(from_distance=-100.0, radius=300.0),
        CurveSection(from_distance=10.0, radius=900.0),
    )
    yield "slip_band", plain.replace({"curves": curves})


def places(scenario: Scenario, key: Key) -> list[tuple[str, Record]]:
    """Return path and record of every place in a scenario where a key may stand."""

    def walk(owner: Record, path: str) -> Iterator[tuple[str, Record]]:
        if type(owner) is key.record:
            yield path, owner
        for name, spec in specs_of(type(owner)).items():
            value = getattr(owner, name)
            if spec.kind == "record" and value is not None:
                items = list(enumerate(value)) if spec.is_list else [("", value)]
                for i, item in items:
                    yield from walk(
                        item, f"{path}{name}.{i}." if spec.is_list else f"{path}{name}."
                    )

    return list(walk(scenario, ""))


def others(value: Any, key: Key) -> Iterator[Any]:
    """Yield values a key may be changed to."""
    spec = key.spec
    if spec.choices:
        yield from (choice for choice in spec.choices if choice != value)
    elif spec.kind == "flag":
        yield from (choice for choice in (True, False) if choice is not value)
    elif value is None and spec.is_list:
        yield from (tuple(0.2 * k for k in range(1, n + 1)) for n in range(1, 5))
    elif isinstance(value, tuple):
        for factor in (1.05, 0.95):
            yield tuple(factor * item if spec.kind == "quantity" else item for item in value)
        yield value[:-1] or ((1,) if spec.kind == "count" else (0.5,))
        yield (*value[:-1], value[-1] + 1) if spec.kind == "count" and value else (2,)
    else:
        low = spec.low if spec.low is not None else (spec.above or 0.0) + 1e-9
        high = spec.high if spec.high is not None else 1e3
        near = (
            []
            if value is None
            else [1.1 * value, 0.7 * value, 2.0 * value, value + 0.3, value - 0.3]
        )
        ends = [
            0.5 * (low + high),
            low + 0.05 * (high - low),
            low + 0.002 * (high - low),
        ]
        for other in (*near[:2], low, high, *near[2:], *ends):
            if other != value:
                yield round(other) if spec.kind in ("count", "position") else other


@cache
def result(strategy: str, scenario: Scenario) -> str:
    """Return all that a stop gives, as text."""
    try:
        stop = simulate(scenario, strategy, 3, with_traces=True)
    except InputError as problem:  # refused, or a stop given up: moved as well
        return str(problem)
    ends = {name: float(values.sum()) for name, values in stop.traces.items()}
    sizes = [len(values) for values in stop.traces.values()]
    rail = float(stop.rail_after.work.sum()), float(stop.rail_after.sand.sum())
    return repr((dict(stop.summary), ends, sizes, rail, [f.text for f in stop.findings]))


def moves(key: Key) -> bool:
    """Say whether some change of a key moves some result in some configuration."""
    for strategy, scenario in configurations():
        for path, owner in places(scenario, key)[:5]:
            if inert_because(scenario, owner, key.name):
                continue
            tried = 0
            for value in others(getattr(owner, key.name), key):
                try:
                    changed = scenario.replace({f"{path}{key.name}": value})
                except InputError:
                    continue
                if result(strategy, changed) != result(strategy, scenario):
                    return True
                tried += 1
                if tried >= MOST_TRIED:
                    break
    return False


BY_KIND = {"train.vehicle.track_brake.kind"}
"""Choices that need other values beside them, see below."""

IN_EVERY_RUN = {
    "brake.emergency",
    "brake.fill_rate",
    "rail.section.friction",
    "sensing.teeth",
    "train.vehicle.wheel_diameter",
    "slip_control.valve_group",
}
"""A few of them; all are slow."""

KEYS = [
    key
    for key in all_keys()
    if key.dotted not in LABELS | FILES | BY_KIND and not key.dotted.startswith(WRITTEN_OUT)
]


@pytest.mark.slow
@pytest.mark.parametrize("key", KEYS, ids=lambda key: key.dotted)
def test_key_is_read_by_the_physics(key):
    assert moves(key), key.dotted


@pytest.mark.parametrize(
    "key", [key for key in KEYS if key.dotted in IN_EVERY_RUN], ids=lambda key: key.dotted
)
def test_key_is_read_in_every_run_too(key):
    assert moves(key), key.dotted


def test_kinds_of_track_brake_differ():
    """Not by changing the kind alone: each needs values of its own."""
    found = {
        result(strategy, scenario)
        for strategy, scenario in configurations()
        if scenario.train.vehicles[0].track_brake is not None
    }
    assert len(found) == 3  # not lowered in service, the two are alike


def test_lists_of_keys_name_keys_there_are():
    known = {key.dotted for key in all_keys()}
    assert {*LABELS, *FILES, *IN_EVERY_RUN, *BY_KIND} <= known
