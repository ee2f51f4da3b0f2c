"""Whose defaults are the outcome of one effort for all, and whose were set by hand."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from slipbench.strategies.registry import Known

_FILE = Path(__file__).parent / "one_effort.toml"


@cache
def outcome() -> Mapping[str, Mapping[str, float]]:
    """Return what the one effort gave: parameters by strategy."""
    found: dict[str, dict[str, float]] = tomllib.loads(_FILE.read_text(encoding="utf-8"))
    return found


def is_set_by_hand(known: Known) -> bool:
    """Return whether a shipped strategy's defaults are no outcome of the one effort.

    A strategy without parameters of its own has nothing to set; one that sees the truth is ranked
    apart and takes no part.
    """
    controller = known.controller
    own = {p.name: p.default for p in controller.parameters if not p.is_data}
    if not known.is_shipped or controller.uses_truth or not own:
        return False
    given = outcome().get(controller.name, {})
    return not all(
        name in given and math.isclose(value, given[name], rel_tol=1e-3, abs_tol=1e-12)
        for name, value in own.items()
    )
