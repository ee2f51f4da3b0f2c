"""Rails on which nothing slides: every strategy stops as on dry rail, so one line tells all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from slipbench.comparison.compare import ComparedStop

AS_DRY = 0.01
"""A stop longer than that on dry rail by less than this share counts as one (a choice)."""


@dataclass(frozen=True)
class Quiet:
    """Rails on which all stop alike.

    Attributes
    ----------
    rails : tuple of str
    shortest, longest : float   stop of any strategy and seed on any of them [m]
    """

    rails: tuple[str, ...]
    shortest: float
    longest: float

    @property
    def line(self) -> str:
        """The rails in one line, such as `dry, wet: all stop in 648 m`."""
        low, high = f"{self.shortest:.0f}", f"{self.longest:.0f}"
        where = ", ".join(rail.replace("_", " ") for rail in self.rails)
        return f"{where}: all stop in {low if low == high else f'{low} to {high}'} m"


def quiet_rails(rows: Sequence[ComparedStop]) -> list[Quiet]:
    """Return the rails on which nothing slides, those of one distance together, shortest first.

    Nothing slides where no wheel locks, no flat is worn, and every run stops in the distance of its
    own dry stop, within `AS_DRY`. A rail without a dry stop to hold it against is none of them.
    Where nothing slides on any rail, none is returned: there is nothing else to look at.
    """
    found = []
    rails = dict.fromkeys(row.scenario for row in rows)
    for rail in rails:
        own = [row for row in rows if row.scenario == rail]
        if all(map(_is_quiet, own)):
            distances = [row.summary["stopping_distance"] for row in own]
            found.append((min(distances), max(distances), rail))
    if len(found) == len(rails):
        return []
    groups = groupby(sorted(found), key=lambda item: (round(item[0]), round(item[1])))
    return [
        Quiet(tuple(rail for *_, rail in own), own[0][0], max(item[1] for item in own))
        for own in (list(group) for _, group in groups)
    ]


def _is_quiet(row: ComparedStop) -> bool:
    summary, dry = row.summary, row.yardsticks.dry_distance
    return bool(
        summary["is_stopped"]
        and summary["longest_lock"] == 0.0
        and summary["flat_risk"] == 0.0
        and math.isfinite(dry)
        and summary["stopping_distance"] <= (1.0 + AS_DRY) * dry
    )
