"""The driver: what is done with the brake handle, and when."""

from bench.scenario.fields import Record, count, optional_part, parts, quantity, record

TRIGGERS = ("at_time", "at_speed", "at_distance")


@record
class HandleEntry(Record):
    """One movement of the brake handle, caused by exactly one of time, speed or distance.

    `position` is 0 for release, 1 to n_steps for a service step and n_steps + 1 for emergency,
    n_steps being the brake's. In TOML the words "release" and "emergency" may be used.
    """

    at_time: float | None = quantity(
        "time", low=0.0, high=1e5, default=None, doc="Acts at this time from the start."
    )
    at_speed: float | None = quantity(
        "speed", low=0.0, high=120.0, default=None, doc="Acts when train speed falls to this."
    )
    at_distance: float | None = quantity(
        "length", low=0.0, high=1e6, default=None, doc="Acts at this distance from the start."
    )
    position: int = count(
        kind="position", low=0, high=16, doc="Handle position: 0 release, n_steps + 1 emergency."
    )

    level: float | None = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=None,
        doc="Level of a continuous controller (brake.controller_levels); position is then 1.",
    )

    def check_together(self) -> None:
        """Check that exactly one trigger is given."""
        check_trigger(self)


def check_trigger(owner: Record) -> None:
    """Check that exactly one of the triggers is given; raise `FieldProblem` if not."""
    given = [name for name in TRIGGERS if getattr(owner, name) is not None]
    if len(given) != 1:
        owner.refuse(
            given[-1] if given else "at_time",
            f"exactly one of {', '.join(TRIGGERS)} is needed, given: {', '.join(given) or 'none'}",
        )


@record
class IsolationPress(Record):
    """One press of the button that isolates slip control.

    As common practice describes it (no source): it works only with the handle in emergency, takes
    slip control out for `brake.isolation_time`, and a second press adds that time again. While it
    is out, selecting release gives a full application. Any other press is ignored and noted.
    """

    at_time: float | None = quantity(
        "time", low=0.0, high=1e5, default=None, doc="Acts at this time from the start."
    )
    at_speed: float | None = quantity(
        "speed", low=0.0, high=120.0, default=None, doc="Acts when train speed falls to this."
    )
    at_distance: float | None = quantity(
        "length", low=0.0, high=1e6, default=None, doc="Acts at this distance from the start."
    )

    def check_together(self) -> None:
        """Check that exactly one trigger is given."""
        check_trigger(self)


@record
class Easing(Record):
    """A driver who eases when slip control works, from what the cab shows; all of it assumed.

    After the programme's last entry: activity that lasts for the reaction time makes the driver
    ease, calm for the calm time makes the driver brake fully again.
    """

    position: int = count(low=0, high=15, doc="Handle position eased to.")
    reaction_time: float = quantity(
        "time",
        low=0.0,
        high=30.0,
        default=1.5,
        doc="From noticing to moving the handle.",
        mark="assumed",
        source="no source",
    )
    calm_time: float = quantity(
        "time",
        low=0.0,
        high=60.0,
        default=3.0,
        doc="Without activity before the brake is fully applied again.",
        mark="assumed",
        source="no source",
    )
    pressure_drop: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=0.3,
        doc="Share the cylinder gauge must fall by to be noticed.",
        mark="assumed",
        source="no source",
    )


@record
class Driver(Record):
    """A handle programme. Entries act in the order listed, each once; one arms the next."""

    programme: tuple[HandleEntry, ...] = parts(
        HandleEntry, key="handle", max_items=1000, doc="Handle movements in the order they happen."
    )
    presses: tuple[IsolationPress, ...] = parts(
        IsolationPress,
        key="isolation_press",
        default=(),
        min_items=0,
        max_items=20,
        doc="Presses of the isolation button in the order they happen.",
    )
    easing: Easing | None = optional_part(
        Easing, doc="A driver who eases on slip control activity; none unless given."
    )
    stopping_point: float | None = quantity(
        "length", above=0.0, high=1e5, default=None, doc="Where the train's front should stop."
    )
