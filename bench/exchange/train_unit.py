"""A scenario's train, brakes and rail as a unit, its compiled physics inside."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np

from slipbench.compiling.objects import data_object, kept_object
from slipbench.contract import COLUMN, SIGNALS, Controller, Floats
from slipbench.exchange import parts
from slipbench.exchange.building import built_for, link, pack_unit, sources_of, token_of
from slipbench.exchange.layout import (
    changes,
    image_of,
    layout_lines,
    moved,
    packed_image,
    size_of,
)
from slipbench.exchange.outline import (
    BOOLEAN,
    FIXED,
    INPUT,
    INTEGER,
    OUTPUT,
    REAL,
    Item,
    Outline,
    c_list,
    c_number,
    header_lines,
    table_lines,
)
from slipbench.exchange.page import page_of
from slipbench.exchange.ports import COMMANDS, SEEN
from slipbench.ground.errors import InputError
from slipbench.kernel import codes
from slipbench.kernel.records import World
from slipbench.kernel.train import GRAVITY
from slipbench.packing import pack
from slipbench.packing.draws import draw_equipment
from slipbench.packing.train import STEP_OVER_SPEED, STEP_OVER_SQUARE
from slipbench.scenario import Scenario

ROOM = 1000
"""Movements of the handle on their way at once."""

SLOWEST, FASTEST = 1.0, 100.0
"""Initial speeds a unit takes. [m/s]"""

SPEED_MOVES = {
    "train_state.speed",
    *(f"axle_states.{name}" for name in ("wheel_speed", "measured_speed", "pulse_time")),
    *("axle_states.sampled_pulse_time", "run.maximum_step"),
}
LOAD_MOVES = {
    *(f"axles.{name}" for name in ("mass_carried", "wheel_load", "contact_stiffness")),
    *(f"axle_states.{name}" for name in ("wheel_load", "contact_stiffness")),
    *("vehicles.load_factor", "vehicles.body_mass", "vehicle_states.load_factor", "train.mass"),
    "brakes.mass",
}
"""Fields that follow a parameter, as `shim/train.c` sets them; if others do, it is left out."""


class Wanted(NamedTuple):
    """What of a scenario is to be written.

    Attributes
    ----------
    vehicle : int or None   the one whose slip control is outside, from 1; None: all
    is_train_wide : bool    one controller samples for all axles
    has_dynamic : bool      slip control outside commands the dynamic brake too
    n_seeds : int           equipment of so many seeds
    """

    scenario: Scenario
    version: int = 2
    vehicle: int | None = None
    is_train_wide: bool = False
    has_dynamic: bool = False
    n_seeds: int = 64
    is_native: bool = False


class _Shown(NamedTuple):
    """The axles and controllers whose slip control is outside."""

    first_axle: int
    n_axles: int
    first_group: int
    n_groups: int


def train_unit(wanted: Wanted) -> bytes:
    """Return a train as the content of a unit's file.

    Raises
    ------
    InputError   for a vehicle there is not, a scenario that cannot be packed, no compiler
    """
    worlds = [_packed(wanted, wanted.scenario, seed) for seed in range(wanted.n_seeds)]
    world = worlds[0]
    shown = _shown(wanted, world)
    masses = _masses(wanted, world)
    outline = _outline(wanted, world, shown, masses is not None)
    sources = sources_of(outline, "train")
    sources["model.h"] = "\n".join(_header(wanted, outline, world, shown, masses)) + "\n"
    sources["model.c"] = (
        "\n".join([*table_lines(outline), *_tables(wanted, outline, masses)]) + "\n"
    )
    image = image_of(world)
    data = {
        "slipbench_image": packed_image(image),
        "slipbench_seeds": b"".join(changes(image, image_of(other)) for other in worlds),
    }
    physics = kept_object(
        parts.run_part, parts.SIGNATURE, "slipbench_part", Path(parts.__file__), wanted.is_native
    )
    objects = {"physics.o": physics, "data.o": data_object(data)}
    library = link(sources, objects, wanted.version)
    page = page_of(
        outline, built_for(wanted.is_native), "A train, its brakes and its rail.", _REMARKS
    )
    return pack_unit(outline, library, page, sources)


_REMARKS = (
    "Variables that begin with truth or audit are the model's own state, which no equipment sees: "
    "a controller that uses them is an upper bound, nothing else.",
    "A controller samples at instants of its own. A communication step that ends at "
    "next_sample_time shows what the equipment then sees (is_sampled says whose), and the inputs "
    "set before the next step are that sample's commands. With one controller the unit computes to "
    "the last bit what the bench does; with several, steps of the physics are cut there. Samples "
    "inside a step take the inputs as they stand. With samples_at_steps the sampling begins at "
    "time 0 in all vehicles, for tools of fixed steps.",
    "handle_position below 0 leaves the handle to the scenario's own programme.",
    "Steps of communication cut those of the physics: distances then differ by some 1e-6. An "
    "initial speed, load or friction scale other than the start value sets the packed model anew "
    "in C; seeds draw equipment as the bench does, numbered from 0.",
)


def _packed(wanted: Wanted, scenario: Scenario, seed: int) -> World:
    """Pack a stop about to begin, with room for movements of the handle."""
    controller = Controller(
        name="outside",
        title="slip control outside",
        update=_nothing,
        scope="train" if wanted.is_train_wide else "vehicle",
        commands_dynamic=wanted.has_dynamic,
    )
    world = pack(scenario, controller, seed, with_traces=False)
    room = ROOM + len(world.handle)
    handle = np.zeros(room, world.handle.dtype)
    handle[: len(world.handle)] = world.handle
    return world._replace(handle=handle, effective=np.zeros(room))


def _nothing(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Stand in for the slip control outside."""


def _shown(wanted: Wanted, world: World) -> _Shown:
    n_axles, n_groups = len(world.axles), len(world.groups)
    if wanted.vehicle is None:
        return _Shown(0, n_axles, 0, n_groups)
    if not 1 <= wanted.vehicle <= len(world.vehicles):
        raise InputError(f"--vehicle {wanted.vehicle}; allowed: 1 to {len(world.vehicles)}")
    own = world.vehicles[wanted.vehicle - 1]
    return _Shown(int(own["first_axle"]), int(own["n_axles"]), wanted.vehicle - 1, 1)


def _masses(wanted: Wanted, world: World) -> Floats | None:
    """Return (n_seeds, n_vehicles, 3) mass empty, payload, and share drawn beside the train's load.

    A vehicle whose load is given has its mass, 0 and infinity. None where something beside
    `LOAD_MOVES` follows the load.
    """
    scenario = wanted.scenario
    others = [_packed(wanted, scenario.replace({"train.load": load}), 0) for load in (0.3, 0.8)]
    if any(moved(world, other) - LOAD_MOVES for other in others):
        return None
    middle = scenario.replace({"train.load": 0.5})
    found = np.empty((wanted.n_seeds, len(scenario.train.vehicles), 3))
    for seed in range(wanted.n_seeds):
        drawn = draw_equipment(middle, seed).masses
        for own, vehicle, mass in zip(found[seed], scenario.train.vehicles, drawn, strict=True):
            payload = vehicle.laden_mass - vehicle.tare_mass
            own[:] = vehicle.tare_mass, payload, 0.0
            if vehicle.load is not None:
                own[:] = mass, 0.0, np.inf
            elif payload > 0.0:
                own[2] = (mass - vehicle.tare_mass) / payload - 0.5
    return found


def _by_axle(prefix: str, names: dict[str, tuple[str, str, str, str]], size: int) -> Iterator[Item]:
    for name, (kind, unit, text, macro) in names.items():
        yield Item(f"{prefix}{name}", kind, OUTPUT, text, unit, size, True, macro=macro)


_TRUE_AXLE = {
    "wheel_speed": (REAL, "m/s", "truth: at the rim", "V_TRUE_WHEEL_SPEED"),
    "pressure": (REAL, "Pa", "truth: brake cylinder, gauge", "V_TRUE_PRESSURE"),
    "brake_force": (REAL, "N", "truth: of the friction brake at the rim", "V_TRUE_BRAKE_FORCE"),
    "rail_force": (REAL, "N", "truth: of both wheels", "V_TRUE_RAIL_FORCE"),
    "is_locked": (BOOLEAN, "", "truth: the wheel stands while the train moves", "V_TRUE_LOCKED"),
}

_TRUE_TRAIN = (
    ("truth.train_speed", REAL, "m/s", "truth: of the train", "V_TRUE_SPEED"),
    ("truth.distance", REAL, "m", "truth: since the start", "V_TRUE_DISTANCE"),
    ("truth.acceleration", REAL, "m/s2", "truth: mean over the last step", "V_TRUE_ACCELERATION"),
    ("truth.time", REAL, "s", "truth: the model's own; stands still with the train", "V_TRUE_TIME"),
    ("truth.status", INTEGER, "", "0 running, 1 stopped, 2 too far, 3 too long, 4 and 5 failed",
     "V_STATUS"),
    ("audit.initial_energy", REAL, "J", "kinetic, at the start", "V_AUDIT_INITIAL"),
    ("audit.kinetic_energy", REAL, "J", "kinetic, now", "V_AUDIT_KINETIC"),
    ("audit.brake_energy", REAL, "J", "taken by friction and dynamic brakes", "V_AUDIT_BRAKE"),
    ("audit.contact_energy", REAL, "J", "heat of wheels on rails", "V_AUDIT_CONTACT"),
    ("audit.other_work", REAL, "J", "resistance, gradient, curves, track brakes", "V_AUDIT_OTHER"),
    ("audit.residual", REAL, "", "not accounted for, over the initial energy", "V_AUDIT_RESIDUAL"),
)  # fmt: skip


def _inputs(wanted: Wanted, world: World, shown: _Shown) -> Iterator[Item]:
    last = int(world.train["n_steps"][0]) + 1
    yield Item("handle_position", INTEGER, INPUT, "0 release, steps of service braking; below 0: "
               "the scenario's own programme", starts=(-1.0,), low=-1, high=last,
               macro="V_HANDLE")  # fmt: skip
    if len(world.controller_table):
        yield Item("controller_level", REAL, INPUT, "of a continuous brake controller, from 0 to "
                   "1; below 0: handle_position counts", starts=(-1.0,), low=-1.0,
                   macro="V_LEVEL")  # fmt: skip
    yield Item("emergency", BOOLEAN, INPUT, "the handle is in emergency", starts=(0.0,),
               macro="V_EMERGENCY")  # fmt: skip
    n = shown.n_axles
    for name, (kind, rest, text) in list(COMMANDS.items())[: world.command.shape[1]]:
        yield Item(name, kind, INPUT, text, "", n, True, n * (rest,))
    yield Item("slide", BOOLEAN, INPUT, "signal by vehicle: a slide is in progress (sanders "
               "trigger on it)", "", shown.n_groups, True, shown.n_groups * (0.0,),
               macro="V_SLIDE")  # fmt: skip


def _parameters(wanted: Wanted, has_load: bool) -> Iterator[Item]:
    scenario = wanted.scenario
    yield Item("initial_speed", REAL, FIXED, "of the train", "m/s", 1, False,
               (scenario.initial_speed,), SLOWEST, FASTEST, "V_INITIAL_SPEED")  # fmt: skip
    yield Item("friction_scale", REAL, FIXED, "times the friction of the rail, cleaned or not", "",
               1, False, (1.0,), 0.01, 10.0, "V_FRICTION_SCALE")  # fmt: skip
    if has_load:
        yield Item("load", REAL, FIXED, "share of the payload, where a vehicle's is not given", "",
                   1, False, (scenario.train.load,), 0.0, 1.0, "V_LOAD")  # fmt: skip
    yield Item("seed", INTEGER, FIXED, "of equipment drawn, sampling and toothed wheels", "", 1,
               False, (0.0,), 0, wanted.n_seeds - 1, "V_SEED")  # fmt: skip
    yield Item("samples_at_steps", BOOLEAN, FIXED, "all controllers sample at 0 and every sample "
               "time after", "", 1, False, (0.0,), macro="V_ALIGNED")  # fmt: skip


def _seen(wanted: Wanted, shown: _Shown) -> list[str]:
    sensing = wanted.scenario.sensing
    names = [name for name in SEEN if name != "sample_time"]
    if not sensing.has_pressure_transducer:
        names.remove("measured_pressure")
    if not wanted.scenario.train.has_dynamic_brake:
        names = [name for name in names if not name.startswith("dynamic")]
    return names


def _outline(wanted: Wanted, world: World, shown: _Shown, has_load: bool) -> Outline:
    scenario = wanted.scenario
    items = [*_inputs(wanted, world, shown), *_parameters(wanted, has_load)]
    for name in _seen(wanted, shown):
        unit, text = SEEN[name]
        items.append(Item(name, REAL, OUTPUT, text, unit, shown.n_axles, True))
    items.append(Item("next_sample_time", REAL, OUTPUT, "when a controller samples next", "s",
                      macro="V_NEXT_SAMPLE"))  # fmt: skip
    items.append(Item("is_sampled", BOOLEAN, OUTPUT, "by vehicle: its controller samples now, "
                      "waiting for its commands", "", shown.n_groups, True,
                      macro="V_SAMPLED"))  # fmt: skip
    items += [
        Item(name, kind, OUTPUT, text, unit, macro=macro)
        for name, kind, unit, text, macro in _TRUE_TRAIN
    ]
    items += _by_axle("truth.", _TRUE_AXLE, len(world.axles))
    word = re.sub(r"\W+", "_", scenario.name, flags=re.ASCII)[:40].strip("_") or "train"
    run = scenario.run
    return Outline(
        name=f"slipbench_{word}",
        identifier=f"slipbench_{word}",
        text=f"{scenario.title}. Invented data unless their source says otherwise.",
        version=wanted.version,
        token=token_of(image_of(world), repr(items), repr(wanted[1:])),
        items=tuple(items),
        step=scenario.slip_control.sample_time,
        stop=min(run.maximum_time, 600.0),
    )


def _header(
    wanted: Wanted, outline: Outline, world: World, shown: _Shown, masses: Floats | None
) -> Iterator[str]:
    yield from header_lines(outline)
    n_entries = "state->scratch[N_ENTRIES]"
    rows = {"handle": "n_entries", "effective": "n_entries"}
    yield f"/* n_entries is {n_entries} where the world is handed over */"
    yield from layout_lines(world, rows)
    for name, number in _sizes(wanted, world, shown, masses is not None).items():
        yield f"#define {name} {number}"
    yield f"#define SLOWEST {c_number(SLOWEST)}"
    yield f"#define FASTEST {c_number(FASTEST)}"
    yield f"#define LONGEST_STEP {c_number(wanted.scenario.run.maximum_step)}"
    yield f"#define STEP_OVER_SPEED {c_number(STEP_OVER_SPEED)}"
    yield f"#define STEP_OVER_SQUARE {c_number(STEP_OVER_SQUARE)}"
    yield f"#define GRAVITY {c_number(GRAVITY)}"
    yield "extern const int unit_seen[], unit_columns[], unit_commands[];"
    yield "extern const double unit_masses[], unit_ladens[], unit_rotating[];"


def _sizes(wanted: Wanted, world: World, shown: _Shown, has_load: bool) -> dict[str, int]:
    """Return the whole numbers of the header: sizes of the world, codes of the kernel, switches."""
    return {
        "MODEL_SIZE": size_of(world),
        "N_AXLES": len(world.axles),
        "N_CELLS": len(world.cells),
        "N_GROUPS": len(world.groups),
        "N_VEHICLES": len(world.vehicles),
        "N_COMMAND": world.command.shape[1],
        "N_SIGNALS": len(SIGNALS),
        "N_SEEN": len(_seen(wanted, shown)),
        "N_SEEDS": wanted.n_seeds,
        "N_PROGRAMME": len(wanted.scenario.driver.programme),
        "ROOM_FOR_ENTRIES": ROOM,
        "FIRST_SHOWN": shown.first_axle,
        "N_SHOWN": shown.n_axles,
        "FIRST_GROUP": shown.first_group,
        "N_SHOWN_GROUPS": shown.n_groups,
        "EMERGENCY_POSITION": wanted.scenario.brake.emergency_position,
        "AT_TIME_TRIGGER": codes.AT_TIME,
        "HOLD_DRIVER": codes.HOLD_PROGRAMME,
        "RUNNING_STATUS": codes.RUNNING,
        "TASK_GO": parts.GO,
        "TASK_OBSERVE": parts.OBSERVE,
        "TASK_ACCEPT": parts.ACCEPT,
        "TASK_ENTER": parts.ENTER,
        "TASK_FINISH": parts.FINISH,
        "HAS_LOAD": int(has_load),
        "HAS_LEVEL": int(len(world.controller_table) > 0),
        "WEIGHS_LOAD": int(wanted.scenario.brake.variable_load),
    }


def _tables(wanted: Wanted, outline: Outline, masses: Floats | None) -> Iterator[str]:
    places = {item.name: (place, item.role) for place, item in outline.placed()}
    seen = [name for name in SEEN if places.get(name, (0, ""))[1] == OUTPUT]
    commands = [name for name in COMMANDS if places.get(name, (0, ""))[1] == INPUT]

    def ints(name: str, values: list[int]) -> str:
        return f"const int {name}[] = {{{c_list([str(value) for value in values])}}};"

    def doubles(name: str, values: list[float]) -> str:
        return f"const double {name}[] = {{{c_list([c_number(value) for value in values])}}};"

    yield ints("unit_seen", [places[name][0] for name in seen])
    yield ints("unit_columns", [COLUMN[name] for name in seen])
    yield ints("unit_commands", [places[name][0] for name in commands])
    vehicles, brake = wanted.scenario.train.vehicles, wanted.scenario.brake
    rotating = [v.rotating_mass if brake.weighs_rotating_mass else 0.0 for v in vehicles]
    yield doubles("unit_masses", [] if masses is None else masses.ravel().tolist())
    yield doubles("unit_rotating", rotating)
    yield doubles(
        "unit_ladens", [v.laden_mass + r for v, r in zip(vehicles, rotating, strict=True)]
    )


def check_speed(wanted: Wanted) -> None:
    """Refuse a scenario in which more follows the initial speed than the C sources set.

    Raises
    ------
    InputError
    """
    speed = wanted.scenario.initial_speed
    other = wanted.scenario.replace(initial_speed=0.5 * speed)
    more = moved(_packed(wanted, wanted.scenario, 0), _packed(wanted, other, 0)) - SPEED_MOVES
    if more:
        raise InputError(
            f"scenario {wanted.scenario.name}: {', '.join(sorted(more))} follow the initial speed; "
            "a unit does not know them (please report it)"
        )
