"""What the checks of one strategy look at, gathered when first asked for; and their limits."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from slipbench.conformance.inputs import fast_stop, patchy_stop
from slipbench.conformance.recording import (
    RecordedStop,
    Recording,
    UpdateFailed,
    plain_update,
    play,
    record_stop,
)
from slipbench.contract import (
    DEMAND_FACTOR,
    DYNAMIC_FACTOR,
    FILL,
    HOLD,
    VALVE,
    VENT,
    Controller,
    Floats,
    Update,
)
from slipbench.ground.errors import InputError
from slipbench.scenario import Fault, Scenario, load_scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop
from slipbench.strategies.registry import one_line
from slipbench.strategies.update import compile_update

HELD_OFF_LIMIT = load_scenario("wet_leaf").brake.vent_time_limit
"""Longest time a strategy may keep a brake vented: the shipped unit's `brake.vent_time_limit`. [s]

Value from memory there, not verified: monitoring timers in service are of the order of 10 s."""

MEMORY_BOUND = 1e9
"""No remembered number may pass this in a long stop.

Assumed: a pressure of 1e6 Pa summed over a thousand seconds; a double still resolves 1e-7 there."""

LONG_STOP = 600.0
"""Length of the stop the memory is watched over: five times the longest shipped one. [s]"""

ROLLING_CREEPAGE = 0.03
"""A measured speed within this of the train's counts as rolling. Assumed. [-]"""

FULL = 0.7
"""A rolling wheel whose brake takes less than this of what rail and driver would give is kept off
the brake. Assumed; an axle at the peak of its creep curve takes 1. [-]"""

LATE = 100.0
"""Where a sensor dies late in the fast stop: amid the first film, sliding has begun. [m]"""


@dataclass(frozen=True)
class Evidence:
    """What the checks of one strategy look at; each part is gathered when first asked for.

    Attributes
    ----------
    controller : Controller
    scenario : Scenario        the stop that is recorded
    fast_scenario : Scenario   another, at line speed
    seed : int
    runs_compiled : bool       whether long stops run it compiled (the same bits, many times faster)
    held_off_limit : float     [s]
    memory_bound : float       in the unit of whatever is remembered
    """

    controller: Controller
    scenario: Scenario = field(default_factory=patchy_stop)
    seed: int = 0
    runs_compiled: bool = False
    fast_scenario: Scenario = field(default_factory=fast_stop)
    held_off_limit: float = HELD_OFF_LIMIT
    memory_bound: float = MEMORY_BOUND

    @cached_property
    def update(self) -> Update:
        """The strategy as plain Python."""
        return plain_update(self.controller)

    @cached_property
    def compiled(self) -> Update:
        """The strategy compiled; `UpdateFailed` where it does not compile."""
        try:
            update: Update = compile_update(self.controller.update)
        except InputError as problem:
            raise UpdateFailed(str(problem)) from problem
        return update

    @cached_property
    def recorded(self) -> RecordedStop:
        """One stop of the scenario."""
        return record_stop(self.controller, self.scenario, self.seed)

    @property
    def recording(self) -> Recording:
        """The leading vehicle of that stop, or the train."""
        if not self.recorded.vehicles:
            raise UpdateFailed(self.recorded.refusal or "the strategy was never called")
        return self.recorded.vehicles[0]

    @property
    def quick(self) -> Update:
        """The strategy compiled where it runs so, else as plain Python."""
        return self.compiled if self.runs_compiled else self.update

    @cached_property
    def recorded_fast(self) -> RecordedStop:
        """One stop of the fast scenario."""
        return record_stop(self.controller, self.fast_scenario, self.seed, update=self.quick)

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """Every vehicle of both recorded stops, or the train of each."""
        return (*self.recorded.vehicles, *self.recorded_fast.vehicles)

    def stop_of(self, scenario: Scenario, seed: int | None = None) -> Stop:
        """Run a stop, nothing recorded; `UpdateFailed` where it breaks off."""
        own = self.controller
        if self.runs_compiled:
            _ = self.compiled
        else:
            own = dataclasses.replace(own, update=self.update)
        try:
            with np.errstate(all="ignore"):
                number = self.seed if seed is None else seed
                return simulate(scenario, own, number, compiled=self.runs_compiled)
        except Exception as problem:
            raise UpdateFailed(f"update raised {one_line(problem)}") from problem

    def stop_with_dead_sensor(self, i_axle: int, is_late: bool) -> Stop:
        """Run the fast stop with an axle's sensor reading zero from the start, or from mid-film."""
        fault = Fault(
            kind="sensor_dead",
            axle=i_axle + 1,
            at_distance=LATE if is_late else None,
            at_time=None if is_late else 0.0,
        )
        return self.stop_of(self.fast_scenario.replace({"faults": (fault,)}))

    def play(self, observations: Floats, *, is_carried: bool = True) -> Recording:
        """Show observations to the plain function from zero memory."""
        return play(self.update, self.controller, observations, is_carried=is_carried)

    def play_quickly(self, observations: Floats) -> Recording:
        """Show observations to the function in whichever form is quick, from zero memory."""
        return play(self.quick, self.controller, observations)

    def invalid(self, recording: Recording, factor_limit: float | None = None) -> str | None:
        """Return what is wrong with the outputs; None where all are valid and finite.

        The demand factor's limit is that of the scenario's equipment unless given.
        """
        limit = factor_limit or self.scenario.brake.demand_factor_limit
        valves, factors = recording.commands[..., VALVE], recording.commands[..., DEMAND_FACTOR]
        is_factor = (factors >= 0.0) & (factors <= limit)
        dynamic = recording.commands[..., DYNAMIC_FACTOR:]
        for what, is_good, values in (
            ("valve (allowed: 0, 1, 2)", np.isin(valves, (FILL, HOLD, VENT)), valves),
            (f"demand factor (allowed: 0 to {limit:g})", is_factor, factors),
            ("dynamic factor (allowed: 0 to 1)", (dynamic >= 0.0) & (dynamic <= 1.0), dynamic),
            ("memory (allowed: finite)", np.isfinite(recording.memories), recording.memories),
            ("signal (allowed: finite)", np.isfinite(recording.signals), recording.signals),
        ):
            if not is_good.all():
                place = tuple(int(i) for i in np.argwhere(~is_good)[0])
                return f"{what} is {values[place]:g} at call {place[0]}, row {place[1]}"
        return None
