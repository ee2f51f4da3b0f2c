"""Track brakes: equipment of a bogie that acts on the rail and not through the wheels."""

from slipbench.scenario.fields import Record, choice, counts, quantity, record

_NEEDED = {"magnetic": ("attraction",), "eddy_current": ("peak_force", "critical_speed")}
"""Values that a kind cannot do without."""


@record
class TrackBrake(Record):
    """Track brakes of a vehicle's bogies, one magnet over each rail, at the bogie's centre.

    Magnetic: a magnet pressed on the rail by its own attraction, F = attraction x mu(v) x film,
    mu = friction / (1 + friction_speed_term v). Eddy current: no contact, F = peak_force x 2 /
    (v/v_k + v_k/v). Both act in full once lowered and are never modulated.
    """

    kind: str = choice(
        "magnetic",
        "eddy_current",
        doc="Pressed on the rail, or held above it.",
        default="magnetic",
        mark="assumed",
        source="the usual one",
    )
    bogies: tuple[int, ...] = counts(
        low=1, high=8, max_items=8, default=(), doc="Bogies that carry it; none named: all."
    )
    attraction: float | None = quantity(
        "force",
        above=0.0,
        high=2e5,
        default=None,
        doc="Force with which one magnet presses on its rail (magnetic).",
    )
    friction: float = quantity(
        "ratio",
        above=0.0,
        high=1.0,
        default=0.18,
        doc="Friction of magnet on dry rail near standstill (magnetic).",
        mark="assumed",
        source="with the speed term .4 m/s2 of four magnets of 84 kN under 52 t, seen second-hand",
    )
    friction_speed_term: float = quantity(
        "inverse_speed",
        low=0.0,
        high=1.0,
        default=0.06,
        doc="How the friction falls with speed: over 1 + this times speed (magnetic).",
        mark="assumed",
        source="as friction",
    )
    film_factor: float = quantity(
        "ratio",
        above=0.0,
        high=1.0,
        default=0.6,
        doc="Share of the friction left where the rail's static friction is .1 or less; all of it "
        "from .2 on, in proportion between (magnetic).",
        mark="assumed",
        source="no source; vary it from .3 to 1",
    )
    cleaning_share: float = quantity(
        "ratio",
        low=0.0,
        high=1.0,
        default=0.5,
        doc="Share of the magnets' work that cleans the rail as a wheel's would (magnetic).",
        mark="assumed",
        source="no source; believed to remove film; vary it from 0 to 1",
    )
    peak_force: float | None = quantity(
        "force",
        above=0.0,
        high=1e5,
        default=None,
        doc="Greatest force of one magnet over its rail (eddy_current).",
    )
    critical_speed: float | None = quantity(
        "speed",
        above=1.0,
        high=100.0,
        default=None,
        doc="Speed v_k of that force (eddy_current).",
    )
    lowering_time: float = quantity(
        "time",
        low=0.0,
        high=10.0,
        default=1.0,
        doc="Time from the application until it acts.",
        mark="memory",
        source="tram .2 to .4 s, main line .8 to 1.5 s; value from memory, not verified, weak",
    )
    used_in: str = choice(
        "emergency",
        "last_step",
        doc="Applied in emergency only, or in the last service step too.",
        default="emergency",
        mark="secondary",
        source="emergency only on the main line, last step on trams, seen second-hand",
    )
    lowest_speed: float = quantity(
        "speed",
        low=0.0,
        high=60.0,
        default=0.0,
        doc="Off below this speed.",
        mark="assumed",
        source="down to standstill, as on trams; off below 20 to 50 km/h on the main line, memory",
    )

    def check_together(self) -> None:
        """Check that what its kind cannot do without is given."""
        for name in _NEEDED[self.kind]:
            if getattr(self, name) is None:
                self.refuse(name, f'missing; kind = "{self.kind}" needs it')
