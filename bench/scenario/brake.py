"""Brake equipment and the sampling of its slip control."""

from itertools import pairwise

from slipbench.scenario.fields import (
    Record,
    choice,
    counts,
    flag,
    quantities,
    quantity,
    record,
)

RELEASE = 0
"""Handle position of the released brake."""


@record
class Brake(Record):
    """Electrically controlled automatic air brake with a stepped handle, or a continuous one.

    Handle positions: 0 is release, 1 to n_steps the service steps, n_steps + 1 emergency. Demands
    are decelerations of the train; the cylinder pressure is proportional to the demand and to the
    weighed mass (rotating mass included), and reaches `full_pressure` (gauge) at emergency demand,
    laden. Service steps reach each vehicle by control wires; emergency needs no electrical supply.
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
        "pressure_rate",
        low=1e4,
        high=1e7,
        default=4e5,
        doc="Greatest rise of cylinder pressure (ramps).",
        mark="memory",
        source="2-6 bar/s through the valve; value from memory, not verified, weak",
    )
    vent_rate: float = quantity(
        "pressure_rate",
        low=1e4,
        high=1e7,
        default=5e5,
        doc="Greatest fall of cylinder pressure (ramps).",
        mark="memory",
        source="3-8 bar/s through the valve; value from memory, not verified, weak",
    )
    fill_delay: float = quantity(
        "time",
        low=0.0,
        high=1.0,
        doc="Mechanical delay of a valve: from the current for fill to its effect.",
    )
    vent_delay: float = quantity(
        "time",
        low=0.0,
        high=1.0,
        doc="Mechanical delay of a valve: from the current for vent or hold to its effect.",
    )
    electrical_delay: float = quantity(
        "time",
        low=0.0,
        high=0.5,
        default=0.0,
        doc="Time from a valve's command to the current in its magnet, before the mechanical one.",
        mark="assumed",
        source="0: contained in fill_delay and vent_delay unless said otherwise",
    )
    shortest_pulse: float = quantity(
        "time",
        low=0.0,
        high=0.5,
        default=0.0,
        doc="Shortest pulse a valve can make: shorter commands do nothing.",
        mark="assumed",
        source="0: every command acts unless said otherwise",
    )
    spring_pressure: float = quantity(
        "pressure",
        low=0.0,
        high=2e5,
        default=0.0,
        doc="Cylinder pressure that the return spring takes; added to what is demanded.",
        mark="assumed",
        source="0: no spring unless said otherwise; 500 N on 324 cm2 would be .157 bar",
    )
    hysteresis: float = quantity(
        "ratio",
        low=0.0,
        high=0.5,
        default=0.0,
        doc="Share by which a cylinder's pressure falls before its force does, by its friction.",
        mark="assumed",
        source="0: none unless said otherwise",
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

    enhanced_emergency: float | None = quantity(
        "acceleration",
        above=0.0,
        high=5.0,
        default=None,
        doc="Deceleration an enhanced emergency brake demands instead, where fitted.",
    )
    wire_codes: tuple[int, ...] = counts(
        low=1,
        high=255,
        max_items=15,
        default=(),
        doc="Control wires energised at each step, as a sum of 1, 2, 4; empty: the step number.",
    )
    controller_levels: tuple[float, ...] | None = quantities(
        "ratio",
        low=0.0,
        high=1.0,
        default=None,
        max_items=50,
        doc="Levels of a continuous handle's table, ascending from 0.",
    )
    controller_demands: tuple[float, ...] | None = quantities(
        "acceleration",
        low=0.0,
        high=5.0,
        default=None,
        max_items=50,
        doc="Deceleration demanded at each of those levels.",
    )
    variable_load: bool = flag(
        default=True,
        doc="Whether each vehicle's brake force follows its weighed mass; else the laden force.",
        mark="assumed",
        source="usual on multiple units",
    )
    weighs_rotating_mass: bool = flag(
        default=True,
        doc="Whether the weighed mass has the rotating mass, which load does not change, added.",
        mark="assumed",
        source="so that deceleration is the same at every load",
    )
    air: str = choice(
        "ramps",
        "flow",
        doc="Cylinder pressure by fill and vent rates, or by ISO 6358 flow from a reservoir.",
        default="ramps",
        mark="assumed",
        source="the simpler model unless said otherwise",
    )
    fill_conductance: float = quantity(
        "conductance",
        low=1e-10,
        high=1e-5,
        default=5e-8,
        doc="Sonic conductance from reservoir to cylinder (flow).",
        mark="assumed",
        source="gives about 5 bar/s into 8 litres from 7 bar",
    )
    release_conductance: float = quantity(
        "conductance",
        low=1e-10,
        high=1e-5,
        default=5e-8,
        doc="Sonic conductance through the brake control, cylinder to atmosphere (flow).",
        mark="assumed",
        source="no source",
    )
    vent_conductance: float = quantity(
        "conductance",
        low=1e-10,
        high=1e-5,
        default=1e-7,
        doc="Sonic conductance through the slip control's valve, cylinder to atmosphere (flow).",
        mark="derived",
        source="a choke of 9 mm, discharge coefficient 0.8; gives about 4 bar/s at 2 bar",
    )
    charging_conductance: float = quantity(
        "conductance",
        low=0.0,
        high=1e-5,
        default=2e-9,
        doc="Sonic conductance from the main pipe to each vehicle's reservoir (flow).",
        mark="assumed",
        source="no source; minutes to recharge",
    )
    critical_ratio: float = quantity(
        "ratio",
        low=0.05,
        high=0.6,
        default=0.3,
        doc="Critical pressure ratio b of all these valves (flow).",
        mark="memory",
        source="0.2 to 0.4 for real valves; value from memory, not verified",
    )
    reservoir_volume: float = quantity(
        "volume",
        low=1e-3,
        high=2.0,
        default=0.1,
        doc="Supply reservoir of each vehicle (flow).",
        mark="assumed",
        source="no source",
    )
    reservoir_pressure: float = quantity(
        "pressure",
        low=1e5,
        high=1.5e6,
        default=7e5,
        doc="Pressure in the reservoirs at the start (flow).",
        mark="assumed",
        source="no source",
    )
    pipe_pressure: float = quantity(
        "pressure",
        low=0.0,
        high=1.5e6,
        default=7e5,
        doc="Pressure that charges them: of a main pipe kept up, or of its reducing valve (flow).",
        mark="assumed",
        source="no source",
    )
    main_pressure: float = quantity(
        "pressure",
        low=0.0,
        high=1.5e6,
        default=9e5,
        doc="Pressure in main reservoirs and pipe at the start, where vehicles carry some (flow).",
        mark="secondary",
        source="mean of a metro car's record of 1.5 million rows, 8.99 bar (its description)",
    )
    compressor_cut_in: float = quantity(
        "pressure",
        low=1e5,
        high=1.5e6,
        default=8.5e5,
        doc="Main pressure below which compressors run.",
        mark="secondary",
        source="governor of a suburban electric fleet, 8.5 to 10 bar, seen on flash cards",
    )
    compressor_cut_out: float = quantity(
        "pressure",
        low=1e5,
        high=1.5e6,
        default=1e6,
        doc="Main pressure at which they stop.",
        mark="secondary",
        source="governor of a suburban electric fleet, 8.5 to 10 bar, seen on flash cards",
    )
    main_pipe_volume: float = quantity(
        "volume",
        low=1e-4,
        high=1.0,
        default=0.01,
        doc="Main pipe of each vehicle, without main reservoirs.",
        mark="assumed",
        source="20 m of 25 mm bore",
    )
    main_pipe_conductance: float = quantity(
        "conductance",
        low=1e-10,
        high=1e-4,
        default=3.5e-7,
        doc="Sonic conductance of the main pipe from vehicle to vehicle.",
        mark="memory",
        source="20 m of 25 mm bore by a formula for tubes from memory, not verified",
    )
    vent_time_limit: float = quantity(
        "time",
        above=0.0,
        high=1e4,
        default=10.0,
        doc="A brake kept off longer than this on end is given back, whatever is commanded.",
        mark="memory",
        source="about 10 s; value from memory, not verified, weak",
    )
    isolation_time: float = quantity(
        "time",
        above=0.0,
        high=3600.0,
        default=120.0,
        doc="Slip control is out for so long after a press of the isolation button.",
        mark="assumed",
        source="common practice, no source: two minutes a press",
    )

    @property
    def emergency_demand(self) -> float:
        """Deceleration the emergency position demands: enhanced where fitted. [m/s2]"""
        return self.enhanced_emergency or self.emergency

    @property
    def codes(self) -> tuple[int, ...]:
        """Wires energised in each handle position from release to the last step, as bit masks."""
        return (0, *(self.wire_codes or range(1, self.n_steps + 1)))

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
        return (0.0, *self.steps, self.emergency_demand)[position]

    def check_together(self) -> None:
        """Check that steps increase and emergency is the hardest."""
        if any(b <= a for a, b in pairwise(self.steps)):
            self.refuse("steps", "must increase strictly from step to step [m/s2]")
        if self.emergency < self.steps[-1]:
            self.refuse(
                "emergency", f"must be at least the last service step, {self.steps[-1]:g} m/s2"
            )
        if self.enhanced_emergency is not None and self.enhanced_emergency < self.emergency:
            self.refuse("enhanced_emergency", f"must be at least {self.emergency:g} m/s2")
        shortest_delay = min(self.fill_delay, self.vent_delay)
        if self.shortest_pulse > shortest_delay:
            self.refuse(
                "shortest_pulse",
                f"must be at most the valve's mechanical delays, {shortest_delay:g} s",
            )
        if self.spring_pressure > 0.5 * self.full_pressure:
            self.refuse(
                "spring_pressure",
                f"must be at most half the full pressure, {0.5 * self.full_pressure:g} Pa",
            )
        if self.compressor_cut_out <= self.compressor_cut_in:
            self.refuse(
                "compressor_cut_out", f"must be above the cut-in, {self.compressor_cut_in:g} Pa"
            )
        if self.wire_codes and len(set(self.wire_codes)) != self.n_steps:
            self.refuse("wire_codes", f"must be {self.n_steps} different codes, one a step")
        self._check_controller()

    def _check_controller(self) -> None:
        levels, demands = self.controller_levels, self.controller_demands
        if (levels is None) != (demands is None):
            name = "controller_levels" if levels is None else "controller_demands"
            self.refuse(name, "levels and demands of the handle go together; give both")
        if levels is None or demands is None:
            return
        is_rising = all(b > a for a, b in pairwise(levels)) and levels[0] == 0.0
        if len(levels) < 2 or not is_rising:
            self.refuse("controller_levels", "must ascend from 0, at least two of them")
        if len(levels) != len(demands) or any(b < a for a, b in pairwise(demands)):
            self.refuse("controller_demands", f"must be {len(levels)} demands that never fall")
        if demands[-1] > self.emergency_demand:
            self.refuse("controller_demands", f"must not pass {self.emergency_demand:g} m/s2")


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
    cut_out_speed: float = quantity(
        "speed",
        low=0.0,
        high=10.0,
        default=0.0,
        doc="The equipment leaves the valves in fill below this speed of its reference.",
        mark="assumed",
        source="0: left to the strategy (3 to 5 km/h from memory, weak)",
    )
    cut_out_hysteresis: float = quantity(
        "speed",
        low=0.0,
        high=5.0,
        default=2.0 / 3.6,
        doc="Slip control comes back in where the reference is so much above the cut-out speed.",
        mark="assumed",
        source="2 km/h, as between out at 5 and in at 7 km/h",
    )
    reference: str = choice(
        "train",
        "vehicle",
        doc="Whose fastest wheel the cut-out's reference speed goes by.",
        default="train",
        mark="assumed",
        source="vehicles tell each other their fastest wheel over the train's bus; no source",
    )
    valve_group: str = choice(
        "axle",
        "bogie",
        doc="A valve for each axle, or one for both axles of a bogie.",
        default="axle",
        mark="assumed",
        source="usual on multiple units",
    )
