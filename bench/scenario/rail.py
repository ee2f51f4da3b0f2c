"""The rail: its film, how the film yields to sliding, and gradients."""

from itertools import pairwise

from slipbench.scenario.fields import (
    Record,
    choice,
    count,
    file_name,
    optional_part,
    parts,
    quantity,
    record,
)

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
        default=0.0,
        doc="Where the section begins, from the train's front at the start.",
        mark="assumed",
        source="the first section reaches back under the whole train, wherever it begins",
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
class RandomFriction(Record):
    """Friction of the untouched film drawn at random, patch by patch; every number is assumed.

    Friction is log-normal, clipped; patch lengths are exponential, but for a share of long patches
    of even distribution between two lengths. It replaces the sections' friction (and lifts their
    recovered friction where that would lie below).
    """

    seed: int = count(low=0, high=2**63 - 1, doc="Seed: the same seed gives the same rail.")
    median_friction: float = quantity(
        "ratio",
        low=0.002,
        high=0.9,
        default=0.05,
        doc="Median of the friction.",
        mark="assumed",
        source="no field distribution was found",
    )
    spread: float = quantity(
        "ratio",
        low=0.0,
        high=3.0,
        default=0.5,
        doc="Standard deviation of the logarithm of the friction.",
        mark="assumed",
        source="no field distribution was found",
    )
    lowest_friction: float = quantity(
        "ratio",
        low=0.002,
        high=0.9,
        default=0.008,
        doc="Friction is clipped here.",
        mark="assumed",
        source="so that the longest slide on record (0.8 %g) lies inside",
    )
    highest_friction: float = quantity(
        "ratio",
        low=0.002,
        high=0.9,
        default=0.15,
        doc="Friction is clipped here.",
        mark="assumed",
        source="about where 9 %g no longer slides",
    )
    mean_patch: float = quantity(
        "length",
        low=1.0,
        high=1e5,
        default=300.0,
        doc="Mean length of an ordinary patch.",
        mark="assumed",
        source="no field distribution was found",
    )
    long_share: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=0.05,
        doc="Share of patches that are long.",
        mark="assumed",
        source="films of kilometres are on record",
    )
    long_from: float = quantity(
        "length",
        low=1.0,
        high=1e5,
        default=1000.0,
        doc="Shortest long patch.",
        mark="assumed",
        source="films of kilometres are on record",
    )
    long_to: float = quantity(
        "length",
        low=1.0,
        high=1e5,
        default=5000.0,
        doc="Longest long patch.",
        mark="assumed",
        source="films of kilometres are on record",
    )

    def check_together(self) -> None:
        """Check the order of both pairs of bounds."""
        if self.highest_friction < self.lowest_friction:
            self.refuse(
                "highest_friction", f"must be at least the lowest, {self.lowest_friction:g}"
            )
        if self.long_to < self.long_from:
            self.refuse("long_to", f"must be at least {self.long_from:g} m")


@record
class Rail(Record):
    """The rail ahead, as sections of film and the grain in which its state is remembered.

    Memory in rail cells, and a cleaning share that falls for a nearly locked wheel, are this
    project's extensions of the recalled cleaning law, which has neither (`contact_only`). Both
    together, each joule spent once, are `rail_and_contact`, this project's own as well.
    """

    cleaning_law: str = choice(
        "rail_memory",
        "contact_only",
        "rail_and_contact",
        doc="Whether the rail stays cleaned for wheels behind, a contact cleans itself, or both.",
        default="rail_memory",
        mark="assumed",
        source="memory in the rail is this project's own extension; the recalled law of degraded "
        "and recovered adhesion has none (contact_only), and there a locked wheel cleans in full",
    )
    contact_share: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=1.0,
        doc="Share of a pass's work that acts in its own contact, under rail_and_contact.",
        mark="assumed",
        source="this project's own: 1 spends each joule where it falls, 0 is rail_memory; no "
        "measurement known",
    )
    redeposition: float = quantity(
        "ratio",
        low=0.0,
        high=5.0,
        default=0.0,
        doc="Each wheel lays down film again: W falls by exp of minus this.",
        mark="assumed",
        source="this project's own extension; no measurement known",
    )
    sand_friction: float = quantity(
        "ratio",
        low=0.0,
        high=0.6,
        default=0.42,
        doc="Friction gained under much sand.",
        mark="derived",
        source="fitted with sand_retention to all four sanded distances of the RSSB T1107 trial "
        "(Rail Engineer, 12 Feb 2018), closed loop with slip_band, for the smallest largest error, "
        "13 %: a calibration, not a validation; only its ratio to sand_scale is identifiable",
    )
    sand_scale: float = quantity(
        "mass_per_length",
        above=0.0,
        high=1.0,
        default=0.020,
        doc="Sand per metre of one rail for 63 % of that gain.",
        mark="assumed",
        source="set, not fitted: the sanding trial fixes only the ratio of sand_friction to it, "
        "0.021 per g/m; with 30 g/m a fit gives the same distances within 1 %",
    )
    sand_retention: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=0.87,
        doc="Share of the sand that a passing wheel leaves on the rail.",
        mark="derived",
        source="fitted with sand_friction to all four sanded distances of the RSSB T1107 trial: a "
        "calibration, not a validation",
    )
    sand_limit: float = quantity(
        "mass_per_length",
        low=0.0,
        high=1.0,
        default=0.0075,
        doc="More sand than this does not stay on a metre of one rail.",
        mark="assumed",
        source="the residue limit of an older GB group standard, seen second-hand, taken as a cap; "
        "the sanding trial does not tell it from a fourfold one",
    )
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
        source="this project's own extension; no measurement known; without it locked wheels would "
        "clean best",
    )
    full_cleaning_slip: float = quantity(
        "ratio",
        low=0.05,
        high=0.95,
        default=0.5,
        doc="Creepage up to which all sliding work cleans; beyond, the share falls linearly.",
        mark="assumed",
        source="this project's own extension; no measurement known",
    )
    profile: str | None = file_name(
        default=None,
        doc="CSV with distance_m and friction, one row a section; the first fills the rest.",
    )
    random: RandomFriction | None = optional_part(
        RandomFriction, default=None, doc="Friction drawn at random instead of the sections' own."
    )
    sections: tuple[RailSection, ...] = parts(
        RailSection,
        key="section",
        max_items=10_000,
        doc="Sections in order; the first also reaches back under the whole train.",
    )

    def check_together(self) -> None:
        """Check that sections ascend, from the front or before, and friction is given once."""
        if self.profile is not None and self.random is not None:
            self.refuse("profile", "friction comes from it or from [rail.random]; give one of them")
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


@record
class CurveSection(Record):
    """Track of one curvature, up to where the next section begins.

    Curves resist with 650 / (R - 55) newtons a kilonewton of weight (500 / (R - 30) below 300 m):
    Roeckl's formula, value from memory, not verified.
    """

    from_distance: float = quantity(
        "length",
        low=-1e5,
        high=1e6,
        doc="Where the curve begins, from the train's front at the start.",
    )
    radius: float = quantity(
        "length", low=0.0, high=1e5, doc="Radius of the curve; 0 is straight track, else from 100."
    )

    @property
    def resistance(self) -> float:
        """Resistance over weight. [-]"""
        if self.radius == 0.0:
            return 0.0
        if self.radius < 300.0:
            return 0.5 / (self.radius - 30.0)
        return 0.65 / (self.radius - 55.0)

    def check_together(self) -> None:
        """Check that a curve is no tighter than the formula reaches."""
        if 0.0 < self.radius < 100.0:
            self.refuse("radius", "must be 0 (straight) or at least 100 m")


def _check_ascending(owner: Record, field: str, starts: list[float]) -> None:
    for i, (before, start) in enumerate(pairwise(starts), start=1):
        if start <= before:
            owner.refuse(
                f"{field}.{i}.from_distance",
                f"sections must ascend, so it must be above {before:g} m",
                start,
            )


def check_line(
    owner: Record, gradient: tuple[GradientSection, ...], curves: tuple[CurveSection, ...]
) -> None:
    """Check that gradient and curve sections of `owner` ascend; raise `FieldProblem` if not."""
    _check_ascending(owner, "gradient", [section.from_distance for section in gradient])
    _check_ascending(owner, "curves", [section.from_distance for section in curves])
