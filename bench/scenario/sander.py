"""Sanders."""

from slipbench.scenario.fields import Record, choice, count, quantity, record


@record
class Sander(Record):
    """Sands both rails ahead of one axle, when the handle is far enough on and a wheel slides."""

    axle: int = count(low=1, high=480, doc="Axle, counted from 1 at the front, it sands ahead of.")
    mode: str = choice(
        "fixed",
        "speed_proportional",
        doc="Fixed rate, or a rate that keeps the density on the rail.",
        default="fixed",
        mark="assumed",
        source="the older kind",
    )
    rate: float = quantity(
        "mass_rate",
        above=0.0,
        high=1.0,
        doc="Sand per rail; the largest rate of a speed-proportional sander.",
    )
    density: float = quantity(
        "mass_per_length",
        low=0.0,
        high=0.1,
        default=0.0075,
        doc="Sand aimed at per metre of one rail (speed-proportional).",
        mark="secondary",
        source="7.5 g/m, the residue limit of an older GB group standard quoted in a presentation",
    )
    start_delay: float = quantity(
        "time",
        low=0.0,
        high=60.0,
        default=1.0,
        doc="From the trigger to sand on the rail.",
        mark="assumed",
        source="no source",
    )
    run_on_time: float = quantity(
        "time",
        low=0.0,
        high=600.0,
        default=3.0,
        doc="It sands on for so long after the trigger is gone.",
        mark="assumed",
        source="no source",
    )
    from_step: int = count(
        low=1,
        high=16,
        default=2,
        doc="Least brake step (by demand) at which it sands.",
        mark="published",
        source="sanding allowed from brake step 2 on slide (Rail Engineer, 2017)",
    )
    trigger: str = choice(
        "train",
        "vehicle",
        doc="Whether any vehicle's slide triggers it, or its own vehicle's only.",
        default="train",
        mark="assumed",
        source="a train wire; no source",
    )
    placement: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=1.0,
        doc="Share of the sand that comes to lie under the wheel.",
        mark="assumed",
        source="measured from under 0.2 to 0.91 (two studies); the sand law was fitted with 1",
    )
    hopper: float = quantity(
        "mass",
        low=0.0,
        high=500.0,
        default=20.0,
        doc="Sand per rail at the start; 0 is an empty hopper.",
        mark="assumed",
        source="no source",
    )
