"""Stops that the fit has to explain and was not made for: no inverse crime.

The truth has another creep law than the fit, finer cells, another step, a film, a pad friction and
wheel diameters of its own, uneven pads and transducers; its log has noise and clocks out of step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench import simulate
from slipbench.measured.log import AXLE, TRAIN, Channel, Log
from slipbench.scenario import Scenario, load_scenario
from slipbench.scenario.driver import Easing
from slipbench.stop.stop import Stop

FILMS = ("wet_leaf", "detergent", "damp_oxide")
STRATEGIES = ("slip_band", "deceleration", "cleaning_balance")
LAWS = ("vermeulen_johnson", "shen_hedrick_elkins", "carter")


@dataclass(frozen=True, eq=False)
class Trial:
    """A stop, its log, and what was true."""

    truth: Scenario
    stop: Stop
    log: Log
    shift: float
    seed: int

    @property
    def pads(self) -> float:
        """Pad friction over what the unit says."""
        return self.truth.brake.pad_friction / self.truth.brake.design_pad_friction

    def at(self, name: str, time: Any) -> Any:
        """Return a trace at other times."""
        values = self.stop.traces[name]
        own = self.stop.traces["time"]
        if values.ndim == 1:
            return np.interp(time, own, values)
        return np.column_stack([np.interp(time, own, column) for column in values.T])


def make_truth(seed: int, film: str, law: str, speed: float, is_eased: bool) -> Scenario:
    """Return a scenario the fit has never seen."""
    rng = np.random.default_rng([seed, 1])
    scenario = load_scenario(film)
    section = scenario.rail.sections[0]
    share = rng.uniform(0.75, 1.3, 3)
    friction = section.friction * share[0]
    changes: dict[str, Any] = {
        "contact.law": law,
        "rail.cell_length": 0.5,
        "run.maximum_step": 0.01,
        "initial_speed": speed,
        "rail.sections.*.friction": friction,
        "rail.sections.*.recovered_friction": max(section.recovered_friction * share[1], friction),
        "rail.sections.*.cleaning_work": section.cleaning_work * share[2],
        "brake.pad_friction": 0.35 * (1.0 + 0.05 * float(rng.standard_normal())),
        "equipment.wheel_wear": 0.01,
        "equipment.diameter_setting_error": 0.002,
    }
    if is_eased:
        changes["driver.easing"] = Easing(position=1)
    return scenario.replace(changes)


def make_log(stop: Stop, seed: int, shift: float, has_train: bool) -> Log:
    """Return what a recorder with noise, offsets and a late clock makes of a stop."""
    rng = np.random.default_rng([seed, 2])
    traces = stop.traces
    time = traces["time"]
    channels = []
    for i in range(stop.scenario.train.n_axles):
        rim = traces["measured_wheel_speed"][:, i] + 0.05 * rng.standard_normal(len(time))
        channels.append(Channel("wheel_speed", AXLE, i + 1, f"v{i + 1}", time, rim))
        late = np.interp(time - shift, time, traces["pressure"][:, i])
        gain, zero = 1.0 + 0.005 * rng.standard_normal(), 3e3 * rng.standard_normal()
        pressure = gain * late + zero + 2e3 * rng.standard_normal(len(time))
        channels.append(Channel("pressure", AXLE, i + 1, f"p{i + 1}", time, pressure))
    if has_train:
        scale = 1.0 + 0.002 * rng.standard_normal()
        radar = scale * traces["train_speed"] + 0.1 * rng.standard_normal(len(time))
        channels.append(Channel("train_speed", TRAIN, 0, "radar", time, radar))
    for name in ("handle", "demand"):
        channels.append(Channel(name, TRAIN, 0, name, time, traces[name]))
    return Log(f"trial {seed}", tuple(channels))


def make_trial(
    seed: int,
    film: str = "wet_leaf",
    strategy: str = "slip_band",
    *,
    law: str | None = None,
    speed: float = 30.0,
    is_eased: bool = False,
    has_train: bool | None = None,
    shift: float | None = None,
    less_work: float = 1.0,
    changes: dict[str, Any] | None = None,
) -> Trial:
    """Return one trial; what is not given follows from the seed."""
    truth = make_truth(seed, film, law or LAWS[seed % len(LAWS)], speed, is_eased)
    work = less_work * truth.rail.sections[0].cleaning_work
    truth = truth.replace({"rail.sections.*.cleaning_work": work}).replace(changes or {})
    rng = np.random.default_rng([seed, 3])
    drawn = float(rng.uniform(-0.08, 0.08))
    shift = drawn if shift is None else shift
    stop = simulate(truth, strategy, seed)
    log = make_log(stop, seed, shift, seed % 2 == 0 if has_train is None else has_train)
    return Trial(truth, stop, log, shift, seed)


def plain_trials(n: int) -> list[dict[str, Any]]:
    """Return what n trials are made of: films, strategies, held and eased take turns."""
    return [
        {
            "seed": i,
            "film": FILMS[i % 3],
            "strategy": STRATEGIES[(i // 3) % 3],
            "is_eased": (i // 9) % 2 == 1,
        }
        for i in range(n)
    ]


def deep_trials(n: int) -> list[dict[str, Any]]:
    """Return stops whose wheels clean some metres over and over: W_max / W0 of 2 and more.

    Films that are cleaned with two fifths of the usual work, under strategies that slide deep.
    """
    return [
        {
            "seed": 500 + i,
            "film": FILMS[i % 3],
            "strategy": ("deep_slip", "cleaning_balance")[(i // 3) % 2],
            "speed": (20.0, 30.0)[(i // 6) % 2],
            "less_work": 0.4,
        }
        for i in range(n)
    ]


def all_trials(n: int) -> list[dict[str, Any]]:
    """Return n trials, every fourth of them a deep one."""
    n_deep = n // 4
    plain, deep = plain_trials(n - n_deep), deep_trials(n_deep)
    return [deep[i // 4] if i % 4 == 3 else plain[i - i // 4] for i in range(n)]
