"""What a tuned setting does worse, rail family by rail family: told wherever its result is told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from slipbench.campaign.objectives import OBJECTIVES
from slipbench.campaign.tuning.tuning import HeldOut, Tuned
from slipbench.statistics.intervals import Paired

FEWEST_TOLD = 3
"""From so many rails on, all of them worse is told as worse, whatever the interval says."""


@dataclass(frozen=True)
class Flag:
    """One thing told worse on held-out rails.

    Attributes
    ----------
    family : str            scenario of the rails; empty: all of them
    objective : str         or `overruns`
    against : str           `start` or `shipped defaults`
    difference : Paired     tuned less that; None for overruns
    """

    family: str
    objective: str
    against: str
    difference: Paired | None

    def __str__(self) -> str:
        where = f"on {self.family}" if self.family else "over all held-out rails"
        if self.difference is None:
            return f"more overruns than the {self.against}"
        objective, found = OBJECTIVES[self.objective], self.difference
        unit = "" if objective.unit == "-" else f" {objective.unit}"
        return (
            f"{self.objective} {where}: {found.mean.estimate:+.{objective.decimals}f}{unit} on the "
            f"mean against the {self.against}, worse on {found.n_worse} of {found.n_pairs} rails"
        )


def is_worse(difference: Paired) -> bool:
    """Return whether tuned is told worse: an interval above zero, or worse on every rail."""
    told = difference.mean.low > 0.0 or difference.median.low > 0.0
    return told or difference.n_worse == difference.n_pairs >= FEWEST_TOLD


def flags(tuned: Tuned) -> tuple[Flag, ...]:
    """Return all a tuned setting does worse on held-out rails than its start or the defaults."""
    held = tuned.held_out
    found = [*_against("start", held.differences, held.by_family)]
    if not tuned.is_from_shipped:
        found += _against("shipped defaults", held.from_shipped, held.shipped_by_family)
    return (*found, *_overruns(held, tuned.is_from_shipped))


def _against(
    what: str, differences: Mapping[str, Paired], by_family: Mapping[str, Mapping[str, Paired]]
) -> Iterator[Flag]:
    for name, difference in differences.items():
        if is_worse(difference):
            yield Flag("", name, what, difference)
    for family, own in by_family.items():
        for name, difference in own.items():
            if len(by_family) > 1 and is_worse(difference):
                yield Flag(family, name, what, difference)


def _overruns(held: HeldOut, is_from_shipped: bool) -> Iterator[Flag]:
    if held.tuned.n_overruns > held.default.n_overruns:
        yield Flag("", "overruns", "start", None)
    if not is_from_shipped and held.tuned.n_overruns > held.shipped.n_overruns:
        yield Flag("", "overruns", "shipped defaults", None)


def flags_text(tuned: Tuned) -> str:
    """Return the flags for a reader: loud where there is one."""
    found = flags(tuned)
    if not found:
        return "No rail family is told worse, neither against the start nor the shipped defaults."
    lines = [f"  WORSE: {flag}" for flag in found]
    return "\n".join(
        ["FLAGGED: this setting is worse somewhere; not to be adopted as it is.", *lines]
    )
