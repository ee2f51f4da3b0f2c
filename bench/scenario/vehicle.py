"""A vehicle: masses, axles, wheels, and what its brakes have for themselves."""

from itertools import pairwise

from slipbench.scenario.dynamic_brake import DynamicBrake
from slipbench.scenario.fields import (
    Record,
    choice,
    count,
    counts,
    optional_part,
    quantities,
    quantity,
    record,
    text,
)
from slipbench.scenario.track_brake import TrackBrake
from slipbench.scenario.vehicle_brake import VehicleBrake

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
    motored_axles: tuple[int, ...] = counts(
        low=1, high=16, max_items=16, default=(), doc="Axles of the vehicle that carry motors."
    )
    motor_inertia: float = quantity(
        "inertia",
        low=0.0,
        high=50.0,
        default=0.0,
        doc="Moment of inertia of the rotor of a motored axle, about its own shaft.",
        mark="assumed",
        source="0: contained in wheelset_inertia unless said otherwise",
    )
    gear_ratio: float = quantity(
        "ratio",
        low=1.0,
        high=12.0,
        default=1.0,
        doc="Turns of the rotor for one of the wheelset: its inertia counts by the square.",
        mark="assumed",
        source="1 unless said otherwise",
    )
    brake: VehicleBrake | None = optional_part(
        VehicleBrake, default=None, doc="What its air brake has for itself, if anything."
    )
    dynamic_brake: DynamicBrake | None = optional_part(
        DynamicBrake, default=None, doc="Dynamic brake of the motored axles, if any."
    )
    track_brake: TrackBrake | None = optional_part(
        TrackBrake, default=None, doc="Track brakes of the bogies, if any."
    )
    load: float | None = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=None,
        doc="Load of this vehicle, 0 tare to 1 laden; the train's where not given.",
    )
    wheel_diameters: tuple[float, ...] | None = quantities(
        "length",
        low=0.3,
        high=1.4,
        default=None,
        max_items=16,
        doc="Wheel tread diameter axle by axle, where they differ.",
    )
    assumed_wheel_diameters: tuple[float, ...] | None = quantities(
        "length",
        low=0.3,
        high=1.4,
        default=None,
        max_items=16,
        doc="Wheel diameters the slip control is set to, where they are wrong.",
    )
    wheelset_inertias: tuple[float, ...] | None = quantities(
        "inertia",
        low=1.0,
        high=1000.0,
        default=None,
        max_items=16,
        doc="Moment of inertia axle by axle, where they differ.",
    )
    unbraked_axles: tuple[int, ...] = counts(
        low=1, high=16, max_items=16, default=(), doc="Axles of the vehicle that have no brake."
    )
    bogie_mass: float = quantity(
        "mass",
        low=0.0,
        high=3e4,
        default=0.0,
        doc="Mass of one bogie with its wheelsets, part of the vehicle's.",
        mark="assumed",
        source="0: no load transfer by bogie inertia",
    )
    body_height: float = quantity(
        "length",
        low=0.0,
        high=4.0,
        default=0.0,
        doc="Centre of gravity of the body above the rail; 0 with pivot_height 0: no transfer.",
        mark="assumed",
        source="0: no load transfer unless said otherwise",
    )
    pivot_height: float = quantity(
        "length",
        low=0.0,
        high=2.0,
        default=0.0,
        doc="Height above the rail at which body and bogie push each other.",
        mark="assumed",
        source="0: no load transfer unless said otherwise",
    )
    brake_kind: str = choice(
        "disc",
        "cast_iron",
        "composite",
        doc="Disc pads, cast-iron or composite tread blocks.",
        default="disc",
        mark="assumed",
        source="a disc-braked train unless said otherwise",
    )
    blocks_per_axle: int = count(
        low=1,
        high=8,
        default=4,
        doc="Tread blocks on an axle.",
        mark="assumed",
        source="two a wheel",
    )
    block_design_friction: float = quantity(
        "ratio",
        low=0.02,
        high=0.6,
        default=0.12,
        doc="Friction of the tread blocks for which pressure and deceleration were matched.",
        mark="assumed",
        source="about cast iron at 60 km/h and 20 kN by Karwatzki's formula",
    )
    pad_speed_term: float = quantity(
        "inverse_speed",
        low=-0.02,
        high=0.02,
        default=0.0,
        doc="Relative change of pad friction per rim speed.",
        mark="assumed",
        source="a flat pad unless said otherwise",
    )
    pad_heat_term: float = quantity(
        "inverse_temperature",
        low=-0.005,
        high=0.005,
        default=0.0,
        doc="Relative change of pad friction per degree of the disc above ambient.",
        mark="assumed",
        source="a flat pad unless said otherwise",
    )
    pad_wetness: float = quantity(
        "ratio",
        low=0.0,
        high=0.9,
        default=0.0,
        doc="Share of the friction of pads or blocks lost to water.",
        mark="assumed",
        source="dry unless said otherwise",
    )
    cylinder_volume: float = quantity(
        "volume",
        low=1e-4,
        high=0.1,
        default=0.008,
        doc="Volume of an axle's brake cylinders with their pipes.",
        mark="assumed",
        source="no source; the order of 10 litres",
    )
    main_reservoir_volume: float = quantity(
        "volume",
        low=0.0,
        high=5.0,
        default=0.0,
        doc="Main reservoirs on this vehicle; with none on the train its main pipe is kept up.",
        mark="assumed",
        source="none unless said otherwise",
    )
    compressor_flow: float = quantity(
        "air_flow",
        low=0.0,
        high=1.0,
        default=0.0,
        doc="What compressors on this vehicle deliver while they run, in normal litres.",
        mark="assumed",
        source="none unless said otherwise",
    )
    auxiliary_flow: float = quantity(
        "air_flow",
        low=0.0,
        high=1.0,
        default=0.0,
        doc="What this vehicle draws from the main pipe besides: springs, doors, leaks.",
        mark="assumed",
        source="none unless said otherwise",
    )
    heat_capacity: float = quantity(
        "heat_capacity",
        low=1e3,
        high=1e7,
        default=1.2e5,
        doc="Heat capacity of an axle's discs (or of both treads).",
        mark="assumed",
        source="about 240 kg of iron in two discs",
    )
    cooling: float = quantity(
        "cooling",
        low=0.0,
        high=1e4,
        default=60.0,
        doc="Cooling of the discs or treads of an axle at rest.",
        mark="assumed",
        source="no source",
    )
    cooling_speed_term: float = quantity(
        "cooling_by_speed",
        low=0.0,
        high=1e3,
        default=8.0,
        doc="More cooling per train speed.",
        mark="assumed",
        source="no source",
    )

    @property
    def braked_axles(self) -> tuple[bool, ...]:
        """Whether each axle has a brake."""
        return tuple(i + 1 not in self.unbraked_axles for i in range(self.n_axles))

    @property
    def radii(self) -> tuple[float, ...]:
        """Wheel tread radius of each axle. [m]"""
        if self.wheel_diameters is not None:
            return tuple(0.5 * diameter for diameter in self.wheel_diameters)
        return (0.5 * self.wheel_diameter,) * self.n_axles

    @property
    def assumed_radii(self) -> tuple[float, ...]:
        """Wheel tread radius the slip control believes each axle to have. [m]"""
        if self.assumed_wheel_diameters is not None:
            return tuple(0.5 * diameter for diameter in self.assumed_wheel_diameters)
        return self.radii

    @property
    def rotating_masses(self) -> tuple[float, ...]:
        """Mass equivalent J/r2 of each wheelset. [kg]"""
        inertias = self.wheelset_inertias or (self.wheelset_inertia,) * self.n_axles
        with_motors = (
            inertia + (self.gear_ratio**2 * self.motor_inertia if i in self.motored_axles else 0.0)
            for i, inertia in enumerate(inertias, start=1)
        )
        return tuple(j / r**2 for j, r in zip(with_motors, self.radii, strict=True))

    @property
    def magnet_places(self) -> tuple[float, ...]:
        """Distance of the bogies with track brakes behind the vehicle's front. [m]"""
        if self.track_brake is None:
            return ()
        bogies = self.track_brake.bogies or range(1, len(self.bogie_centres) + 1)
        return tuple(self.bogie_centres[i - 1] for i in sorted(set(bogies)))

    @property
    def has_constant_friction(self) -> bool:
        """Whether the friction of the brake is one number during a stop."""
        is_flat = self.pad_speed_term == 0.0 and self.pad_heat_term == 0.0
        return self.brake_kind == "disc" and is_flat

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
        return sum(self.rotating_masses)

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
        for name in ("wheel_diameters", "assumed_wheel_diameters", "wheelset_inertias"):
            given = getattr(self, name)
            if given is not None and len(given) != self.n_axles:
                self.refuse(name, f"must have one item an axle, {self.n_axles}")
        for axle in self.unbraked_axles:
            if axle > self.n_axles:
                self.refuse("unbraked_axles", f"the vehicle has axles 1 to {self.n_axles}")
        self._check_motors()
        if self.n_axles * 0.5 * self.bogie_mass > self.tare_mass:
            self.refuse("bogie_mass", f"the bogies outweigh the vehicle, {self.tare_mass:g} kg")
        share = self.rotating_mass / self.tare_mass
        if share >= ROTATING_MASS_LIMIT:
            self.refuse(
                "wheelset_inertia",
                f"makes the rotating mass {100 * share:.3g} % of the tare mass; "
                f"it must stay below {100 * ROTATING_MASS_LIMIT:g} % [kg m2]",
            )

    def _check_motors(self) -> None:
        for axle in self.motored_axles:
            if axle > self.n_axles:
                self.refuse("motored_axles", f"the vehicle has axles 1 to {self.n_axles}")
        if self.dynamic_brake is not None and not self.motored_axles:
            self.refuse("motored_axles", "missing; dynamic_brake needs it, counted from 1")
        for bogie in self.track_brake.bogies if self.track_brake else ():
            if bogie > len(self.bogie_centres):
                most = len(self.bogie_centres)
                self.refuse("track_brake", f"bogies: the vehicle has bogies 1 to {most}", bogie)
