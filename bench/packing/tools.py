"""Small helpers that every packing module needs."""

from __future__ import annotations

from typing import Any

import numpy as np

from slipbench.kernel import codes

TRIGGERS = (
    ("at_time", codes.AT_TIME),
    ("at_speed", codes.AT_SPEED),
    ("at_distance", codes.AT_DISTANCE),
    ("after", codes.AFTER),
)


def one(dtype: np.dtype[np.void], **values: float) -> Any:
    """Return an array of one record with these fields set, the rest zero."""
    array = np.zeros(1, dtype)
    for name, value in values.items():
        array[name] = value
    return array


def trigger(packed: Any, source: Any) -> None:
    """Set trigger and value from the one trigger a scenario part gives."""
    for name, trigger in TRIGGERS:
        value = getattr(source, name, None)
        if value is not None:
            packed["trigger"], packed["value"] = trigger, value
