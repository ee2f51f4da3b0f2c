"""The driver: what is done with the brake handle, and when."""

from collections.abc import Mapping
from itertools import pairwise

from slipbench.scenario.fields import (
    Record,
    choice,
    count,
    file_name,
    optional_part,
    parts,
    quantities,
    quantity,
    record,
)

TRIGGERS = ("at_time", "at_speed", "at_distance")


@record
class HandleEntry(Record):
    """One movement of the brake handle, caused by exactly one of time, speed or distance.

    Time counts from the start (`at_time`) or from the movement before (`after`).
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
    after: float | None = quantity(
        "time", low=0.0, high=1e5, default=None, doc="Acts so long after the entry before it."
    )
    position: int = count(
        kind="position", low=0, high=16, doc="Handle position: 0 release, n_steps + 1 emergency."
    )
    level: float | None = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=None,
        doc="Level of a continuous handle (brake.controller_levels); position is then 1.",
    )

    def check_together(self) -> None:
        """Check that exactly one trigger is given."""
        check_trigger(self, (*TRIGGERS, "after"))


def check_trigger(owner: Record, names: tuple[str, ...] = TRIGGERS) -> None:
    """Check that exactly one of the triggers is given; raise `FieldProblem` if not."""
    given = [name for name in names if getattr(owner, name) is not None]
    if len(given) != 1:
        owner.refuse(
            given[-1] if given else "at_time",
            f"exactly one of {', '.join(names)} is needed, given: {', '.join(given) or 'none'}",
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
class Routine(Record):
    """A usual way of braking, written out as a handle programme when the driver is made.

    Kinds: `hold` selects `position` and leaves it (emergency left in to standstill is a hold too);
    `pause` goes there by way of every lower step, with `pause_time` in each; `final_easing` holds
    `position`, then selects one step less at each of `ease_speeds`, so that the last metre is
    smooth; `slow_approach` first slows down to `approach_speed` in step 1 and releases, then holds
    `position` from the braking point; `release_and_reapply` holds `position` for `apply_time`,
    releases for `release_time`, and so on `n_repeats` times, then holds.
    """

    kind: str = choice(
        "hold",
        "pause",
        "final_easing",
        "slow_approach",
        "release_and_reapply",
        doc="The way of braking.",
    )
    position: int = count(
        kind="position", low=1, high=16, doc="Handle position braked with; n_steps + 1 emergency."
    )
    lead_distance: float | None = quantity(
        "length",
        above=0.0,
        high=1e5,
        default=None,
        doc="Braking begins so far before driver.stopping_point; at the start unless given.",
    )
    pause_time: float = quantity(
        "time",
        low=0.0,
        high=600.0,
        default=2.0,
        doc="Time spent in each lower step (pause).",
        mark="assumed",
        source="no source",
    )
    ease_speeds: tuple[float, ...] | None = quantities(
        "speed",
        above=0.0,
        high=120.0,
        max_items=15,
        default=None,
        doc="Train speeds at which one step less is selected, falling (final_easing).",
    )
    approach_speed: float | None = quantity(
        "speed",
        above=0.0,
        high=120.0,
        default=None,
        doc="Train speed at which the early first step is released (slow_approach).",
    )
    apply_time: float = quantity(
        "time",
        low=0.1,
        high=600.0,
        default=4.0,
        doc="Time applied before each release (release_and_reapply).",
        mark="assumed",
        source="no source",
    )
    release_time: float = quantity(
        "time",
        low=0.1,
        high=600.0,
        default=2.0,
        doc="Time released (release_and_reapply).",
        mark="assumed",
        source="no source",
    )
    n_repeats: int = count(
        low=1,
        high=400,
        default=5,
        doc="Number of releases (release_and_reapply).",
        mark="assumed",
        source="no source",
    )

    def check_together(self) -> None:
        """Check that what the kind needs is there."""
        if self.kind == "final_easing":
            speeds = self.ease_speeds or ()
            is_falling = all(b < a for a, b in pairwise(speeds))
            if not (is_falling and 1 <= len(speeds) < self.position):
                self.refuse(
                    "ease_speeds",
                    f"final_easing from position {self.position} needs 1 to {self.position - 1} "
                    "falling speeds [m/s], one for each step less",
                )
        if self.kind == "slow_approach" and self.approach_speed is None:
            self.refuse("approach_speed", "missing; slow_approach needs it [m/s]")
        if self.kind == "slow_approach" and self.lead_distance is None:
            self.refuse("lead_distance", "missing; slow_approach needs its braking point [m]")

    def written_out(self, start: Mapping[str, float]) -> tuple[HandleEntry, ...]:
        """Return the handle programme; `start` is the trigger at which braking begins."""
        brake = HandleEntry(position=self.position, **start)
        if self.kind == "pause":
            later = [
                HandleEntry(after=self.pause_time, position=i + 2)
                for i in range(brake.position - 1)
            ]
            return (HandleEntry(position=1, **start), *later)
        if self.kind == "final_easing":
            speeds = enumerate(self.ease_speeds or (), start=1)
            return (
                brake,
                *(HandleEntry(at_speed=v, position=self.position - i) for i, v in speeds),
            )
        if self.kind == "slow_approach":
            slowing = HandleEntry(at_time=0.0, position=1)
            return (slowing, HandleEntry(at_speed=self.approach_speed, position=0), brake)
        if self.kind == "release_and_reapply":
            release = HandleEntry(after=self.apply_time, position=0)
            again = HandleEntry(after=self.release_time, position=self.position)
            return (brake, *(release, again) * self.n_repeats)
        return (brake,)


@record
class Driver(Record):
    """A handle programme. Entries act in the order listed, each once; one arms the next.

    Instead of the programme a `routine` may be given; it takes the programme's place, written out,
    and is then None. A scenario file may also name a `log`, a CSV of handle movements (see
    `slipbench.scenario.handle_log`), read when the file is.
    """

    programme: tuple[HandleEntry, ...] = parts(
        HandleEntry,
        key="handle",
        default=(),
        min_items=0,
        max_items=1000,
        doc="Handle movements in the order they happen.",
    )
    routine: Routine | None = optional_part(
        Routine, default=None, doc="A usual way of braking, in place of a programme."
    )
    log: str | None = file_name(
        default=None, doc="CSV of handle movements, in place of a programme."
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
        Easing, default=None, doc="A driver who eases on slip control activity; none unless given."
    )
    stopping_point: float | None = quantity(
        "length", above=0.0, high=1e5, default=None, doc="Where the train's front should stop."
    )

    def check_together(self) -> None:
        """Write out the routine, and check what depends on the programme."""
        if self.log is not None:
            self.refuse("log", "is for scenario files; give programme = handle_log(path, n_steps)")
        if self.routine is not None:
            programme = self.routine.written_out(self._braking_point(self.routine))
            object.__setattr__(self, "programme", programme)
            object.__setattr__(self, "routine", None)
        if not self.programme:
            self.refuse("programme", "missing; give at least 1 handle movement, or a routine", "")
        if self.programme[0].after is not None:
            self.refuse("programme", "its first entry has none before it to count `after` from", "")
        if self.easing is not None and self.programme[-1].level is not None:
            self.refuse("easing", "needs a stepped handle; the programme ends at a level", "")

    def _braking_point(self, routine: Routine) -> dict[str, float]:
        if routine.lead_distance is None:
            return {"at_time": 0.0}
        if self.stopping_point is None:
            self.refuse("stopping_point", "missing; routine.lead_distance counts back from it [m]")
        if routine.lead_distance > self.stopping_point:
            self.refuse(
                "stopping_point",
                f"must be at least routine.lead_distance, {routine.lead_distance:g} m, ahead",
            )
        return {"at_distance": self.stopping_point - routine.lead_distance}
