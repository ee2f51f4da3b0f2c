"""The train: vehicles in a row, their load and running resistance."""

from itertools import accumulate, pairwise

from slipbench.scenario.dynamic_brake import Blending
from slipbench.scenario.fields import (
    Record,
    optional_part,
    parts,
    quantity,
    record,
    text,
)
from slipbench.scenario.vehicle import Vehicle


@record
class Train(Record):
    """A train, its front at the leading end of the first vehicle.

    Running resistance is a deceleration of the train mass, a + b v + c v2; rotating masses do not
    enter it.
    """

    name: str = text(doc="Name of the train.")
    vehicles: tuple[Vehicle, ...] = parts(
        Vehicle,
        key="vehicle",
        max_items=40,
        is_repeatable=True,
        doc="Vehicles from the front; in TOML one table may stand for `repeat` equal ones.",
    )
    resistance_constant: float = quantity(
        "acceleration", low=0.0, high=0.5, doc="Running resistance, constant part."
    )
    resistance_linear: float = quantity(
        "inverse_time", low=0.0, high=0.01, doc="Running resistance, part linear in speed."
    )
    resistance_quadratic: float = quantity(
        "inverse_length", low=0.0, high=0.001, doc="Running resistance, part quadratic in speed."
    )
    load: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=0.0,
        doc="Load of every vehicle: 0 is tare, 1 is laden.",
        mark="assumed",
        source="an empty train unless said otherwise",
    )
    blending: Blending | None = optional_part(
        Blending,
        default=None,
        doc="How dynamic and air brake share the demand, with a dynamic brake.",
    )

    @property
    def n_axles(self) -> int:
        """Number of axles of the train."""
        return sum(vehicle.n_axles for vehicle in self.vehicles)

    @property
    def length(self) -> float:
        """Length of the train over couplings. [m]"""
        return sum(vehicle.length for vehicle in self.vehicles)

    @property
    def axle_positions(self) -> tuple[float, ...]:
        """Distance of each axle behind the train's front, ascending. [m]"""
        fronts = accumulate((vehicle.length for vehicle in self.vehicles), initial=0.0)
        pairs = zip(fronts, self.vehicles, strict=False)
        return tuple(front + offset for front, car in pairs for offset in car.axle_offsets)

    @property
    def vehicle_of_axle(self) -> tuple[int, ...]:
        """Index of the vehicle that carries each axle."""
        return tuple(i for i, car in enumerate(self.vehicles) for _ in range(car.n_axles))

    @property
    def vehicle_masses(self) -> tuple[float, ...]:
        """Mass of each vehicle at the train's load. [kg]"""
        return tuple(
            vehicle.mass_at(self.load if vehicle.load is None else vehicle.load)
            for vehicle in self.vehicles
        )

    @property
    def mass(self) -> float:
        """Mass of the train at its load, rotating masses not counted twice. [kg]"""
        return sum(self.vehicle_masses)

    @property
    def has_main_reservoirs(self) -> bool:
        """Whether any vehicle carries main reservoirs, so that the main pipe can run short."""
        return any(vehicle.main_reservoir_volume > 0.0 for vehicle in self.vehicles)

    @property
    def has_dynamic_brake(self) -> bool:
        """Whether any vehicle has a dynamic brake."""
        return any(vehicle.dynamic_brake is not None for vehicle in self.vehicles)

    @property
    def has_track_brake(self) -> bool:
        """Whether any vehicle has track brakes."""
        return any(vehicle.track_brake is not None for vehicle in self.vehicles)

    @property
    def smallest_axle_spacing(self) -> float:
        """Smallest distance between neighbouring axles; infinite for a single axle. [m]"""
        places = self.axle_positions
        return min((b - a for a, b in pairwise(places)), default=float("inf"))

    def check_together(self) -> None:
        """Check that no two axles stand at the same place, and that blending has what to blend."""
        if self.blending is not None and not self.has_dynamic_brake:
            self.refuse("blending", "acts only with a dynamic_brake on some vehicle", "")
        if not any(any(vehicle.braked_axles) for vehicle in self.vehicles):
            self.refuse("vehicles", "no axle of the train is braked; at least one must be", "")
        if self.smallest_axle_spacing <= 0.0:
            self.refuse(
                "vehicles",
                "two axles stand at the same place; axles must be apart [m]",
                [vehicle.name for vehicle in self.vehicles],
            )
