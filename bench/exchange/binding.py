"""The mapping of a unit: of the file beside it, else by the contract's own names."""

from __future__ import annotations

from pathlib import Path

from slipbench.exchange.description import Description
from slipbench.exchange.guess import own_names
from slipbench.exchange.mapping import UnitMap, checked, mapping_path, read_mapping
from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_there, place


def mapping_of(unit: Path, description: Description) -> UnitMap:
    """Return the mapping of a unit: of the file beside it, else by the contract's own names.

    Raises
    ------
    InputError   where there is neither, or the file binds what is not there
    """
    path = mapping_path(unit)
    if is_there(path):
        return read_mapping(path, description)
    found = own_names(description)
    if found is None:
        raise InputError(
            f"unit {place(unit)}: its variables have no names of the contract, and no mapping "
            f"stands beside it; write one: slipbench fmu {place(unit)} --guess {place(path)}"
        )
    return checked(found, description, f"unit {place(unit)}")
