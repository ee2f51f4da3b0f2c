"""What the checks of one strategy look at, gathered when first asked for; and their limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from slipbench.conformance.inputs import patchy_stop
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
    FILL,
    HOLD,
    VALVE,
    VENT,
    WHEEL_SPEED,
    Controller,
    Floats,
    Update,
)
from slipbench.ground.errors import InputError
from slipbench.scenario import Scenario, load_scenario
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

FAULT_CALL = 300
"""From this call on a dead sensor reads zero: sliding has begun."""


@dataclass(frozen=True)
class Evidence:
    """What the checks of one strategy look at; each part is gathered when first asked for.

    Attributes
    ----------
    controller : Controller
    scenario : Scenario        the stop that is recorded
    seed : int
    held_off_limit : float     [s]
    memory_bound : float       in the unit of whatever is remembered
    """

    controller: Controller
    scenario: Scenario = field(default_factory=patchy_stop)
    seed: int = 0
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

    @cached_property
    def with_dead_sensor(self) -> RecordedStop:
        """The same stop, the last axle each call sees reading zero from `FAULT_CALL` on.

        Given up when the fault has lasted somewhat longer than the limit for holding off a brake.
        """

        def change(observation: Floats, i_call: int) -> None:
            if i_call >= FAULT_CALL:
                observation[-1, WHEEL_SPEED] = 0.0

        fault_time = FAULT_CALL * self.scenario.slip_control.sample_time
        longest = min(fault_time + 1.2 * self.held_off_limit, self.scenario.run.maximum_time)
        scenario = self.scenario.replace({"run.maximum_time": longest})
        return record_stop(self.controller, scenario, self.seed, change)

    def play(self, observations: Floats, *, is_carried: bool = True) -> Recording:
        """Show observations to the plain function from zero memory."""
        return play(self.update, self.controller, observations, is_carried=is_carried)

    def invalid(self, recording: Recording, factor_limit: float | None = None) -> str | None:
        """Return what is wrong with the outputs; None where all are valid and finite.

        The demand factor's limit is that of the scenario's equipment unless given.
        """
        limit = factor_limit or self.scenario.brake.demand_factor_limit
        valves, factors = recording.commands[..., VALVE], recording.commands[..., DEMAND_FACTOR]
        is_factor = (factors >= 0.0) & (factors <= limit)
        for what, is_good, values in (
            ("valve (allowed: 0, 1, 2)", np.isin(valves, (FILL, HOLD, VENT)), valves),
            (f"demand factor (allowed: 0 to {limit:g})", is_factor, factors),
            ("memory (allowed: finite)", np.isfinite(recording.memories), recording.memories),
            ("signal (allowed: finite)", np.isfinite(recording.signals), recording.signals),
        ):
            if not is_good.all():
                place = tuple(int(i) for i in np.argwhere(~is_good)[0])
                return f"{what} is {values[place]:g} at call {place[0]}, row {place[1]}"
        return None
