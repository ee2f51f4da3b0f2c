"""Random scenarios over everything the reader accepts, drawn from one number.

Each is built from plausible ranges; some are then made wild: single values anywhere within their
declared bounds. What does not fit together is refused by the scenario itself and drawn again.
"""

from pathlib import Path
from typing import Any

from tests.properties.any_train import Draw, any_train
from tests.support_stops import RANDOM_COMMANDS, RANDOM_TORQUE

from slipbench.contract import Controller
from slipbench.controllers import ALL_CONTROLLERS
from slipbench.ground.errors import InputError
from slipbench.scenario import (
    Brake,
    Contact,
    CurveSection,
    Driver,
    Equipment,
    Fault,
    GradientSection,
    HandleEntry,
    Rail,
    RailSection,
    RandomFriction,
    Run,
    Sander,
    Scenario,
    Sensing,
    SlipControl,
    Train,
    Vehicle,
    sections_from_csv,
)
from slipbench.scenario.driver import Easing, IsolationPress, Routine
from slipbench.scenario.equipment import GRADES
from slipbench.scenario.fault import AXLE_FAULTS, OTHER_FAULTS, VEHICLE_FAULTS
from slipbench.scenario.fields import Record, specs_of

MOST_AXLES = 48

TAME = {"maximum_time", "maximum_distance", "maximum_step", "maximum_pieces", "trace_interval"}
"""Not made wild: they decide how long a stop takes to compute, or whether it is given up."""


def _brake(draw: Draw) -> Brake:
    n_steps = draw.whole(1, 7)
    hardest = draw.even(0.5, 1.5)
    steps = tuple(hardest * (i + 1) / n_steps for i in range(n_steps))
    emergency = hardest * draw.even(1.0, 1.6)
    full = draw.even(1.5e5, 5e5)
    vent, fill = draw.log(5e-3, 0.1), draw.log(5e-3, 0.1)
    changes: dict[str, Any] = {}
    if draw.often(0.6):
        changes |= {"air": "flow", "reservoir_pressure": draw.even(4e5, 9e5)}
        changes |= {"pipe_pressure": draw.even(0.0, 9e5), "critical_ratio": draw.even(0.1, 0.5)}
        for name in ("fill", "release", "vent", "charging"):
            changes[f"{name}_conductance"] = draw.log(2e-9, 5e-7)
        changes |= {"reservoir_volume": draw.log(0.01, 0.5), "main_pressure": draw.even(3e5, 11e5)}
    if draw.often(0.4):
        changes |= {"electrical_delay": draw.even(0.0, 0.02)}
        changes |= {"shortest_pulse": draw.even(0.0, 1.0) * min(vent, fill)}
        changes |= {"spring_pressure": draw.even(0.0, 0.3) * full}
        changes |= {"hysteresis": draw.even(0.0, 0.3)}
    if draw.often(0.2):
        changes["enhanced_emergency"] = emergency * draw.even(1.0, 1.5)
    if draw.often(0.2):
        changes |= {"controller_levels": (0.0, 0.5, 1.0)}
        changes |= {"controller_demands": (0.0, 0.4 * hardest, hardest)}
    return Brake(
        steps=steps,
        emergency=emergency,
        demand_delay=draw.some(0.8, lambda: draw.even(0.0, 1.0), 0.0),
        build_up_time=draw.some(0.8, lambda: draw.even(0.0, 3.0), 0.0),
        release_time=draw.some(0.8, lambda: draw.even(0.0, 4.0), 0.0),
        full_pressure=full,
        fill_rate=draw.log(5e4, 5e6),
        vent_rate=draw.log(5e4, 5e6),
        fill_delay=draw.some(0.9, lambda: fill, max(vent, fill)),
        vent_delay=vent,
        demand_factor_limit=draw.one(1.0, 1.0, 1.3, 3.0),
        pad_friction=draw.even(0.2, 0.5),
        variable_load=draw.often(0.7),
        weighs_rotating_mass=draw.often(0.7),
        vent_time_limit=draw.log(0.5, 20.0),
        isolation_time=draw.log(1.0, 120.0),
        **changes,
    )


def _film(draw: Draw, place: float) -> RailSection:
    friction = draw.log(0.005, 0.5)
    adhesion = draw.even(0.05, 1.0)
    falls = draw.often(0.7)
    return RailSection(
        from_distance=place,
        friction=friction,
        recovered_friction=min(0.9, friction + draw.some(0.6, lambda: draw.even(0.0, 0.4), 0.0)),
        cleaning_work=draw.log(1e2, 1e6),
        cleaning_exponent=draw.even(0.5, 4.0),
        friction_ratio=draw.even(0.1, 1.0) if falls else 1.0,
        friction_decay=draw.even(0.0, 2.0) if falls else 0.0,
        adhesion_reduction=adhesion,
        slip_reduction=adhesion * draw.even(0.1318, 1.0),
    )


def _rail(draw: Draw, folder: Path) -> Rail:
    places = [0.0]
    step = draw.log(3.0, 300.0)
    for _ in range(draw.one(0, 0, 1, 3, 40)):
        places.append(places[-1] + step * draw.even(0.5, 1.5))
    sections = tuple(_film(draw, place) for place in places)
    changes: dict[str, Any] = {}
    if draw.often(0.15):
        low = draw.log(0.005, 0.1)
        changes["random"] = RandomFriction(
            seed=draw.whole(0, 999),
            median_friction=draw.log(0.01, 0.3),
            lowest_friction=low,
            highest_friction=low * draw.even(1.0, 5.0),
            mean_patch=draw.log(5.0, 500.0),
        )
    elif draw.often(0.1):
        sections = sections_from_csv(folder / "profile.csv", sections[0])
    return Rail(
        sections=sections,
        cleaning_law=draw.one("rail_memory", "rail_memory", "contact_only", "rail_and_contact"),
        contact_share=draw.even(0.0, 1.0),
        redeposition=draw.some(0.3, lambda: draw.even(0.0, 2.0), 0.0),
        cell_length=draw.log(0.25, 1.0),
        locked_cleaning_share=draw.even(0.0, 1.0),
        full_cleaning_slip=draw.even(0.05, 0.95),
        crown_radius=draw.even(0.2, 0.5),
        sand_limit=draw.log(1e-3, 0.1),
        **changes,
    )


def _contact(draw: Draw, folder: Path) -> Contact:
    law = draw.one(*["polach"] * 6, "vermeulen_johnson", "shen_hedrick_elkins", "carter", "strip")
    if draw.often(0.06):
        return Contact(law="measured", measured_curve=str(folder / "curve.csv"))
    if law == "strip" and draw.often(0.5):
        return Contact(law=law, lateral_creepage=draw.even(-0.01, 0.01), spin=draw.even(-1.0, 1.0))
    return Contact(
        law=law, wheel_profile_curvature=draw.some(0.2, lambda: draw.even(-1.0, 2.0), 0.0)
    )


def _trigger(draw: Draw, speed: float) -> dict[str, float]:
    return draw.one(
        {"at_time": draw.even(0.0, 15.0)},
        {"at_speed": draw.even(0.0, speed)},
        {"at_distance": draw.log(0.5, 500.0)},
    )


def _driver(draw: Draw, speed: float, brake: Brake) -> Driver:
    changes: dict[str, Any] = {}
    if draw.often(0.2):
        changes["stopping_point"] = draw.log(10.0, 3000.0)
    if draw.often(0.15):
        changes["easing"] = Easing(
            position=draw.whole(0, brake.n_steps),
            reaction_time=draw.even(0.0, 3.0),
            calm_time=draw.even(0.0, 5.0),
        )
    if draw.often(0.15):
        presses = [IsolationPress(**_trigger(draw, speed)) for _ in range(draw.whole(1, 3))]
        changes["presses"] = tuple(presses)
    highest = brake.emergency_position
    if draw.often(0.15):
        kind = draw.one("hold", "pause", "release_and_reapply")
        routine = Routine(kind=kind, position=draw.whole(1, highest), n_repeats=draw.whole(1, 5))
        return Driver(routine=routine, **changes)
    entries = [HandleEntry(at_time=draw.one(0.0, 0.0, 1.3), position=draw.whole(1, highest))]
    for _ in range(draw.one(0, 0, 1, 2, 5)):
        trigger = draw.some(0.3, lambda: {"after": draw.even(0.0, 5.0)}, _trigger(draw, speed))
        entries.append(HandleEntry(position=draw.whole(0, highest), **trigger))
    if brake.controller_levels is not None and "easing" not in changes:
        entries.append(HandleEntry(after=1.0, position=1, level=draw.even(0.3, 1.0)))
    else:  # or it may never stop
        entries.append(HandleEntry(after=draw.even(0.0, 9.0), position=draw.whole(1, highest)))
    return Driver(programme=tuple(entries), **changes)


_FITTED = {"dynamic_brake_lost": "dynamic_brake", "track_brake_lost": "track_brake"}


def _faults_of(train: Train) -> list[str]:
    """Return the kinds of fault a train can have."""
    missing = {name for name, part in _FITTED.items() if not _has(train, part)}
    missing |= set() if train.has_dynamic_brake else {"line_lost"}
    return [k for k in (*AXLE_FAULTS, *VEHICLE_FAULTS, *OTHER_FAULTS) if k not in missing]


def _has(train: Train, part: str) -> bool:
    return any(getattr(vehicle, part) is not None for vehicle in train.vehicles)


def _fault(draw: Draw, train: Train, n_sanders: int, speed: float) -> Fault:
    kind = draw.one(*_faults_of(train))
    target: dict[str, Any] = {}
    if kind in AXLE_FAULTS:
        target = {"axle": draw.whole(1, train.n_axles)}
    elif kind in VEHICLE_FAULTS:
        fitted = [
            i
            for i, vehicle in enumerate(train.vehicles, start=1)
            if getattr(vehicle, _FITTED.get(kind, "name")) is not None
        ]
        target = {"vehicle": draw.one(*fitted)}
    elif kind == "sander_empty":
        target = {"sander": draw.whole(1, max(1, n_sanders))}
    elif kind == "control_wire_broken":
        target = {"wire": draw.whole(1, 3), "vehicle": draw.whole(1, len(train.vehicles))}
    return Fault(kind=kind, **target, **_trigger(draw, speed))


def _sander(draw: Draw, train: Train) -> Sander:
    return Sander(
        axle=draw.whole(1, train.n_axles),
        mode=draw.one("fixed", "speed_proportional"),
        rate=draw.log(1e-3, 0.2),
        from_step=1,
        start_delay=draw.even(0.0, 2.0),
        trigger=draw.one("train", "vehicle"),
        placement=draw.even(0.0, 1.0),
        hopper=draw.log(0.01, 20.0),
    )


def _with_compressors(draw: Draw, train: Train) -> Train:
    vehicles = list(train.vehicles)
    for i in {0, draw.whole(0, len(vehicles) - 1)}:
        changed = {
            "main_reservoir_volume": draw.log(0.01, 0.4),
            "compressor_flow": draw.log(1e-4, 0.03),
            "auxiliary_flow": draw.log(1e-5, 0.01),
        }
        values = {name: getattr(vehicles[i], name) for name in specs_of(Vehicle)}
        vehicles[i] = Vehicle(**(values | changed))
    values = {name: getattr(train, name) for name in specs_of(Train)}
    return Train(**(values | {"vehicles": tuple(vehicles)}))


def _scenario(draw: Draw, folder: Path) -> Scenario:
    is_long = draw.often(0.05)
    train = any_train(draw, MOST_AXLES if draw.often(0.2) else 12)
    brake = _brake(draw)
    if brake.air == "flow" and draw.often(0.5):
        train = _with_compressors(draw, train)
    speed = draw.log(0.5, 90.0) if is_long or draw.often(0.2) else draw.log(0.5, 25.0)
    sanders = tuple(_sander(draw, train) for _ in range(draw.one(0, 0, 1, 2)))
    n_faults = draw.one(0, 0, 1, 2, 4)
    gradient = curves = ()
    if draw.often(0.4):
        rises = [(-100.0, draw.even(-0.02, 0.03)), (60.0, draw.even(-0.03, 0.03))]
        gradient = tuple(GradientSection(from_distance=x, rise=rise) for x, rise in rises)
    if draw.often(0.3):
        curves = (CurveSection(from_distance=20.0, radius=draw.log(100.0, 3000.0)),)
    condition = {"pitch_error": draw.log(1e-5, 3e-3), "dropout": draw.log(1e-5, 0.3)}
    condition |= {"transducer_offset": draw.log(1e2, 3e4), "transducer_gain": draw.log(1e-3, 0.1)}
    condition |= {"transducer_lag": draw.log(1e-3, 0.2), "hysteresis": draw.even(0.0, 0.3)}
    return Scenario(
        name="anything",
        title="anything",
        initial_speed=speed,
        train=train,
        brake=brake,
        slip_control=SlipControl(
            sample_time=draw.log(5e-3, 0.05),
            cut_out_speed=draw.some(0.5, lambda: draw.even(0.0, 5.0), 0.0),
            valve_group=draw.one("axle", "axle", "bogie"),
        ),
        rail=_rail(draw, folder),
        contact=_contact(draw, folder),
        sanders=sanders,
        gradient=gradient,
        curves=curves,
        faults=tuple(_fault(draw, train, len(sanders), speed) for _ in range(n_faults)),
        driver=_driver(draw, speed, brake),
        sensing=Sensing(
            teeth=draw.whole(20, 150),
            zero_timeout=draw.log(0.05, 1.0),
            clock_tick=draw.one(0.0, 1e-6, 1e-4),
        ),
        equipment=Equipment(grade=draw.one(*GRADES), **draw.some(0.3, lambda: condition, {})),
        run=Run(
            maximum_step=draw.log(2e-3, 0.1),
            maximum_time=draw.even(100.0, 400.0) if is_long else draw.even(5.0, 60.0),
            maximum_distance=8e3 if is_long else 1e3,
        ),
    )


def _paths(record: Record, path: str = "") -> list[tuple[str, Any]]:
    """Return the dotted paths of all numbers of a scenario, with their specs."""
    found: list[tuple[str, Any]] = []
    for name, spec in specs_of(type(record)).items():
        value, here = getattr(record, name), f"{path}{name}"
        if isinstance(value, Record):
            found += _paths(value, f"{here}.")
        elif isinstance(value, tuple) and value and isinstance(value[0], Record):
            for i in {0, len(value) - 1}:
                found += _paths(value[i], f"{here}.{i}.")
        elif spec.kind in ("quantity", "count") and not spec.is_list and name not in TAME:
            found.append((here, spec))
    return found


def _wild_value(draw: Draw, spec: Any) -> float | int:
    low = spec.low if spec.low is not None else spec.above
    high = spec.high
    low, high = -1e6 if low is None else low, 1e6 if high is None else high
    at_edge = draw.often(0.3)
    if spec.kind == "count":
        return int(draw.one(low, high)) if at_edge else draw.whole(int(low), int(min(high, 2**40)))
    if at_edge and spec.above is None:
        return float(draw.one(low, high))
    if low >= 0.0 and draw.often(0.7):
        return draw.log(max(low, high * 1e-9, 1e-12), high)
    return draw.even(low, high)


def _gone_wild(draw: Draw, scenario: Scenario) -> Scenario:
    """Return the scenario with a few numbers anywhere within their bounds, where that is taken."""
    paths = _paths(scenario)
    for _ in range(draw.whole(1, 6)):
        path, spec = paths[draw.whole(0, len(paths) - 1)]
        try:
            scenario = scenario.replace({path: _wild_value(draw, spec)})
        except InputError:
            continue
    return scenario


def _controller(draw: Draw, scenario: Scenario) -> Controller:
    if draw.often(0.35):
        chosen = draw.one(RANDOM_COMMANDS, RANDOM_COMMANDS, RANDOM_TORQUE)
        fill = draw.even(0.1, 0.9)
        return chosen.with_parameters(
            seed=draw.whole(1, 10**6),
            change_chance=draw.log(1e-3, 1.0),
            fill_share=fill,
            vent_share=draw.even(0.0, 1.0) * (1.0 - fill),
            factor_limit=scenario.brake.demand_factor_limit,
        )
    chosen = draw.one(*ALL_CONTROLLERS)
    if draw.often(0.3):
        values = {p.name: draw.even(p.low, p.high) for p in chosen.parameters if not p.is_data}
        try:
            return chosen.with_parameters(**values)
        except InputError:
            return chosen
    return chosen


def anything(seed: int, number: int, folder: Path) -> tuple[Scenario, Controller, int]:
    """Return scenario, strategy and seed of one case; the same for the same two numbers.

    Parameters
    ----------
    seed, number : int
    folder : Path   where `write_files` has written
    """
    for attempt in range(200):
        draw = Draw(seed, number, attempt)
        try:
            scenario = _scenario(draw, folder)
        except InputError:
            continue
        if draw.often(0.25):
            scenario = _gone_wild(draw, scenario)
        return scenario, _controller(draw, scenario), draw.whole(0, 2**31)
    raise AssertionError("nothing was accepted in 200 attempts")


def write_files(folder: Path) -> None:
    """Write the files some scenarios name: a measured curve and a profile of the rail."""
    rows = [f"{c},{0.08 * c / (c + 0.01) * (1.0 - 0.3 * c)}" for c in (0.001, 0.01, 0.05, 0.3, 1.0)]
    (folder / "curve.csv").write_text("creepage,adhesion\n" + "\n".join(rows) + "\n")
    rows = [f"{x},{0.03 + 0.2 * (x % 3 == 0)}" for x in range(0, 400, 7)]
    (folder / "profile.csv").write_text("distance_m,friction\n" + "\n".join(rows) + "\n")
