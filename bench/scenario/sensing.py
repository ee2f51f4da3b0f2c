"""Speed sensing as designed: the toothed wheel and its clock."""

from slipbench.scenario.fields import Record, count, flag, quantity, record


@record
class Sensing(Record):
    """A toothed wheel on each axle; speed is measured from the time between teeth."""

    teeth: int = count(low=1, high=1000, doc="Teeth per turn of the wheel.")
    clock_tick: float = quantity(
        "time",
        low=0.0,
        high=0.01,
        default=1e-6,
        doc="Resolution of the clock that times the teeth; 0 is a perfect clock.",
        mark="assumed",
        source="a clock of 1 MHz; no source",
    )
    zero_timeout: float = quantity(
        "time", above=0.0, high=10.0, doc="Time without a tooth after which speed reads zero."
    )
    has_pressure_transducer: bool = flag(
        default=True,
        doc="Whether slip control sees the cylinder pressures; a strategy that needs them says so.",
        mark="assumed",
        source="fitted unless said otherwise",
    )
