"""How a stop is computed and counted."""

from slipbench.scenario.fields import Record, count, quantity, record


@record
class Run(Record):
    """Limits of the computation and the thresholds of what is counted."""

    maximum_step: float = quantity(
        "time",
        low=1e-5,
        high=0.1,
        default=0.02,
        doc="Longest time step; below 10 m/s, where a stop is short, 2 ms for each m/s of it.",
        mark="assumed",
        source="a choice of accuracy",
    )
    maximum_distance: float = quantity(
        "length",
        low=1.0,
        high=1e6,
        default=20e3,
        doc="Distance at which the computation gives up.",
        mark="assumed",
        source="far beyond any stop of interest",
    )
    maximum_time: float = quantity(
        "time",
        low=0.1,
        high=1e5,
        default=1800.0,
        doc="Time at which the computation gives up.",
        mark="assumed",
        source="far beyond any stop of interest",
    )
    maximum_pieces: int = count(
        low=1000,
        high=10**12,
        default=10**9,
        doc="Pieces of time, of all axles together, after which a stop is given up as failed.",
        mark="assumed",
        source="five hundred times what sixteen axles take in half an hour",
    )
    trace_interval: float = quantity(
        "time",
        low=1e-4,
        high=10.0,
        default=0.02,
        doc="Time between recorded samples.",
        mark="assumed",
        source="a choice of resolution",
    )
    locked_wheel_speed: float = quantity(
        "speed",
        above=0.0,
        high=5.0,
        default=0.2,
        doc="Rim speed below which a wheel counts as locked.",
        mark="assumed",
        source="no readable standard gives it",
    )
    locked_train_speed: float = quantity(
        "speed",
        above=0.0,
        high=30.0,
        default=1.4,
        doc="Train speed below which no wheel counts as locked.",
        mark="assumed",
        source="about 5 km/h, the usual low-speed cut-out as remembered; no source",
    )
    dragged_wheel_speed: float = quantity(
        "speed",
        above=0.0,
        high=5.0,
        default=1.0,
        doc="Rim speed below which a turning wheel counts as dragged, nearly locked.",
        mark="assumed",
        source="no source",
    )
    sliding_creepage: float = quantity(
        "ratio",
        above=0.0,
        high=1.0,
        default=0.05,
        doc="Creepage above which a wheel counts as sliding.",
        mark="assumed",
        source="no source",
    )
    sliding_slip_speed: float = quantity(
        "speed",
        above=0.0,
        high=10.0,
        default=0.3,
        doc="Slip speed above which a wheel counts as sliding (both are needed).",
        mark="assumed",
        source="no source",
    )
