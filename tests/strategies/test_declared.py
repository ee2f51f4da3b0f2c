"""What a strategy says of itself is checked when its record is made, its indices when it runs."""

import dataclasses
import math
from typing import Any

import numpy as np
import pytest

from slipbench.contract import Controller, Parameter
from slipbench.ground.errors import InputError
from slipbench.packing.rail_state import RailState
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate


def fill(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> None:
    command[:, 0] = 0.0


async def later(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> None:
    command[:, 0] = 0.0


def piecewise(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> Any:
    yield


class Callable:
    async def __call__(self, *arguments: Any) -> None: ...


PLAIN = Controller(name="plain", title="fill", update=fill)
SLIP = Parameter("slip", 0.1, "-", 0.0, 1.0, "assumed")

WRONG: dict[str, tuple[dict[str, Any], str]] = {
    "scope capital": ({"scope": "Vehicle"}, "scope = 'Vehicle'; allowed: vehicle or train"),
    "scope plural": ({"scope": "vehicles"}, "scope = 'vehicles'"),
    "scope no text": ({"scope": ["vehicle"]}, "scope = "),
    "actuator": ({"actuator": "x"}, "actuator = 'x'; allowed: valves or ideal"),
    "async": ({"update": later}, "async function"),
    "async object": ({"update": Callable()}, "async function"),
    "generator": ({"update": piecewise}, "generator"),
    "no function": ({"update": 3}, "update = 3"),
    "flag": ({"uses_truth": "no"}, "uses_truth = 'no'"),
    "memory": ({"n_memory": 0}, "n_memory = 0"),
    "memory fraction": ({"n_memory": 1.5}, "n_memory = 1.5"),
    "memory huge": ({"n_memory": 10**5000}, "n_memory = "),
    "name": ({"name": ""}, "name = ''"),
    "name number": ({"name": 7}, "name = 7"),
    "name path": ({"name": "../x"}, "without /"),
    "name control": ({"name": "a\x1b[2J"}, "name = "),
    "name endless": ({"name": "x" * 121}, "at most 120"),
    "title lines": ({"title": "a\nb"}, "title = "),
    "observes text": ({"observes": "sample_time"}, "a tuple of names"),
    "observes number": ({"observes": 3}, "observes = 3"),
    "observes unknown": ({"observes": ("speed",)}, "no observation column"),
    "parameters": ({"parameters": (1,)}, "a tuple of Parameter"),
    "parameter twice": ({"parameters": (SLIP, SLIP)}, "twice"),
    "parameter text": (
        {"parameters": (dataclasses.replace(SLIP, low="0"),)},  # type: ignore[arg-type]
        "low = '0'",
    ),
    "parameter NaN": ({"parameters": (dataclasses.replace(SLIP, default=math.nan),)}, "slip = nan"),
    "values": ({"parameters": (SLIP,), "values": (0.1, 0.2)}, "2 values for 1"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_declaration_is_one_line(case: str) -> None:
    changes, hint = WRONG[case]
    with pytest.raises(InputError) as caught:
        dataclasses.replace(PLAIN, **changes)
    text = str(caught.value)
    assert hint in text and text.isprintable() and len(text) < 500


def test_a_parameter_may_have_any_name() -> None:
    own = dataclasses.replace(PLAIN, parameters=(dataclasses.replace(SLIP, name="self"),))
    assert own.with_parameters(**{"self": 0.5}).values == (0.5,)


def beyond(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> None:
    for i in range(len(command)):
        command[i, 0] = 0.0
        memory[i + 4, 0] = 2.0  # one row too far, with the last axle


def wild(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> None:
    command[10**9, 0] = 0.0


def nan(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> None:
    command[:, 0] = np.nan


@pytest.mark.parametrize("update", [beyond, wild])
def test_an_index_out_of_range_is_told_compiled_as_well(update: Any) -> None:
    """Without the checks the first gave another distance, the second a crash."""
    scenario = load_scenario("wet_leaf").replace(initial_speed=5.0)
    own = dataclasses.replace(PLAIN, update=update)
    with pytest.raises(IndexError, match="out of bounds"):
        simulate(scenario, own, compiled=True, with_traces=False)


def test_a_valve_that_is_no_number_is_named() -> None:
    scenario = load_scenario("wet_leaf").replace(initial_speed=5.0)
    with pytest.raises(InputError, match=r"axle 1 .* valve nan"):
        simulate(scenario, dataclasses.replace(PLAIN, update=nan), with_traces=False)


GOOD: dict[str, Any] = {
    "start": -40.0, "cell_length": 1.0, "work": np.zeros(9), "sand": np.zeros(9),
}  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "hint"),
    [
        ({"work": np.full(9, np.nan)}, "work"),
        ({"work": np.full(9, -1.0)}, "work"),
        ({"work": np.full(9, np.inf)}, "work"),
        ({"work": np.zeros((3, 3))}, "work"),
        ({"work": np.array(["x"])}, "work"),
        ({"sand": np.full(9, -1e-9)}, "sand"),
        ({"sand": np.zeros(8)}, "as many"),
        ({"start": math.nan}, "start"),
        ({"cell_length": 0.0}, "cell_length"),
        ({"cell_length": "1"}, "cell_length"),
    ],
)
def test_a_rail_left_behind_holds_what_a_rail_can(changes: dict[str, Any], hint: str) -> None:
    RailState(**GOOD)
    with pytest.raises(InputError, match=hint):
        RailState(**{**GOOD, **changes})


def test_only_a_rail_state_is_met() -> None:
    with pytest.raises(InputError, match="rail_before = 'x'"):
        simulate("dry", PLAIN, rail_before="x")  # type: ignore[arg-type]
