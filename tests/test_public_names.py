"""The dozen names a user imports, and the shortest way to a stop."""

import dataclasses

import pytest

import slipbench
from slipbench import contract
from slipbench.ground.errors import InputError


def test_every_public_name_is_there() -> None:
    for name in slipbench.__all__:
        assert getattr(slipbench, name) is not None
    assert set(slipbench.__all__) <= set(dir(slipbench))


def test_what_a_user_begins_with_is_at_the_top() -> None:
    for name in ("load_scenario", "simulate", "shortest_possible", "Controller", "Parameter"):
        assert name in slipbench.__all__
    assert slipbench.controllers.by_name("slip_band").name == "slip_band"


def test_all_columns_and_valves_are_public() -> None:
    constants = {name for name in contract.__all__ if name.isupper()}
    assert constants <= set(slipbench.__all__)
    for name in constants:
        assert getattr(slipbench, name) == getattr(contract, name)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        slipbench.simulat  # noqa: B018


def test_a_stop_by_names() -> None:
    scenario = slipbench.load_scenario("wet_leaf").replace(initial_speed=8.0)
    by_name = slipbench.simulate(scenario, "slip_band:fill_slip=8%", 3)
    record = slipbench.controllers.by_name("slip_band").with_parameters(fill_slip=0.08)
    assert isinstance(record, slipbench.Controller)
    by_record = slipbench.simulate(scenario, record, 3)
    assert by_name.summary == by_record.summary
    assert by_name.controller == dataclasses.replace(
        record, name="slip_band:fill_slip=8%", title=by_name.controller.title
    )


def test_an_unknown_strategy_is_one_line() -> None:
    with pytest.raises(InputError, match="'slip_bend': unknown; did you mean slip_band"):
        slipbench.simulate("wet_leaf", "slip_bend")
