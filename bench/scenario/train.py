"""The train: vehicles, masses, axles and running resistance."""

from itertools import accumulate, pairwise

from bench.scenario.fields import Record, flag, parts, quantities, quantity, record, text

ROTATING_MASS_LIMIT = 0.30  # of the vehicle mass; real vehicles 0.03-0.20, so above is a slip


@record
class Vehicle(Record):
    """One vehicle: lengths along it are measured from its front end."""

    name: str = text(doc="Name of the vehicle.")
    length: float = quantity("length", low=3.0, high=60.0, doc="Length over couplings.")
    tare_mass: float = quantity("mass", low=1e3, high=2e5, doc="Mass when empty.")
    laden_mass: float = quantity("mass", low=1e3, high=2e5, doc="Mass when fully laden.")
    bogie_centres: tuple[float, ...] = quantities(
        "length",
        low=0.0,
        high=60.0,
        max_items=8,
        doc="Distance of each bogie centre behind the vehicle's front, ascending.",
    )
    bogie_wheelbase: float = quantity(
        "length",
        low=0.0,
        high=10.0,
        doc="Distance between the two axles of a bogie; 0 means a single axle at each centre.",
    )
    wheel_diameter: float = quantity("length", low=0.3, high=1.4, doc="Wheel tread diameter.")
    wheelset_inertia: float = quantity(
        "inertia",
        low=1.0,
        high=1000.0,
        doc="Moment of inertia of a wheelset about its axle, with all that turns with it.",
    )
    is_motored: bool = flag(
        default=False,
        doc="Whether the wheelsets carry motors (a label; the inertia must include them).",
        mark="assumed",
        source="a vehicle is a trailer unless said otherwise",
    )

    @property
    def axle_offsets(self) -> tuple[float, ...]:
        """Distance of each axle behind the vehicle's front, ascending. [m]"""
        half = 0.5 * self.bogie_wheelbase
        if half == 0.0:
            return self.bogie_centres
        return tuple(centre + side for centre in self.bogie_centres for side in (-half, half))

    @property
    def n_axles(self) -> int:
        """Number of axles."""
        return len(self.bogie_centres) * (1 if self.bogie_wheelbase == 0.0 else 2)

    @property
    def wheel_radius(self) -> float:
        """Wheel tread radius. [m]"""
        return 0.5 * self.wheel_diameter

    @property
    def rotating_mass(self) -> float:
        """Mass equivalent of all wheelsets, sum of J/r2. [kg]"""
        return self.n_axles * self.wheelset_inertia / self.wheel_radius**2

    def mass_at(self, load: float) -> float:
        """Return the mass at `load` (0 = tare, 1 = laden). [kg]"""
        return self.tare_mass + load * (self.laden_mass - self.tare_mass)

    def check_together(self) -> None:
        """Check masses, that axles are in order inside the vehicle, and the rotating mass."""
        if self.laden_mass < self.tare_mass:
            self.refuse("laden_mass", f"must be at least the tare mass, {self.tare_mass:g} kg")
        offsets = self.axle_offsets
        if any(b <= a for a, b in pairwise(offsets)):
            self.refuse(
                "bogie_centres",
                f"must ascend, each by more than the wheelbase of {self.bogie_wheelbase:g} m [m]",
            )
        if offsets[0] < 0.0 or offsets[-1] > self.length:
            self.refuse(
                "bogie_centres",
                f"puts axles from {offsets[0]:g} to {offsets[-1]:g} m; "
                f"they must lie inside the vehicle, 0 to {self.length:g} m",
            )
        share = self.rotating_mass / self.tare_mass
        if share >= ROTATING_MASS_LIMIT:
            self.refuse(
                "wheelset_inertia",
                f"makes the rotating mass {100 * share:.3g} % of the tare mass; "
                f"it must stay below {100 * ROTATING_MASS_LIMIT:g} % [kg m2]",
            )


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
        return tuple(vehicle.mass_at(self.load) for vehicle in self.vehicles)

    @property
    def mass(self) -> float:
        """Mass of the train at its load, rotating masses not counted twice. [kg]"""
        return sum(self.vehicle_masses)

    @property
    def smallest_axle_spacing(self) -> float:
        """Smallest distance between neighbouring axles; infinite for a single axle. [m]"""
        places = self.axle_positions
        return min((b - a for a, b in pairwise(places)), default=float("inf"))

    def check_together(self) -> None:
        """Check that no two axles stand at the same place."""
        if self.smallest_axle_spacing <= 0.0:
            self.refuse(
                "vehicles",
                "two axles stand at the same place; axles must be apart [m]",
                [vehicle.name for vehicle in self.vehicles],
            )
