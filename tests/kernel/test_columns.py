"""Columns have one list of names, and one number each by the same name."""

import importlib

import pytest

from slipbench.controllers import ALL_CONTROLLERS
from slipbench.kernel import columns


@pytest.mark.parametrize(
    ("names", "lead"),
    [
        (columns.OBSERVED, ""),
        (columns.TRACED_TRAIN, "TRAIN_"),
        (columns.TRACED_AXLE, "AXLE_"),
        (columns.LOCK_COLUMNS, "LOCK_"),
        (columns.TRAIL_COLUMNS, "TRAIL_"),
        (columns.FAULT_COLUMNS, "FAULT_"),
    ],
)
def test_a_column_number_bears_its_name(names: tuple[str, ...], lead: str) -> None:
    assert [getattr(columns, f"{lead}{name.upper()}") for name in names] == [*range(len(names))]


@pytest.mark.parametrize("controller", ALL_CONTROLLERS, ids=lambda c: c.name)
def test_a_strategy_finds_its_parameters_in_the_order_of_its_record(controller) -> None:
    """A constant of the module that is named like a parameter is its place in the record."""
    module = importlib.import_module(controller.update.__module__)
    names = [parameter.name for parameter in controller.parameters]
    found = {name: getattr(module, name.upper(), None) for name in names}
    for i, (name, place) in enumerate(found.items()):
        assert place in (None, i, i - len(names)), name  # the last may be counted from the end
    if names:
        assert any(place is not None for place in found.values())
