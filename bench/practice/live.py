"""A stop that is driven while it runs: compiled physics, advanced a little at a time.

A movement of the handle acts at the beginning of a step, never inside one: its instant is the next
whole millisecond beyond the step being taken. A replay of the log therefore cuts its steps where
the live run did, and comes to the same bits; `tests/practice` holds both against each other.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np

from slipbench.contract import Controller
from slipbench.ground.errors import InputError
from slipbench.kernel import codes, fixed, records
from slipbench.kernel.columns import VENT
from slipbench.kernel.loop import PAUSED, run_compiled
from slipbench.packing import pack
from slipbench.scenario import HandleEntry, IsolationPress, Scenario
from slipbench.stop.simulation import get_ready
from slipbench.stop.stop import Stop, make_stop
from slipbench.strategies.update import compile_update

MOST_MOVEMENTS, MOST_PRESSES = 900, 20
"""Movements of the handle and presses of the button in one run, within what a scenario may hold."""

_GRAIN, _CLEAR = 1e-3, 1e-6
"""Instants are whole milliseconds [s], and so far beyond the step being taken. [s]"""


def begun(scenario: Scenario) -> Scenario:
    """Return a scenario as a trainee finds it: handle in release, nothing programmed."""
    start = HandleEntry(at_time=0.0, position=0)
    driver = dataclasses.replace(scenario.driver, programme=(start,), presses=(), easing=None)
    return scenario.replace(driver=driver)


class LiveStop:
    """One stop under way.

    Parameters
    ----------
    scenario : Scenario        its driver is taken away (`begun`)
    controller : Controller    runs compiled
    seed : int

    Attributes
    ----------
    vents_heard : int          vents of the leading bogie so far

    Raises
    ------
    InputError   for a strategy that cannot be compiled
    """

    def __init__(self, scenario: Scenario, controller: Controller, seed: int) -> None:
        get_ready(controller, True)
        self._start, self.controller, self.seed = begun(scenario), controller, seed
        self._programme = list(self._start.driver.programme)
        self._presses: list[IsolationPress] = []
        self._update = compile_update(controller.update)
        self._world = pack(self._start, controller, seed, with_traces=True)
        n_rows = len(self._world.axles) + len(self._world.groups)
        self._memory = np.zeros((n_rows, controller.n_memory))
        self._last_event = 0.0
        self._is_over = False
        first = self._start.train.vehicles[0]
        self.n_leading = 1 if first.bogie_wheelbase == 0.0 else 2
        self.vents_heard = 0
        self._was_venting = np.zeros(self.n_leading, dtype=bool)

    @property
    def scenario(self) -> Scenario:
        """The scenario as driven so far: the log of handle and button is its driver."""
        driver = dataclasses.replace(
            self._start.driver, programme=tuple(self._programme), presses=tuple(self._presses)
        )
        return self._start.replace(driver=driver)

    @property
    def world(self) -> records.World:
        """The records, to be looked at."""
        return self._world

    @property
    def state(self) -> Any:
        """The train's record."""
        return self._world.train_state[0]

    @property
    def time(self) -> float:
        """Time of the train, from the start. [s]"""
        return float(self.state["time"])

    @property
    def is_over(self) -> bool:
        """Whether the train stands, or went as far or long as it may."""
        return self._is_over

    @property
    def isolation_left(self) -> float:
        """How long slip control stays isolated. [s]"""
        return max(0.0, float(self.state["isolated_until"]) - self.time)

    def advance(self, until: float) -> None:
        """Run to a time [s], or to the end; at most a step beyond it.

        Raises
        ------
        InputError   for a command of the strategy that its equipment cannot follow
        """
        state = self._world.train_state
        while not self._is_over and float(state["time"][0]) < until:
            state["pause_at"] = state["n_axle_steps"] + 1
            came_to = int(
                run_compiled(
                    self._world, self._update, self.controller.parameter_values, self._memory
                )
            )
            self._listen()
            if came_to >= 0:
                raise InputError(
                    f"strategy {self.controller.name}: command of axle {came_to + 1} at "
                    f"{self.time:.3f} s cannot be followed by its equipment"
                )
            self._is_over = came_to != PAUSED

    def _listen(self) -> None:
        """Count the vents the leading bogie begins."""
        axles = self._world.axle_states[: self.n_leading]
        is_venting = (axles["valve"] == VENT) & (axles["pressure"] > 0.0)
        self.vents_heard += int((is_venting & ~self._was_venting).sum())
        self._was_venting = is_venting

    def _instant(self) -> float:
        """Return when something done now acts: beyond the step being taken, and in order. [s]"""
        end = self.time + (float(self.state["step_duration"]) if self.state["is_in_step"] else 0.0)
        end = max(end, self._last_event)
        instant = round(math.floor(end / _GRAIN) * _GRAIN + _GRAIN, 3)
        if instant - end < _CLEAR:
            instant = round(instant + _GRAIN, 3)
        self._last_event = instant
        return instant

    @property
    def position(self) -> int:
        """Where the handle is."""
        return self._programme[-1].position

    def select(self, position: int) -> float:
        """Move the handle; return the instant [s] at which it acts.

        Raises
        ------
        InputError   for a position the handle has not, or too many movements
        """
        if not 0 <= position <= self._start.brake.emergency_position:
            raise InputError(f"handle position {position}: there is none")
        if len(self._programme) >= MOST_MOVEMENTS:
            raise InputError(f"more than {MOST_MOVEMENTS} movements of the handle")
        if position == self.position or self._is_over:
            return self.time
        entry = HandleEntry(at_time=self._instant(), position=position)
        self._programme.append(entry)
        packed = np.zeros(1, fixed.HANDLE)
        packed["trigger"], packed["value"] = codes.AT_TIME, entry.at_time
        packed["position"], packed["level"] = position, -1.0
        self._world = self._world._replace(
            handle=np.concatenate([self._world.handle, packed]),
            effective=np.concatenate([self._world.effective, [0.0]]),
        )
        return float(entry.at_time or 0.0)

    def press(self) -> float:
        """Press the isolation button; return the instant [s] at which it acts, dead or not.

        Raises
        ------
        InputError   for too many presses
        """
        if len(self._presses) >= MOST_PRESSES:
            raise InputError(f"more than {MOST_PRESSES} presses of the button")
        press = IsolationPress(at_time=self._instant())
        self._presses.append(press)
        packed = np.zeros(1, fixed.PRESS)
        packed["trigger"], packed["value"] = codes.AT_TIME, press.at_time
        self._world = self._world._replace(presses=np.concatenate([self._world.presses, packed]))
        return float(press.at_time or 0.0)

    def account(self) -> Stop:
        """Return the finished run as a `Stop`; nothing is replayed for it."""
        return make_stop(self.scenario, self.controller, self.seed, self._world)
