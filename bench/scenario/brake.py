"""Brake equipment and the sampling of its slip control."""

from itertools import pairwise

from bench.scenario.fields import Record, quantities, quantity, record

RELEASE = 0
"""Handle position of the released brake."""


@record
class Brake(Record):
    """Disc brake with a stepped handle.

    Handle positions: 0 is release, 1 to n_steps the service steps, n_steps + 1 emergency. Demands
    are decelerations of the train; the cylinder pressure is proportional to the demand and reaches
    `full_pressure` (gauge) at emergency demand.
    """

    steps: tuple[float, ...] = quantities(
        "acceleration",
        above=0.0,
        high=5.0,
        max_items=15,
        doc="Deceleration demanded by each service step, strictly increasing.",
    )
    emergency: float = quantity(
        "acceleration", above=0.0, high=5.0, doc="Deceleration demanded by the emergency brake."
    )
    demand_delay: float = quantity(
        "time", low=0.0, high=20.0, doc="Time from moving the handle to the first change."
    )
    build_up_time: float = quantity(
        "time", low=0.0, high=30.0, doc="Linear ramp from the old demand to a higher one."
    )
    release_time: float = quantity(
        "time", low=0.0, high=60.0, doc="Linear ramp from the old demand to a lower one."
    )
    full_pressure: float = quantity(
        "pressure", low=2e4, high=1e6, doc="Cylinder pressure (gauge) at emergency demand."
    )
    fill_rate: float = quantity(
        "pressure_rate", low=1e4, high=1e7, doc="Greatest rise of cylinder pressure."
    )
    vent_rate: float = quantity(
        "pressure_rate", low=1e4, high=1e7, doc="Greatest fall of cylinder pressure."
    )
    fill_delay: float = quantity(
        "time", low=0.0, high=1.0, doc="Time from a valve's fill command to its effect."
    )
    vent_delay: float = quantity(
        "time", low=0.0, high=1.0, doc="Time from a valve's vent command to its effect."
    )
    demand_factor_limit: float = quantity(
        "ratio",
        low=1.0,
        high=3.0,
        default=1.0,
        doc="Greatest factor by which fitted equipment can exceed the driver's demand on an axle.",
        mark="assumed",
        source="no equipment to brake one axle harder than demanded, unless said otherwise",
    )
    pad_friction: float = quantity(
        "ratio",
        low=0.05,
        high=1.0,
        default=0.35,
        doc="Friction of pad on disc in this stop.",
        mark="memory",
        source="organic pads; value from memory, not verified, fairly sure; also seen second-hand",
    )
    design_pad_friction: float = quantity(
        "ratio",
        low=0.05,
        high=1.0,
        default=0.35,
        doc="Friction of pad on disc for which pressure and deceleration were matched.",
        mark="memory",
        source="organic pads, design constant; value from memory, not verified, fairly sure",
    )

    @property
    def n_steps(self) -> int:
        """Number of service steps."""
        return len(self.steps)

    @property
    def emergency_position(self) -> int:
        """Handle position of the emergency brake, n_steps + 1."""
        return len(self.steps) + 1

    def demand_at(self, position: int) -> float:
        """Return the deceleration demanded at handle `position`. [m/s2]"""
        return (0.0, *self.steps, self.emergency)[position]

    def check_together(self) -> None:
        """Check that steps increase and emergency is the hardest."""
        if any(b <= a for a, b in pairwise(self.steps)):
            self.refuse("steps", "must increase strictly from step to step [m/s2]")
        if self.emergency < self.steps[-1]:
            self.refuse(
                "emergency", f"must be at least the last service step, {self.steps[-1]:g} m/s2"
            )


@record
class SlipControl(Record):
    """What the slip control's computer fixes, whatever the strategy."""

    sample_time: float = quantity(
        "time",
        low=0.001,
        high=0.1,
        default=0.01,
        doc="Time between two runs of the control program.",
        mark="memory",
        source="10 to 20 ms; value from memory, not verified, weak",
    )
