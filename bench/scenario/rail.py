"""The rail: its film, how the film yields to sliding, and gradients."""

from itertools import pairwise

from bench.scenario.fields import Record, parts, quantity, record

MONOTONE_LIMIT = 0.1317  # smallest slip/adhesion reduction ratio whose creep curve never falls


@record
class RailSection(Record):
    """Rail with one kind of film, up to where the next section begins.

    The creep curve is Polach's (Wear 258 (2005) 992-1000) with the two reduction factors; friction
    falls with slip speed w as mu0 [(1 - A) exp(-B w) + A]. Cleaning moves mu0 from `friction`
    towards `recovered_friction` by 1 - exp(-(W/W0)^p), W the work of sliding spent on the metre of
    rail. There is no cleaning where both are equal.
    """

    from_distance: float = quantity(
        "length",
        low=-1e5,
        high=1e6,
        doc="Where the section begins, from the train's front at the start.",
    )
    friction: float = quantity(
        "ratio", low=0.002, high=0.9, doc="Static friction of the untouched film, mu0."
    )
    recovered_friction: float = quantity(
        "ratio", low=0.002, high=0.9, doc="Static friction once fully cleaned."
    )
    cleaning_work: float = quantity(
        "work_per_length",
        above=0.0,
        high=1e9,
        doc="Energy scale of cleaning, W0, of one wheel on one rail.",
    )
    cleaning_exponent: float = quantity(
        "ratio",
        low=0.5,
        high=4.0,
        default=1.0,
        doc="Exponent p of the cleaning law.",
        mark="assumed",
        source="1 is the recalled exponential law; 2 would suit a film of two layers",
    )
    friction_ratio: float = quantity(
        "ratio", low=0.05, high=1.0, doc="Friction at infinite slip speed over static friction, A."
    )
    friction_decay: float = quantity(
        "inverse_speed", low=0.0, high=20.0, doc="Decay of friction with slip speed, B."
    )
    adhesion_reduction: float = quantity(
        "ratio", low=0.02, high=1.0, doc="Reduction of contact stiffness where the contact sticks."
    )
    slip_reduction: float = quantity(
        "ratio", low=0.002, high=1.0, doc="Reduction of contact stiffness where the contact slips."
    )

    def check_together(self) -> None:
        """Check the order of the two frictions and of the two reduction factors."""
        if self.recovered_friction < self.friction:
            self.refuse(
                "recovered_friction",
                f"must be at least the untouched friction, {self.friction:g}",
            )
        low, high = MONOTONE_LIMIT * self.adhesion_reduction, self.adhesion_reduction
        if not low <= self.slip_reduction <= high:
            self.refuse(
                "slip_reduction",
                f"must be from {low:.4g} to {high:.4g} ({MONOTONE_LIMIT} to 1 times the adhesion "
                "reduction), or the creep curve would fall at constant friction",
            )


@record
class Rail(Record):
    """The rail ahead, as sections of film and the grain in which its state is remembered.

    Memory in rail cells is this project's extension of the recalled cleaning law.
    """

    cell_length: float = quantity(
        "length",
        low=0.1,
        high=10.0,
        default=1.0,
        doc="Length of a rail cell, the grain of cleaning.",
        mark="assumed",
        source="a choice of resolution",
    )
    crown_radius: float = quantity(
        "length",
        low=0.05,
        high=1.0,
        default=0.3,
        doc="Radius of the rail head across the rail.",
        mark="memory",
        source="usual crown of a new rail head; value from memory, not verified, fairly sure",
    )
    locked_cleaning_share: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=0.05,
        doc="Share of its sliding work with which a locked wheel still cleans.",
        mark="assumed",
        source="no measurement known; without a fall, locked wheels would clean best",
    )
    full_cleaning_slip: float = quantity(
        "ratio",
        low=0.05,
        high=0.95,
        default=0.5,
        doc="Creepage up to which all sliding work cleans; beyond, the share falls linearly.",
        mark="assumed",
        source="no measurement known",
    )
    sections: tuple[RailSection, ...] = parts(
        RailSection,
        key="section",
        max_items=10_000,
        doc="Sections in order; the first also reaches back under the whole train.",
    )

    def check_together(self) -> None:
        """Check that sections ascend and the first begins at or before the train's front."""
        starts = [section.from_distance for section in self.sections]
        if starts[0] > 0.0:
            detail = "the first section must begin at 0 m or before"
            self.refuse("sections.0.from_distance", detail, starts[0])
        _check_ascending(self, "sections", starts)


@record
class GradientSection(Record):
    """Track of one gradient, up to where the next section begins."""

    from_distance: float = quantity(
        "length",
        low=-1e5,
        high=1e6,
        doc="Where the gradient begins, from the train's front at the start.",
    )
    rise: float = quantity(
        "slope", low=-0.1, high=0.1, doc="Height gained per length; positive uphill."
    )


def _check_ascending(owner: Record, field: str, starts: list[float]) -> None:
    for i, (before, start) in enumerate(pairwise(starts), start=1):
        if start <= before:
            owner.refuse(
                f"{field}.{i}.from_distance",
                f"sections must ascend, so it must be above {before:g} m",
                start,
            )


def check_gradient(owner: Record, gradient: tuple[GradientSection, ...]) -> None:
    """Check that the gradient sections of `owner` ascend; raise `FieldProblem` if not."""
    _check_ascending(owner, "gradient", [section.from_distance for section in gradient])
