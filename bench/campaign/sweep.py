"""One value varied in steps, every strategy at each of them: what distance, wheels and air do."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from slipbench.campaign.factors import Varied, find_varied, read_numbers
from slipbench.campaign.objectives import OBJECTIVES, Objective
from slipbench.campaign.variation import scenario_at
from slipbench.contract import Controller, Floats
from slipbench.ground.errors import InputError
from slipbench.ground.telling import shown
from slipbench.running.candidate import candidate_of
from slipbench.running.runners import Runner
from slipbench.running.task import FAILED, make_task
from slipbench.scenario import Scenario
from slipbench.scenario.units import Unit
from slipbench.statistics.designs import Factor
from slipbench.strategies.registry import Known

DEFAULT_VALUES = 7
MOST_VALUES = 1000

SHOWN = ("distance", "flat-length", "air", "lock")
"""Objectives a sweep is told in."""


@dataclass(frozen=True)
class Setting:
    """What is swept: a key, its values in SI, and the unit they were written in."""

    varied: Varied
    values: tuple[float, ...]
    unit: Unit

    def written(self, value: float) -> str:
        """Return a value in the unit of the setting, without it."""
        return f"{self.unit.from_si(value):.6g}"

    @property
    def label(self) -> str:
        """Key and unit, for an axis or a head."""
        unit = "times" if self.varied.is_multiplier else self.unit.text
        return f"{self.varied.name} [{unit or '-'}]"


def read_setting(text: str, controllers: Sequence[Controller] = ()) -> Setting:
    """Read `KEY=FROM:TO` or `KEY=FROM:TO:N`, N values evenly apart (7).

    Raises
    ------
    InputError
    """
    key, is_given, values = text.partition("=")
    words = values.split(":")
    if not is_given or not key.strip() or len(words) not in (2, 3):
        raise InputError(
            f"{shown(text)}; write KEY=FROM:TO or KEY=FROM:TO:N, such as "
            "brake.fill_delay=20ms:60ms:5"
        )
    varied = find_varied(key.strip(), controllers)
    (first, last), unit = read_numbers(text, words[:2], varied)
    n_values = _number(text, words[2].strip()) if len(words) == 3 else DEFAULT_VALUES
    shares = np.linspace(unit.from_si(first), unit.from_si(last), n_values).tolist()
    points = [unit.to_si(float(f"{share:.12g}")) for share in shares]  # as one would write them
    if varied.is_whole:
        points = [float(round(point)) for point in points]
    return Setting(varied, tuple(dict.fromkeys(points)), unit)


def _number(text: str, word: str) -> int:
    if not (word.isascii() and word.isdigit() and len(word) < 6 and 2 <= int(word) <= MOST_VALUES):
        raise InputError(f"{shown(text)}: N = {shown(word)}; allowed: 2 to {MOST_VALUES}")
    return int(word)


@dataclass(frozen=True)
class Swept:
    """What a sweep gave.

    Attributes
    ----------
    scenario : Scenario
    setting : Setting
    strategies : tuple of str                      labels
    summaries : (n_values, n_strategies, n_seeds)  of each stop, as nested lists
    """

    scenario: Scenario
    setting: Setting
    strategies: tuple[str, ...]
    summaries: list[list[list[dict[str, Any]]]]

    def numbers(self, objective: Objective) -> Floats:
        """Return an objective of every stop; infinite where the train did not stop.

        Returns
        -------
        (n_values, n_strategies, n_seeds) float64
        """
        return np.array(
            [[[objective.of(s) for s in seeds] for seeds in row] for row in self.summaries],
            dtype=np.float64,
        )

    def failures(self) -> list[str]:
        """Return the reasons of stops that came to no end."""
        found = [s[FAILED] for row in self.summaries for seeds in row for s in seeds if FAILED in s]
        return list(dict.fromkeys(found))


def run_sweep(
    scenario: Scenario,
    strategies: Sequence[Known],
    labels: Sequence[str],
    setting: Setting,
    n_seeds: int,
    runner: Runner,
    tell: Callable[[], None] = lambda: None,
) -> Swept:
    """Run every strategy at every value with every seed.

    Raises
    ------
    InputError   for a value the scenario or the strategy does not allow, before anything is run
    """
    name = setting.varied.name
    is_parameter = "." not in name and name != "initial_speed"
    space = (Factor(name, min(setting.values), max(setting.values)),)
    scenarios = [
        scenario
        if is_parameter
        else scenario_at(scenario, space, (value,)).replace(name=f"{scenario.name}#{i}")
        for i, value in enumerate(setting.values)
    ]
    candidates = [
        candidate_of(known, label) for known, label in zip(strategies, labels, strict=True)
    ]
    tasks, places = [], {}
    for i, (value, rail) in enumerate(zip(setting.values, scenarios, strict=True)):
        for j, (known, candidate) in enumerate(zip(strategies, candidates, strict=True)):
            own = candidate
            if is_parameter:
                known.controller.with_parameters(**{name: value})  # refuses what is not allowed
                own = candidate.with_values({name: value}, candidate.label)
            for seed in range(n_seeds):
                task = make_task(rail, own, seed)
                places[task.key] = (i, j, seed)
                tasks.append(task)
    summaries: list[list[list[dict[str, Any]]]] = [
        [[{} for _ in range(n_seeds)] for _ in strategies] for _ in setting.values
    ]
    for task, outcome in runner.run(tasks):
        i, j, seed = places[task.key]
        summaries[i][j][seed] = json.loads(outcome.summary)
        tell()
    return Swept(scenario, setting, tuple(labels), summaries)


def objectives() -> list[Objective]:
    """Return what a sweep is told in."""
    return [OBJECTIVES[name] for name in SHOWN]


def spread_text(values: Floats, decimals: int) -> str:
    """Return a mean over seeds with its least and greatest; what did not stop is counted."""
    finite = values[np.isfinite(values)]
    missing = f" ({values.size - finite.size} did not stop)" if finite.size < values.size else ""
    if not finite.size:
        return f"-{missing}"
    mean = f"{finite.mean():.{decimals}f}"
    if finite.size == 1 or math.isclose(finite.min(), finite.max()):
        return mean + missing
    return f"{mean} ({finite.min():.{decimals}f} to {finite.max():.{decimals}f}){missing}"
