"""The contact: which creep law, and what wheel and rail are made and worn to."""

from slipbench.scenario.fields import Record, choice, file_name, quantity, record

LAWS = ("polach", "vermeulen_johnson", "shen_hedrick_elkins", "carter", "strip", "measured")


@record
class Contact(Record):
    """Creep law and contact geometry; the stiffness follows from load, radii and elasticity.

    All laws but `measured` share the scenario's falling friction and Kalker's stiffness. The
    reduction factors of a rail section act in Polach's law only. `strip`, Kalker's simplified
    theory, may have constant lateral creepage and spin; its table then holds for the first
    section's friction. Of a `measured` curve the shape counts: its largest adhesion stands for the
    rail's friction, so a section's friction must be that largest adhesion to meet it as measured.
    """

    law: str = choice(
        *LAWS,
        doc="Creep law that drives the stop.",
        default="polach",
        mark="assumed",
        source="the law most used for braking at large slip; a choice",
    )
    measured_curve: str | None = file_name(
        default=None,
        doc="CSV of a measured creep curve (law = measured): creepage, adhesion, optionally speed. "
        "Its shape counts: its largest adhesion stands for the friction of the rail.",
    )
    lateral_creepage: float = quantity(
        "ratio",
        low=-0.1,
        high=0.1,
        default=0.0,
        doc="Constant lateral creepage (law = strip).",
        mark="assumed",
        source="straight track, wheelset centred",
    )
    spin: float = quantity(
        "inverse_length",
        low=-5.0,
        high=5.0,
        default=0.0,
        doc="Constant spin creepage (law = strip).",
        mark="assumed",
        source="coned wheel on straight track has little; none here",
    )
    wheel_profile_curvature: float = quantity(
        "inverse_length",
        low=-15.0,
        high=15.0,
        default=0.0,
        doc="Curvature of the wheel tread across; 0 coned, negative worn hollow.",
        mark="assumed",
        source="a new coned tread",
    )
    elastic_modulus: float = quantity(
        "modulus",
        low=1e10,
        high=1e12,
        default=210e9,
        doc="Young's modulus of wheel and rail.",
        mark="memory",
        source="steel; value from memory, not verified, sure",
    )
    poisson_ratio: float = quantity(
        "ratio",
        low=0.0,
        high=0.5,
        default=0.28,
        doc="Poisson's ratio of wheel and rail.",
        mark="memory",
        source="steel, 0.25 to 0.30; value from memory, not verified",
    )

    def check_together(self) -> None:
        """Check that a measured law has its curve, and the others none."""
        if self.law == "measured" and self.measured_curve is None:
            self.refuse("law", "needs contact.measured_curve, the CSV file of the curve")
        if self.law != "measured" and self.measured_curve is not None:
            self.refuse("measured_curve", "is for law = measured only")
        if self.law != "strip" and (self.lateral_creepage != 0.0 or self.spin != 0.0):
            name = "spin" if self.spin != 0.0 else "lateral_creepage"
            self.refuse(name, "is for law = strip only; must be 0 with any other law")
