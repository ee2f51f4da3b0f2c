"""The driver: what is done with the brake handle, and when."""

from bench.scenario.fields import Record, count, parts, quantity, record

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

    def check_together(self) -> None:
        """Check that exactly one trigger is given."""
        given = [name for name in TRIGGERS if getattr(self, name) is not None]
        if len(given) != 1:
            self.refuse(
                given[-1] if given else "at_time",
                f"exactly one of {', '.join(TRIGGERS)} is needed, "
                f"given: {', '.join(given) or 'none'}",
            )


@record
class Driver(Record):
    """A handle programme. Entries act in the order listed, each once; one arms the next."""

    programme: tuple[HandleEntry, ...] = parts(
        HandleEntry, key="handle", max_items=1000, doc="Handle movements in the order they happen."
    )
