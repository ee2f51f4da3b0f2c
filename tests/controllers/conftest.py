"""One vehicle's strategy, shown chosen wheel speeds sample by sample."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from slipbench.contract import (
    COLUMN,
    DEMAND,
    DEMAND_FACTOR,
    OBSERVED,
    PRESSURE,
    SAMPLE_TIME,
    SIGNALS,
    SLIDE,
    VALVE,
    WHEEL_SPEED,
    Controller,
)


class Vehicle:
    """A strategy with its memory; the brake is on, what nobody sets is NaN as withheld truth."""

    def __init__(self, controller: Controller, sample_time: float = 0.01) -> None:
        self.controller, self.sample_time = controller, sample_time
        self.memory = np.zeros((0, controller.n_memory))
        self.signals = np.zeros(len(SIGNALS))
        self.command = np.zeros((0, 2))

    def see(self, speeds: Sequence[float], **columns: float) -> list[int]:
        """Call once; return the valves."""
        n_axles = len(speeds)
        if len(self.command) != n_axles:
            self.memory = np.zeros((n_axles + 1, self.controller.n_memory))
            self.command = np.full((n_axles, 2), np.nan)
        observation = np.full((n_axles, len(OBSERVED)), np.nan)
        observation[:, WHEEL_SPEED] = speeds
        observation[:, SAMPLE_TIME] = self.sample_time
        observation[:, PRESSURE], observation[:, DEMAND] = 2e5, 1.0
        for name, value in columns.items():
            observation[:, COLUMN[name]] = value
        self.controller.update(
            observation, self.controller.parameter_values, self.memory, self.command, self.signals
        )
        return [int(valve) for valve in self.command[:, VALVE]]

    def see_for(
        self, duration: float, speeds: Callable[[float], Sequence[float]]
    ) -> list[list[int]]:
        """Call for a duration, speeds by time from the first of these calls; return all valves."""
        n_calls = round(duration / self.sample_time)
        return [self.see(speeds(i * self.sample_time)) for i in range(n_calls)]

    @property
    def factors(self) -> list[float]:
        return [float(factor) for factor in self.command[:, DEMAND_FACTOR]]

    @property
    def is_sliding(self) -> bool:
        return bool(self.signals[SLIDE])


@pytest.fixture
def vehicle() -> type[Vehicle]:
    return Vehicle
