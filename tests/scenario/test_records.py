"""Records made in Python: checked, normalised, frozen, comparable."""

import dataclasses
import pickle

import numpy as np
import pytest

from slipbench.ground.errors import InputError
from slipbench.ground.marks import MARKS
from slipbench.scenario import (
    Brake,
    Driver,
    GradientSection,
    HandleEntry,
    Rail,
    RailSection,
    Run,
    Scenario,
    Sensing,
    SlipControl,
    Train,
    Vehicle,
    load_scenario,
)
from slipbench.scenario.fields import default_of, specs_of

RECORDS = [
    Brake, Driver, GradientSection, HandleEntry, Rail, RailSection,
    Run, Scenario, Sensing, SlipControl, Train, Vehicle,
]  # fmt: skip
NUMBERS = [
    pytest.param(record_type, name, id=f"{record_type.__name__}.{name}")
    for record_type in RECORDS
    for name, spec in specs_of(record_type).items()
    if spec.is_numeric
]


def an_instance(record_type):
    scenario = load_scenario("tough_film").replace(
        gradient=(GradientSection(from_distance=0.0, rise=0.01),)
    )
    found = {
        type(part): part
        for part in (
            scenario, scenario.train, scenario.train.vehicles[0], scenario.brake,
            scenario.slip_control, scenario.rail, scenario.rail.sections[0], scenario.gradient[0],
            scenario.driver, scenario.driver.programme[0], scenario.sensing, scenario.run,
        )
    }  # fmt: skip
    return found[record_type]


def test_list_and_whole_number_become_tuple_and_float() -> None:
    brake = dataclasses.replace(an_instance(Brake), steps=[1], emergency=np.float32(1.25))
    assert brake.steps == (1.0,)
    assert type(brake.steps[0]) is float
    assert type(brake.emergency) is float


def test_array_of_steps_is_accepted() -> None:
    assert dataclasses.replace(an_instance(Brake), steps=np.array([0.5, 1.0])).n_steps == 2


@pytest.mark.parametrize(("record_type", "name"), NUMBERS)
@pytest.mark.parametrize("bad", [float("nan"), float("inf"), "1", True, 1e12, -1e12, [[1.0]]])
def test_every_number_refuses_nonsense(record_type, name: str, bad: object) -> None:
    spec = specs_of(record_type)[name]
    with pytest.raises(InputError, match=f"{record_type.__name__}.{name} = ") as refused:
        dataclasses.replace(an_instance(record_type), **{name: (bad,) if spec.is_list else bad})
    assert len(str(refused.value).splitlines()) == 1


@pytest.mark.parametrize(("record_type", "name"), NUMBERS)
def test_every_number_has_bounds_and_a_meaning(record_type, name: str) -> None:
    spec = specs_of(record_type)[name]
    assert spec.low is not None or spec.above is not None
    assert spec.high is not None
    assert spec.doc.endswith(".")


@pytest.mark.parametrize("record_type", RECORDS)
def test_every_default_in_code_has_a_mark_and_a_source(record_type) -> None:
    for name, spec in specs_of(record_type).items():
        default = default_of(record_type, name)
        if spec.kind == "record" or default is None or default is dataclasses.MISSING:
            continue
        assert spec.mark in MARKS, name
        assert spec.source, name


@pytest.mark.parametrize("record_type", RECORDS)
def test_docstring_lists_every_field(record_type) -> None:
    for name, spec in specs_of(record_type).items():
        assert f"\n    {name}\n" in record_type.__doc__
        assert spec.doc in record_type.__doc__


@pytest.mark.parametrize("record_type", RECORDS)
def test_record_is_frozen(record_type) -> None:
    instance = an_instance(record_type)
    name = next(iter(specs_of(record_type)))
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(instance, name, getattr(instance, name))


def test_scenario_survives_pickling_and_hashes() -> None:
    scenario = load_scenario("wet_leaf")
    again = pickle.loads(pickle.dumps(scenario))
    assert again == scenario
    assert hash(again) == hash(scenario)
    assert again.provenance == scenario.provenance


def test_error_survives_pickling() -> None:
    with pytest.raises(InputError) as refused:
        Sensing(teeth=0, zero_timeout=0.2)
    assert str(pickle.loads(pickle.dumps(refused.value))) == str(refused.value)


@pytest.mark.parametrize("arguments", [{}, {"at_time": 1.0, "at_speed": 2.0}])
def test_handle_entry_needs_exactly_one_trigger(arguments: dict[str, float]) -> None:
    with pytest.raises(InputError, match="exactly one of at_time, at_speed, at_distance"):
        HandleEntry(position=1, **arguments)


def test_demand_by_position() -> None:
    brake = an_instance(Brake)
    demands = [brake.demand_at(i) for i in range(brake.emergency_position + 1)]
    assert demands == [0.0, 0.3, 0.6, 0.9, 1.2]


@pytest.mark.parametrize(("sample_time", "delay"), [(0.01, 0.14), (0.071, 0.994)])
def test_delay_of_exactly_fourteen_samples_is_allowed(sample_time: float, delay: float) -> None:
    # In binary, 14 * 0.071 is just below 0.994.
    changes = {
        "slip_control.sample_time": sample_time,
        "brake.fill_delay": delay,
        "equipment.grade": "clean",
    }
    assert load_scenario("dry").replace(changes).brake.fill_delay == delay
