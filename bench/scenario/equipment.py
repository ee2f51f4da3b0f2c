"""The condition the equipment is in: three grades of it, and single values in their place."""

import tomllib
from collections.abc import Mapping
from functools import cache, cached_property
from pathlib import Path
from typing import NamedTuple

from slipbench.scenario.fields import Implied, Record, choice, count, quantity, record, specs_of
from slipbench.scenario.layers import Leaf, read_table, refuse

GRADES = ("clean", "service", "worn")
"""Grades, from equipment without fault to such as should be in the workshop."""

FARTHEST = 2.5
"""What is drawn is cut at so many standard deviations. [-]"""

_FILE = Path(__file__).parent / "grades.toml"


class Condition(NamedTuple):
    """What a grade and the values given in its place come to; fields as in `Equipment`, SI."""

    pitch_error: float
    jitter: float
    sensor_spread: float
    dropout: float
    dropout_burst: int
    wheel_wear: float
    diameter_setting_error: float
    valve_delay_factor: float
    valve_delay_scatter: float
    shortest_pulse: float
    hysteresis: float
    transducer_offset: float
    transducer_gain: float
    transducer_lag: float
    pad_friction_scatter: float
    load_scatter: float

    @property
    def slowest_valve(self) -> float:
        """Delay of the slowest valve that can be drawn, over the brake's own. [-]"""
        return self.valve_delay_factor * (1.0 + FARTHEST * self.valve_delay_scatter)


@record
class Equipment(Record):
    """How far the equipment is from what was designed: a grade, and values that replace its own.

    The seed of a stop draws the equipment from these: axle by axle, load car by car, whatever the
    rest of the train; the same seed draws the same train in every grade, only farther from its
    design. A strategy never sees the draw. Values given axle by axle in a vehicle (wheel diameters
    and those assumed, its load) are exact and nothing is drawn for them.
    """

    grade: str = choice(
        *GRADES,
        doc="Condition of sensors, valves, pads and wheels.",
        default="service",
        mark="assumed",
        source="no train is as designed; clean is for theory",
    )
    pitch_error: float | None = quantity(
        "length",
        low=0.0,
        high=0.01,
        default=None,
        doc="Error of tooth places along the rim, once a turn, amplitude.",
    )
    jitter: float | None = quantity(
        "length",
        low=0.0,
        high=0.01,
        default=None,
        doc="Random error of each tooth along the rim, standard deviation.",
    )
    sensor_spread: float | None = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=None,
        doc="Pitch error and jitter of an axle lie evenly within this share of the above.",
    )
    dropout: float | None = quantity(
        "ratio", low=0.0, high=0.9, default=None, doc="Share of pulses lost at random."
    )
    dropout_burst: int | None = count(
        low=1, high=50, default=None, doc="Most pulses lost one after the other."
    )
    wheel_wear: float | None = quantity(
        "length",
        low=0.0,
        high=0.1,
        default=None,
        doc="Wheel diameters lie evenly up to this below the vehicle's.",
    )
    diameter_setting_error: float | None = quantity(
        "ratio",
        low=0.0,
        high=0.1,
        default=None,
        doc="Error of the wheel diameters the slip control is set to, standard deviation.",
    )
    valve_delay_factor: float | None = quantity(
        "ratio",
        low=0.1,
        high=10.0,
        default=None,
        doc="Delays of the valves over those of the brake, mean.",
    )
    valve_delay_scatter: float | None = quantity(
        "ratio",
        low=0.0,
        high=0.39,
        default=None,
        doc="Scatter of a valve's delays, fill and vent alike, standard deviation.",
    )
    shortest_pulse: float | None = quantity(
        "time",
        low=0.0,
        high=0.5,
        default=None,
        doc="Shortest pulse a valve can make, where that is longer than the brake's own; never "
        "longer than its mechanical delay.",
    )
    hysteresis: float | None = quantity(
        "ratio",
        low=0.0,
        high=0.5,
        default=None,
        doc="Share by which a cylinder's pressure falls before its force does, where that is more "
        "than the brake's own.",
    )
    transducer_offset: float | None = quantity(
        "pressure",
        low=0.0,
        high=1e5,
        default=None,
        doc="Offset of the pressure transducers, standard deviation over axles.",
    )
    transducer_gain: float | None = quantity(
        "ratio",
        low=0.0,
        high=0.2,
        default=None,
        doc="Error of the pressure transducers' gain, standard deviation over axles.",
    )
    transducer_lag: float | None = quantity(
        "time",
        low=0.0,
        high=1.0,
        default=None,
        doc="Time constant with which the pressure transducers follow.",
    )
    pad_friction_scatter: float | None = quantity(
        "ratio",
        low=0.0,
        high=0.3,
        default=None,
        doc="Scatter of the friction of pads or blocks from axle to axle, standard deviation.",
    )
    load_scatter: float | None = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=None,
        doc="Scatter of load from car to car, standard deviation; never below tare, above laden.",
    )

    @cached_property
    def condition(self) -> Condition:
        """The values that hold: given here, or else the grade's."""
        given = {name: getattr(self, name) for name in Condition._fields}
        graded = {name: leaf.value for name, leaf in grade_values(self.grade).items()}
        return Condition(**{name: graded[name] if v is None else v for name, v in given.items()})

    def implied(self, name: str) -> Implied:
        """Return the grade's value of a field that is not given, with its mark and source."""
        leaf = grade_values(self.grade)[name]
        assert leaf.provenance is not None
        mark, source = leaf.provenance
        return Implied(leaf.value, mark, f"grade {self.grade}: {source}")


@cache
def grade_values(grade: str) -> Mapping[str, Leaf]:
    """Return the values of a grade in SI, each with its mark and source."""
    tables = tomllib.loads(_FILE.read_text(encoding="utf-8"))
    values = read_table(Equipment, tables[grade], grade, _FILE.name).entries
    for name in specs_of(Equipment):
        leaf = values.get(name)
        if name != "grade" and (leaf is None or leaf.provenance is None):
            refuse(_FILE.name, f"{grade}.{name}", "a grade gives every value, with its mark")
    return values
