"""A strategy of the bench as a unit."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Any

import numba

from slipbench.compiling.objects import object_code
from slipbench.contract import COLUMN, OBSERVED, SIGNALS, Controller
from slipbench.exchange.building import built_for, link, pack_unit, sources_of, token_of
from slipbench.exchange.guess import AXLE_COUNTS
from slipbench.exchange.mapping import BY_AXLE, MOST_AXLES
from slipbench.exchange.outline import (
    BOOLEAN,
    FIXED,
    INPUT,
    INTEGER,
    OUTPUT,
    REAL,
    TUNABLE,
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
from slipbench.kernel.records import UPDATE_SIGNATURE

STEP = 0.01
"""Sample time that is proposed. [s]"""


def strategy_unit(
    controller: Controller, version: int, n_axles: int, *, is_native: bool = False
) -> bytes:
    """Return a strategy as the content of a unit's file.

    Parameters
    ----------
    controller : Controller
    version : int     2 or 3
    n_axles : int     the most axles it has variables for; `n_axles` tells how many there are
    is_native : bool  compiled for this processor

    Raises
    ------
    InputError   for a strategy that sees the truth, is no Python, or does not compile alone
    """
    _refuse_unfit(controller, n_axles)
    outline = _outline(controller, version, n_axles)
    sources = sources_of(outline, "strategy")
    sources["model.h"] = "\n".join(_header(controller, outline, n_axles)) + "\n"
    sources["model.c"] = "\n".join([*table_lines(outline), *_tables(controller, outline)]) + "\n"
    function = getattr(controller.update, "py_func", controller.update)
    try:
        code = object_code(function, UPDATE_SIGNATURE, "slipbench_update", is_native=is_native)
    except numba.core.errors.NumbaError:
        raise InputError(
            f"strategy {controller.name}: its function does not compile without Python (it may "
            "make arrays of its own); keep to the subset slipbench guide own-strategy tells"
        ) from None
    library = link(sources, {"update.o": code}, version)
    page = page_of(outline, built_for(is_native), f"The slip control strategy {controller.name}.")
    return pack_unit(outline, library, page, sources)


def _refuse_unfit(controller: Controller, n_axles: int) -> None:
    if controller.uses_truth:
        raise InputError(f"strategy {controller.name}: sees the truth, which no unit is given")
    if not inspect.isfunction(getattr(controller.update, "py_func", controller.update)):
        raise InputError(f"strategy {controller.name}: is machine code already; allowed: Python")
    if not 1 <= n_axles <= MOST_AXLES:
        raise InputError(f"--axles {n_axles}; allowed: 1 to {MOST_AXLES}")


def _inputs(controller: Controller) -> list[str]:
    return [name for name in controller.observes if name != "sample_time"]


def _commands(controller: Controller) -> dict[str, tuple[str, float, str]]:
    return dict(list(COMMANDS.items())[: controller.n_command])


def _outline(controller: Controller, version: int, n_axles: int) -> Outline:
    items = [
        Item(
            AXLE_COUNTS[0], INTEGER, FIXED, "axles there are", starts=(n_axles,), low=1,
            high=n_axles, macro="V_N_AXLES",
        )
    ]  # fmt: skip
    for name in _inputs(controller):
        size = n_axles if name in BY_AXLE else 1
        unit, text = SEEN[name]
        items.append(Item(name, REAL, INPUT, text, unit, size, name in BY_AXLE, size * (0.0,)))
    items += [
        Item(
            p.name, REAL, TUNABLE, p.doc or p.source, p.unit, 1, False, (value,), p.low, p.high,
            macro="V_PARAMETERS" if i == 0 else "",
        )
        for i, (p, value) in enumerate(
            zip(controller.parameters, controller.parameter_values.tolist(), strict=True)
        )
    ]  # fmt: skip
    for name, (kind, _, text) in _commands(controller).items():
        items.append(Item(name, kind, OUTPUT, text, "", n_axles, True))
    items += [Item(name, BOOLEAN, OUTPUT, f"signal: {name}") for name in SIGNALS]
    identifier = (
        f"slipbench_{controller.name}" if controller.name.isidentifier() else "slipbench_strategy"
    )
    scope = " scope = train" if controller.scope == "train" else ""
    token = token_of(controller.name, repr(items), str(version), _source_of(controller))
    return Outline(
        name=identifier,
        identifier=identifier,
        text=f"{controller.title}.{scope}",
        version=version,
        token=token,
        items=tuple(items),
        step=STEP,
        stop=60.0,
    )


def _source_of(controller: Controller) -> str:
    function = inspect.unwrap(getattr(controller.update, "py_func", controller.update))
    return Path(inspect.getfile(function)).read_text(encoding="utf-8", errors="replace")


def _header(controller: Controller, outline: Outline, n_axles: int) -> list[str]:
    lines = header_lines(outline)
    if not controller.parameters:
        lines.append("#define V_PARAMETERS 0")
    n_memory = controller.n_memory
    n_doubles = n_axles * (len(OBSERVED) + controller.n_command) + (n_axles + 1) * n_memory
    n_doubles += len(controller.parameters) + 1 + len(SIGNALS)
    lines += [
        f"#define MOST_AXLES {n_axles}",
        f"#define N_OBSERVED {len(OBSERVED)}",
        f"#define N_PARAMETERS {len(controller.parameters)}",
        f"#define N_MEMORY {n_memory}",
        f"#define N_COMMAND {controller.n_command}",
        f"#define N_SIGNALS {len(SIGNALS)}",
        f"#define N_INPUTS {len(_inputs(controller))}",
        f"#define SAMPLE_TIME_COLUMN {COLUMN['sample_time']}",
        f"#define MODEL_SIZE {-(-8 * n_doubles // 64) * 64}",
        "extern const int unit_inputs[], unit_columns[], unit_by_axle[], unit_commands[];",
        "extern const int unit_signals[];",
        "extern const double unit_rests[];",
    ]
    return lines


def _tables(controller: Controller, outline: Outline) -> list[str]:
    places = {item.name: place for place, item in outline.placed()}
    inputs = _inputs(controller)

    def ints(name: str, values: list[Any]) -> str:
        return f"const int {name}[] = {{{c_list([str(int(v)) for v in values])}}};"

    return [
        ints("unit_inputs", [places[name] for name in inputs]),
        ints("unit_columns", [COLUMN[name] for name in inputs]),
        ints("unit_by_axle", [name in BY_AXLE for name in inputs]),
        ints("unit_commands", [places[name] for name in _commands(controller)]),
        ints("unit_signals", [places[name] for name in SIGNALS]),
        "const double unit_rests[] = "
        f"{{{c_list([c_number(rest) for _, rest, _ in _commands(controller).values()])}}};",
    ]
