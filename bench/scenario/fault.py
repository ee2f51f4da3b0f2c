"""Faults: what is broken in the train, from when on."""

from slipbench.scenario.driver import check_trigger
from slipbench.scenario.fields import Record, choice, count, quantity, record

AXLE_FAULTS = (
    "sensor_dead",
    "sensor_stuck",
    "sensor_noisy",
    "valve_stuck_fill",
    "valve_stuck_hold",
    "valve_stuck_vent",
    "vent_blocked",
)
VEHICLE_FAULTS = (
    "controller_dead",
    "supply_isolated",
    "load_weighed_tare",
    "load_weighed_crush",
    "car_unbraked",
    "dynamic_brake_lost",
    "track_brake_lost",
)
OTHER_FAULTS = ("sander_empty", "control_supply_lost", "control_wire_broken", "line_lost")


@record
class Fault(Record):
    """One thing that breaks at a time, speed or place, and stays broken.

    `axle` is for the faults of sensors and valves, `vehicle` for those of a car (and the first car
    behind a broken wire), `sander` and `wire` for theirs; all counted from 1 at the front.
    """

    kind: str = choice(
        *AXLE_FAULTS,
        *VEHICLE_FAULTS,
        *OTHER_FAULTS,
        doc="What breaks.",
    )
    axle: int | None = count(low=1, high=480, default=None, doc="Axle it breaks on.")
    vehicle: int | None = count(low=1, high=40, default=None, doc="Vehicle it breaks on.")
    sander: int | None = count(low=1, high=100, default=None, doc="Sander that is empty.")
    wire: int | None = count(low=1, high=8, default=None, doc="Control wire that breaks.")
    at_time: float | None = quantity(
        "time", low=0.0, high=1e5, default=None, doc="Acts at this time from the start."
    )
    at_speed: float | None = quantity(
        "speed", low=0.0, high=120.0, default=None, doc="Acts when train speed falls to this."
    )
    at_distance: float | None = quantity(
        "length", low=0.0, high=1e6, default=None, doc="Acts at this distance from the start."
    )
    noise: float = quantity(
        "length",
        low=0.0,
        high=0.05,
        default=0.005,
        doc="Random error of each tooth of a noisy sensor, standard deviation.",
        mark="assumed",
        source="no source",
    )

    share: float = quantity(
        "ratio",
        above=0.0,
        high=1.0,
        default=1.0,
        doc="Share of what the line takes that is lost (line_lost).",
        mark="assumed",
        source="a line that takes nothing any more",
    )

    @property
    def target(self) -> str:
        """Name of the field that says where it breaks; empty for the whole train."""
        return self.target_of(self.kind)

    @staticmethod
    def target_of(kind: str) -> str:
        """Return the field that says where a kind of fault is; empty for the whole train."""
        if kind in AXLE_FAULTS:
            return "axle"
        if kind in VEHICLE_FAULTS:
            return "vehicle"
        return {"sander_empty": "sander", "control_wire_broken": "wire"}.get(kind, "")

    def check_together(self) -> None:
        """Check trigger and target."""
        check_trigger(self)
        allowed = {self.target} | ({"vehicle"} if self.kind == "control_wire_broken" else set())
        for name in ("axle", "vehicle", "sander", "wire"):
            given = getattr(self, name)
            if given is None and name == self.target:
                self.refuse(name, f"missing; {self.kind} needs it, counted from 1", "")
            if given is not None and name not in allowed:
                self.refuse(name, f"{self.kind} has no {name}; it needs {self.target or 'none'}")
