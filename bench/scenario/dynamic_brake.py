"""The dynamic brake of motored axles, and how it is blended with the air brake."""

from slipbench.scenario.fields import Record, choice, count, quantity, record

BLENDING_RULES = ("vehicle", "train")
SLIDE_RULES = ("restore", "cut_out", "hand_over")


@record
class DynamicBrake(Record):
    """Dynamic brake of a vehicle's motored axles; forces and powers at the rim, of one axle.

    The force is the least of the force limit, the power limit over speed and, above the field
    speed, its fall with speed squared; it fades out between two speeds, by the speed of its own
    rims. What is asked of it follows with a jerk limit, a dead time and a lag; the limits hold at
    once, and so does what the drive's own slip control does.
    """

    force_limit: float = quantity(
        "force", above=0.0, high=1e5, doc="Greatest force of a motored axle."
    )
    power_limit: float = quantity(
        "power", above=0.0, high=3e6, doc="Greatest power of a motored axle."
    )
    fade_from: float = quantity(
        "speed", above=0.0, high=30.0, doc="Below this speed the force fades ..."
    )
    fade_to: float = quantity("speed", low=0.0, high=30.0, doc="... and at this speed it is gone.")
    field_speed: float | None = quantity(
        "speed",
        above=1.0,
        high=120.0,
        default=None,
        doc="Above this speed the power falls as one over speed; without it, nowhere.",
    )
    drive: str = choice(
        "axle",
        "bogie",
        "car",
        doc="What one drive feeds: all its axles get one torque, and its slip control acts on all.",
        default="bogie",
        mark="assumed",
        source="no source; each of the three is built",
    )
    dead_time: float = quantity(
        "time",
        low=0.0,
        high=1.0,
        default=0.0,
        doc="Time from asking the drive to the first change of its force, before the lag.",
        mark="assumed",
        source="0: contained in the lag unless said otherwise; buses and converters, no source",
    )
    lag: float = quantity(
        "time",
        low=0.0,
        high=2.0,
        default=0.1,
        doc="Time constant with which the force follows what is asked.",
        mark="memory",
        source="50 to 100 ms, command .1 to .2 s; value from memory, not verified, weak",
    )
    jerk_limit: float = quantity(
        "jerk",
        above=0.0,
        high=20.0,
        default=0.8,
        doc="Fastest change of what is asked, as jerk of the laden vehicle or train it brakes.",
        mark="memory",
        source=".5 to 1.3 m/s3; value from memory, not verified, weak",
    )
    receptivity: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=1.0,
        doc="Share of the drive's greatest power at each speed that the line takes.",
        mark="assumed",
        source="a line that takes all, unless said otherwise",
    )
    resistor_power: float = quantity(
        "power",
        low=0.0,
        high=3e6,
        default=0.0,
        doc="Power of an axle that a resistor takes where the line does not.",
        mark="assumed",
        source="no resistor unless said otherwise: what the line does not take is lost force",
    )
    slide_rule: str = choice(
        *SLIDE_RULES,
        doc="On a slide: reduced and restored by the drive's own slip control, cut out until the "
        "brake is released, or handed over to friction with slip control until the slide is over.",
        default="cut_out",
        mark="secondary",
        source="common practice, no source; of one suburban fleet: drops out on a slide, "
        "seen on flash cards",
    )
    slide_slip: float = quantity(
        "ratio",
        above=0.0,
        high=0.9,
        default=0.1,
        doc="Slip of its slowest axle, over the reference speed, that is a slide.",
        mark="assumed",
        source="no source",
    )
    slide_speed: float = quantity(
        "speed",
        low=0.0,
        high=5.0,
        default=0.5,
        doc="Slip speed below which there is no slide.",
        mark="assumed",
        source="no source; over the error of worn diameters",
    )
    reduction: float = quantity(
        "ratio",
        above=0.0,
        high=1.0,
        default=0.4,
        doc="Share taken off as a slide begins, and again each .15 s it lasts (restore).",
        mark="memory",
        source="30 to 50 %; value from memory, not verified, weak",
    )
    restore_time: float = quantity(
        "time",
        above=0.0,
        high=20.0,
        default=1.5,
        doc="Time in which all of the force would be given back (restore).",
        mark="memory",
        source="1 to 2 s; value from memory, not verified, weak",
    )
    slides_to_cut_out: int = count(
        low=0,
        high=1000,
        default=3,
        doc="One slide more than that cuts it out for the rest of the stop; 0: never (restore).",
        mark="memory",
        source="2 to 3 slides; value from memory, not verified, weak",
    )
    hand_back_time: float = quantity(
        "time",
        above=0.0,
        high=60.0,
        default=2.0,
        doc="Time without a slide after which the dynamic brake comes back (hand_over).",
        mark="assumed",
        source="no source",
    )
    sample_time: float = quantity(
        "time",
        low=0.001,
        high=0.1,
        default=0.02,
        doc="Time between two looks of the drive's own slip control.",
        mark="assumed",
        source="no source",
    )

    def check_together(self) -> None:
        """Check the fade."""
        if self.fade_to >= self.fade_from:
            self.refuse("fade_to", f"must be below fade_from, {self.fade_from:g} m/s")


@record
class Blending(Record):
    """How dynamic and air brake share the demand: dynamic first, air fills what is missing.

    By vehicle, each fills its own shortfall. By train, the motored axles take what they can of the
    whole train's demand; trailers fill first, then motored vehicles, none beyond what its own air
    brake would give without dynamic brake. The brake control knows the train's speed.
    """

    rule: str = choice(
        *BLENDING_RULES,
        doc="Whether air fills the shortfall vehicle by vehicle, or over the train.",
        default="vehicle",
        mark="assumed",
        source="no source; each of the two is built",
    )
    friction_lag: float = quantity(
        "time",
        low=0.0,
        high=3.0,
        default=0.2,
        doc="Time constant with which the air brake's demand follows the shortfall.",
        mark="assumed",
        source="no source",
    )
    lead: float = quantity(
        "time",
        low=0.0,
        high=5.0,
        default=0.4,
        doc="The air brake's demand is for the dynamic brake so much later; dynamic gives way.",
        mark="assumed",
        source="twice the lag; no source",
    )
    prefill_pressure: float = quantity(
        "pressure",
        low=0.0,
        high=1e5,
        default=2e4,
        doc="Cylinder pressure from just before the fade on, so that pads lie on; 0: none.",
        mark="assumed",
        source=".2 to .3 bar; no source",
    )
    prefill_time: float = quantity(
        "time",
        low=0.0,
        high=5.0,
        default=1.0,
        doc="The cylinder is prefilled so long before the fade begins.",
        mark="assumed",
        source="no source",
    )
    in_emergency: str = choice(
        "friction_only",
        "blended",
        doc="Whether the dynamic brake works in emergency.",
        default="friction_only",
        mark="assumed",
        source="common practice, no source",
    )
