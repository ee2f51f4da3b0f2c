"""The user's own case: train, rail, driver and strategy an experiment asks its question of.

`Experiment.answer` sets them for the time of one answer; what an experiment runs it takes from
`own_scenario`, `own_rails`, `own_strategy` and `own_strategies`, which give its own where nothing
was asked for. So a question needs no code for other people's trains, and helpers no options.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

from slipbench import Controller
from slipbench.scenario import Scenario, load_scenario
from slipbench.strategies.registry import find_controller, known_controllers

PARTS = ("train", "rail", "driver", "strategy")

BASE = "wet_leaf"
"""Scenario a rail of the user's is laid into where an experiment goes through several rails."""


@dataclass(frozen=True)
class Asked:
    """Parts that stand instead of an experiment's own: names or files, None for its own."""

    train: str | None = None
    rail: str | None = None
    driver: str | None = None
    strategy: str | None = None

    @property
    def is_own_code(self) -> bool:
        """Whether a strategy is not one of the shipped: it cannot be sent to other processes."""
        names = (self.strategy or "").split(",")
        return self.strategy is not None and not {*names} <= {*known_controllers()}

    def words(self) -> dict[str, str]:
        """Return what was asked for, part by part, those left alone not."""
        found = {part: getattr(self, part) for part in PARTS}
        return {part: text for part, text in found.items() if text is not None}


NOTHING = Asked()

_ASKED: ContextVar[Asked] = ContextVar("asked", default=NOTHING)


@contextmanager
def asking(asked: Asked) -> Iterator[None]:
    """Let experiments take these parts inside the `with` body."""
    token = _ASKED.set(asked)
    try:
        yield
    finally:
        _ASKED.reset(token)


def asked_now() -> Asked:
    """Return the parts asked for."""
    return _ASKED.get()


def own_scenario(name: str, train: str | None = None, *, keeps_rail: bool = False) -> Scenario:
    """Return a scenario with the parts asked for in it.

    Parameters
    ----------
    name : str            the experiment's, or one that `own_rails` gave
    train : str or None   the experiment's, where nobody asked for another
    keeps_rail : bool     whether its rail stays, such as the dry one others are held against

    Raises
    ------
    InputError   if a part cannot be found or does not fit
    """
    asked = asked_now()
    is_theirs = asked.rail is not None and name == _label(asked.rail)
    return load_scenario(
        BASE if is_theirs else name,
        train=asked.train or train,
        rail=None if keeps_rail else asked.rail,
        driver=asked.driver,
    )


def own_rails(names: Sequence[str]) -> tuple[str, ...]:
    """Return the rails an experiment goes through: its own, or the one asked for."""
    asked = asked_now()
    return tuple(names) if asked.rail is None else (_label(asked.rail),)


def _label(rail: str) -> str:
    return Path(rail).stem if rail.endswith(".toml") else rail


def own_strategies(names: Sequence[str]) -> tuple[str, ...]:
    """Return the strategies an experiment compares: its own, or those asked for."""
    asked = asked_now().strategy
    return tuple(names) if asked is None else tuple(name.strip() for name in asked.split(","))


def own_strategy(name: str) -> Controller:
    """Return the one strategy an experiment brakes with: its own, or the first asked for."""
    return named(own_strategies((name,))[0])


def named(reference: str) -> Controller:
    """Return a strategy by its name or file."""
    return find_controller(reference).controller
