"""The log of a stop: channels that say what they measure, each on a time base of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from slipbench.contract import Floats

Rows = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]

AXLE, BOGIE, VEHICLE, TRAIN = "axle", "bogie", "vehicle", "train"
SPANS = (AXLE, BOGIE, VEHICLE, TRAIN)
"""What a channel is of; counted from 1 in the running direction, the train has no number."""


class Kind(NamedTuple):
    """What a channel may measure: its dimension, what it can be of, and what it means."""

    dimension: str
    spans: tuple[str, ...]
    doc: str


KINDS: dict[str, Kind] = {
    "wheel_speed": Kind("speed", (AXLE,), "speed of a wheel's rim"),
    "pressure": Kind("pressure", SPANS, "brake cylinder pressure, gauge"),
    "brake_effort": Kind("force", SPANS, "force of another brake at the rims, such as dynamic"),
    "train_speed": Kind("speed", (TRAIN,), "speed from a source that does not slide"),
    "distance": Kind("length", (TRAIN,), "way run, from a source that does not slide"),
    "deceleration": Kind("acceleration", (TRAIN,), "of the train, positive while it slows"),
    "handle": Kind("count", (TRAIN,), "handle position, 0 release"),
    "demand": Kind("ratio", (TRAIN,), "brake demand over the emergency demand"),
    "valve": Kind("count", (AXLE, BOGIE), "slip control: 0 fill, 1 hold, 2 vent"),
    "sand": Kind("ratio", (TRAIN, VEHICLE), "above zero where sand is laid"),
}
"""Quantities a mapping may name. Values are SI once read."""

STEPPED = ("handle", "valve", "sand")
"""Quantities that jump: taken as they last were, not between two samples."""


@dataclass(frozen=True, eq=False)
class Channel:
    """One channel of a log in SI.

    Attributes
    ----------
    quantity, span : str   of `KINDS` and `SPANS`
    number : int           axle, bogie or vehicle, from 1; 0 for the train
    name : str             as the file has it
    time, values : (n,)    [s], rising; SI, NaN where there is none
    recorder : str         channels of one recorder share a clock
    scatter : float        known standard deviation, SI; NaN where it has to be estimated
    """

    quantity: str
    span: str
    number: int
    name: str
    time: Floats
    values: Floats
    recorder: str = ""
    scatter: float = float("nan")

    @property
    def interval(self) -> float:
        """Usual time between two samples. [s]"""
        return float(np.median(np.diff(self.time))) if len(self.time) > 1 else float("nan")

    @property
    def place(self) -> str:
        """What it is of, as a message tells it."""
        return self.span if self.number == 0 else f"{self.span} {self.number}"


@dataclass(frozen=True, eq=False)
class Log:
    """A log that was read.

    Attributes
    ----------
    source : str           the file's name
    channels : tuple of Channel
    notes : tuple of str   what was noticed while reading
    """

    source: str
    channels: tuple[Channel, ...]
    notes: tuple[str, ...] = ()

    def all_of(self, quantity: str, span: str | None = None) -> list[Channel]:
        """Return the channels of a quantity, in order of their number."""
        found = [c for c in self.channels if c.quantity == quantity and span in (None, c.span)]
        return sorted(found, key=lambda c: c.number)

    def one(self, quantity: str) -> Channel | None:
        """Return the train's channel of a quantity, or None."""
        found = self.all_of(quantity, TRAIN)
        return found[0] if found else None

    @property
    def n_axles(self) -> int:
        """Highest axle number with a channel."""
        return max((c.number for c in self.channels if c.span == AXLE), default=0)

    @property
    def begin(self) -> float:
        """Time of the first sample. [s]"""
        return min(float(c.time[0]) for c in self.channels)

    @property
    def end(self) -> float:
        """Time of the last sample. [s]"""
        return max(float(c.time[-1]) for c in self.channels)

    def without(self, quantities: tuple[str, ...]) -> Log:
        """Return the log without some quantities, as if they had not been measured."""
        left = tuple(c for c in self.channels if c.quantity not in quantities)
        return Log(self.source, left, self.notes)
