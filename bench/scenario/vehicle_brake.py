"""Brake values that one vehicle has for itself."""

import dataclasses
from typing import Any

from slipbench.scenario.brake import Brake
from slipbench.scenario.fields import Record, quantity, record, specs_of

OWN = (
    *("steps", "emergency", "enhanced_emergency", "controller_demands"),
    *("demand_delay", "build_up_time", "release_time", "full_pressure", "air", "fill_rate"),
    *("vent_rate", "fill_delay", "vent_delay", "electrical_delay", "shortest_pulse"),
    *("spring_pressure", "hysteresis", "demand_factor_limit", "pad_friction"),
    *("design_pad_friction", "variable_load", "weighs_rotating_mass", "fill_conductance"),
    *("release_conductance", "vent_conductance", "charging_conductance", "critical_ratio"),
    *("reservoir_volume", "reservoir_pressure", "pipe_pressure", "compressor_cut_in"),
    *("compressor_cut_out", "main_pipe_volume", "vent_time_limit"),
)
"""Values of the brake that a vehicle may have for itself.

Not so what there is once in a train: the codes of the handle's wires (`wire_codes`), the levels of
a continuous handle (`controller_levels`), the pipe between vehicles (`main_pressure`,
`main_pipe_conductance`) and the button in the cab (`isolation_time`).
"""


def _own(name: str) -> Any:
    """Declare a value of the brake once more, optional."""
    spec = specs_of(Brake)[name]
    spec = dataclasses.replace(spec, is_optional=True, mark="", source="")
    return dataclasses.field(default=None, metadata={"spec": spec})


@record
class VehicleBrake(Record):
    """What a vehicle's brake has for itself; what is not given is the train's `brake`."""

    demand_share: float = quantity(
        "ratio",
        low=0.0,
        high=1.5,
        default=1.0,
        doc="What this vehicle makes of the driver's demand, emergency too.",
        mark="assumed",
        source="every vehicle brakes as demanded unless said otherwise",
    )
    steps: tuple[float, ...] | None = _own("steps")
    emergency: float | None = _own("emergency")
    enhanced_emergency: float | None = _own("enhanced_emergency")
    controller_demands: tuple[float, ...] | None = _own("controller_demands")
    demand_delay: float | None = _own("demand_delay")
    build_up_time: float | None = _own("build_up_time")
    release_time: float | None = _own("release_time")
    full_pressure: float | None = _own("full_pressure")
    air: str | None = _own("air")
    fill_rate: float | None = _own("fill_rate")
    vent_rate: float | None = _own("vent_rate")
    fill_delay: float | None = _own("fill_delay")
    vent_delay: float | None = _own("vent_delay")
    electrical_delay: float | None = _own("electrical_delay")
    shortest_pulse: float | None = _own("shortest_pulse")
    spring_pressure: float | None = _own("spring_pressure")
    hysteresis: float | None = _own("hysteresis")
    demand_factor_limit: float | None = _own("demand_factor_limit")
    pad_friction: float | None = _own("pad_friction")
    design_pad_friction: float | None = _own("design_pad_friction")
    variable_load: bool | None = _own("variable_load")
    weighs_rotating_mass: bool | None = _own("weighs_rotating_mass")
    fill_conductance: float | None = _own("fill_conductance")
    release_conductance: float | None = _own("release_conductance")
    vent_conductance: float | None = _own("vent_conductance")
    charging_conductance: float | None = _own("charging_conductance")
    critical_ratio: float | None = _own("critical_ratio")
    reservoir_volume: float | None = _own("reservoir_volume")
    reservoir_pressure: float | None = _own("reservoir_pressure")
    pipe_pressure: float | None = _own("pipe_pressure")
    compressor_cut_in: float | None = _own("compressor_cut_in")
    compressor_cut_out: float | None = _own("compressor_cut_out")
    main_pipe_volume: float | None = _own("main_pipe_volume")
    vent_time_limit: float | None = _own("vent_time_limit")

    def over(self, brake: Brake) -> Brake:
        """Return the train's brake with this vehicle's values in their places.

        Raises
        ------
        FieldProblem   where they do not fit together
        """
        given = {name: getattr(self, name) for name in OWN if getattr(self, name) is not None}
        return dataclasses.replace(brake, **given)
